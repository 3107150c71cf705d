"""The desk: a text from any way in becomes entries and one short answer.

Promises that the text is kept as it came whatever it says, in the same transaction as the entries that it meant;
that the same message again is answered as the first time; and that nothing is saved from a text that could not be
read whole. Which way it came is not its business, and it sends nothing: the answer is handed back.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from logbook.channels.text import Draft as Said
from logbook.channels.text import Fleet, Reading, answer, read
from logbook.channels.text.sorry import sorry
from logbook.domain import door
from logbook.domain.calendar import after, zone
from logbook.domain.instants import MINUTE, Instant, text
from logbook.domain.owed import owed_now, pressing
from logbook.domain.people import Person, phone_key
from logbook.domain.register import Register
from logbook.intake import By, Draft, Intake, Receipt
from logbook.store import alerts, folds, heard, log

_SPACE = uuid.UUID("a3a2f5b0-7a53-5f0b-8a27-6f7f4f1f2f61")
"""Name space of the ids of entries that come of a message: the same message never makes two."""

ALIKE: Instant = 10 * MINUTE
"""The same words from the same sender within this time are one message, however many the carrier made of it."""
FLOOD = 6
"""More texts than this from one sender within `ALIKE` are kept, but not answered."""


@dataclass(frozen=True, slots=True)
class Message:
    """A text as it came: its id by whoever carried it, the way, the sender's number, when it was received."""

    id: str
    channel: str
    sender: str
    text: str
    at: Instant


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of a message. `reply` None: nobody is to be answered."""

    outcome: str
    reply: str | None
    entries: tuple[str, ...] = ()
    reading: Reading | None = None
    repeated: bool = False


class Desk:
    """Takes texts, one at a time."""

    def __init__(self, intake: Intake) -> None:
        self.intake = intake

    def take(self, message: Message) -> Answer:
        """Deal with one text. Raises StoreError if the database fails: then nothing was kept, and it may come again."""
        with self.intake.store.read() as connection:
            kept = heard.find(connection, message.id)
            if kept is not None:
                return Answer(kept.outcome, kept.reply, kept.entries, repeated=True)
            register = self.intake.registry.current(connection)
            person = self._sender(register, message.sender)
            before = [
                row for row in heard.latest(connection, message.sender, FLOOD + 1)
                if row.received_at > message.at - ALIKE
            ]  # fmt: skip
            quiet = len(before) >= FLOOD or (person is not None and "text" in person.opted_out)
            same = next((row for row in before if _alike(row.text, message.text) and _stands(connection, row)), None)
            if person is None:
                return self._keep(
                    message, Answer("unknown_sender", None if before else sorry("unknown_sender", register.language))
                )
            fleet = self._fleet(connection, register, person, message.at)
        reading = read(message.text, fleet, message.at)
        if same is not None and reading.drafts:
            owed = self._owed_names(register, [draft.machine for draft in reading.drafts])
            reply = answer(reading, fleet=fleet, owed=owed, repeated=True, language=person.language)
            return self._keep(message, Answer("repeated", None if quiet else reply, same.entries, reading))
        if reading.refused is not None:
            reply = answer(reading, fleet=fleet, owed=None, language=person.language)
            return self._keep(message, Answer(reading.refused, None if quiet else reply, (), reading))
        try:
            if reading.control is not None:
                return self._control(message, reading, person, register, fleet, quiet)
            return self._record(message, reading, person, register, fleet, quiet)
        except door.Refused as why:
            reply = sorry(why.code, person.language)
            return self._keep(message, Answer(why.code, None if quiet else reply, (), reading))

    # -- what is said -------------------------------------------------------------------------------------------

    def _record(
        self, message: Message, reading: Reading, person: Person, register: Register, fleet: Fleet, quiet: bool
    ) -> Answer:
        drafts = [self._draft(message, number, said, register) for number, said in enumerate(reading.drafts)]
        replies: list[str | None] = []

        def also(connection: Connection, receipt: Receipt) -> None:
            codes = {machine: register.machines[machine].code for machine in receipt.owed}
            owed = {codes[m]: [each.duty for each in pressing(some, message.at)] for m, some in receipt.owed.items()}
            reply = answer(reading, fleet=fleet, owed=owed, language=person.language)
            replies[:] = [None if quiet else reply]
            _kept(connection, message, "saved", replies[0], [entry.id for entry in receipt.entries])

        receipt = self.intake.record(drafts, By(person.uuid, person.role, message.channel), also=also)
        return Answer("saved", replies[0], tuple(entry.id for entry in receipt.entries), reading)

    def _draft(self, message: Message, number: int, said: Said, register: Register) -> Draft:
        return Draft(
            str(uuid.uuid5(_SPACE, f"{message.id} {number}")), register.by_code[said.machine].uuid, said.kind,
            said.data, min(said.occurred_at, message.at),
        )  # fmt: skip

    # -- what is asked ------------------------------------------------------------------------------------------

    def _control(
        self, message: Message, reading: Reading, person: Person, register: Register, fleet: Fleet, quiet: bool
    ) -> Answer:
        control, said = reading.control, reading.argument
        drafts: list[Draft] = []
        owed: Mapping[str, Sequence[str]] | None = None
        by = By(person.uuid, person.role, message.channel)
        match control:
            case "undo":
                drafts = self._undo(message, said.get("machine"), register)
            case "owed":
                named = said.get("machine")
                owed = self._owed_names(register, [named] if named else self._codes(register, person))
            case "seen":
                drafts = [self._seen(message, int(said["number"]), person, register)]
            case "opt_out" | "opt_in":
                drafts = [self._fleet_draft(message, f"opted_{control[4:]}", {"person": person.uuid, "way": "text"})]
                by = By(None, "program", message.channel)
            case "accept" | "set_aside":
                other = self._waiting(register, str(said["to"]))
                drafts = [
                    self._fleet_draft(
                        message, "accepted" if control == "accept" else "set_aside", {"person": other.uuid}
                    )
                ]
            case "join":
                return self._keep(
                    message, Answer("join", None if quiet else sorry("known_already", person.language), (), reading)
                )
        reply = answer(reading, fleet=fleet, owed=owed, language=person.language)
        # An opt-out is answered once, so that its sender knows; after that nothing is sent until they come back.
        given = None if quiet and control != "opt_in" else reply
        outcome = str(control)

        def also(connection: Connection, receipt: Receipt) -> None:
            _kept(connection, message, outcome, given, [entry.id for entry in receipt.entries])

        receipt = self.intake.record(drafts, by, also=also)
        return Answer(outcome, given, tuple(entry.id for entry in receipt.entries), reading)

    def _undo(self, message: Message, code: str | None, register: Register) -> list[Draft]:
        """Strike what the sender's last text said, on one machine if it is named. Raises door.Refused if too late."""
        machine = register.by_code[code].uuid if code is not None else None
        with self.intake.store.read() as connection:
            struck: dict[str, frozenset[str]] = {}
            for row in heard.latest(connection, message.sender):
                if row.outcome != "saved":
                    continue
                found = [entry for entry in (log.find(connection, id_) for id_ in row.entries) if entry is not None]
                found = [entry for entry in found if machine in (None, entry.machine)]
                for entry in found:
                    struck.setdefault(entry.machine, log.struck(connection, entry.machine))
                left = [entry for entry in found if entry.id not in struck[entry.machine]]
                if not left:
                    continue
                book = self.intake.book(register, left[0].machine)
                site = folds.load(connection, left[0].machine, book).machine.site
                within = book.policy(site, message.at).duration("undo_within")
                if row.received_at + within.micros < message.at:
                    break
                return [
                    Draft(str(uuid.uuid5(_SPACE, f"{message.id} {n}")), entry.machine, "void", {"entry": entry.id})
                    for n, entry in enumerate(left)
                ]
        raise door.Refused("nothing_to_undo", "There is no text of yours to take back.")

    def _seen(self, message: Message, serial: int, person: Person, register: Register) -> Draft:
        """Take an alert in hand for as long as policy lets it wait. Raises door.Refused if there is none."""
        with self.intake.store.read() as connection:
            found = alerts.by_serial(connection, serial)
            if found is None or found.cleared_at is not None:
                raise door.Refused("no_alert", "There is no such alert any more.")
            fold = folds.load(connection, found.machine, self.intake.book(register, found.machine)).machine
        if person.role not in ("supervisor", "owner") or not person.at(fold.site):
            raise door.Refused("not_allowed", "That alert is for the supervisor of its site.")
        hold = fold.policy(message.at).acknowledge_for(found.duty)
        until = after(message.at, hold, register.zone(fold.site, message.at), fold.policy(message.at).day_turns)
        data = {
            "duty": found.duty, "opened_by": found.opened_by, "number": found.number, "due_at": text(found.due_at),
            "until": text(until),
        }  # fmt: skip
        return Draft(str(uuid.uuid5(_SPACE, f"{message.id} 0")), found.machine, "acknowledged", data)

    def _waiting(self, register: Register, number: str) -> Person:
        """Whoever waits under this number, or these last digits of one; nobody if they could be two people's."""
        digits = number.lstrip("+")
        found = [
            person for person in register.people.values()
            if person.state == "unconfirmed" and person.phone is not None and person.phone.endswith(digits)
        ]  # fmt: skip
        if len(found) != 1:
            raise door.Refused("nobody_waiting", "Nobody with that number waits for an answer.")
        return found[0]

    def _fleet_draft(self, message: Message, kind: str, data: dict[str, Any]) -> Draft:
        with self.intake.store.read() as connection:
            fleet = self.intake.registry.fleet(connection)
        return Draft(str(uuid.uuid5(_SPACE, f"{message.id} 0")), fleet, kind, data)

    # -- what must be known -------------------------------------------------------------------------------------

    def _sender(self, register: Register, number: str) -> Person | None:
        try:
            person = register.person_by_phone(phone_key(number))
        except ValueError:
            return None
        return person if person is not None and person.state in ("member", "unconfirmed") else None

    def _codes(self, register: Register, person: Person) -> list[str]:
        """The plates at a person's sites, as the machines stand now."""
        with self.intake.store.read() as connection:
            return [code for code, site in self._places(connection, register) if person.at(site)]

    def _places(self, connection: Connection, register: Register) -> list[tuple[str, str]]:
        found = []
        for uuid_, machine in register.machines.items():
            if log.head(connection, uuid_) is not None:
                fold = folds.load(connection, uuid_, self.intake.book(register, uuid_)).machine
                if fold.retired_at is None and fold.in_service:
                    found.append((machine.code, fold.site))
        return sorted(found)

    def _fleet(self, connection: Connection, register: Register, person: Person, at: Instant) -> Fleet:
        """What reading needs: all codes; the one machine in service at the sender's sites, if it is the only one."""
        sites = {code: site for code, site in self._places(connection, register)} if person.role == "cleaner" else {}
        mine = [code for code, site in sites.items() if person.at(site)]
        lone = mine[0] if len(mine) == 1 and register.fleet_policy(at).flag("lone_machine") else None
        own = next((register.zone(site, at) for site in person.sites if site in register.sites), None)
        first = next(iter(register.sites), None)

        def zone_of(code: str) -> ZoneInfo:
            machine = register.by_code[code].uuid
            with self.intake.store.read() as inner:
                site = folds.load(inner, machine, self.intake.book(register, machine)).machine.site
            return register.zone(site, at)

        default = own or (register.zone(first, at) if first is not None else zone("UTC"))
        return Fleet(frozenset(register.by_code), zone_of, lone, person.language, default)

    def _owed_names(self, register: Register, codes: Sequence[str]) -> dict[str, list[str]]:
        owed = {}
        with self.intake.store.read() as connection:
            for code in codes:
                machine = register.by_code[code].uuid
                watchman = folds.load(connection, machine, self.intake.book(register, machine))
                owed[code] = [each.duty for each in owed_now(watchman.machine, max(self.intake.clock(), watchman.now))]
        return owed

    # -- what is kept -------------------------------------------------------------------------------------------

    def _keep(self, message: Message, given: Answer) -> Answer:
        self.intake.store.write(
            lambda connection: _kept(connection, message, given.outcome, given.reply, given.entries)
        )
        return given


def _kept(connection: Connection, message: Message, outcome: str, reply: str | None, entries: Sequence[str]) -> None:
    row = heard.Heard(
        message.id, message.channel, message.sender, message.at, message.text, outcome, reply, tuple(entries)
    )
    heard.keep(connection, row)


def _stands(connection: Connection, row: heard.Heard) -> bool:
    """Whether something that a text saved was not struck since: after an UNDO the same words are news again."""
    if row.outcome != "saved":
        return False
    found = [entry for entry in (log.find(connection, id_) for id_ in row.entries) if entry is not None]
    struck = {machine: log.struck(connection, machine) for machine in {entry.machine for entry in found}}
    return any(entry.id not in struck[entry.machine] for entry in found)


def _alike(one: str, other: str) -> bool:
    return " ".join(one.split()).casefold() == " ".join(other.split()).casefold()
