"""The desk itself: takes one text, finds out who sent it and what it says, and has it recorded or kept aside."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from sqlalchemy import Connection

from logbook.channels.desk.known import Known, sender
from logbook.channels.desk.message import (
    ALIKE,
    WAITING_FOR_NOBODY,
    Answer,
    Message,
    alike,
    id_of,
    kept,
    stands,
    without_word,
)
from logbook.channels.desk.orders import Orders
from logbook.channels.desk.replies import Replies
from logbook.channels.text import Draft as Said
from logbook.channels.text import Fleet, Reading, answer, read
from logbook.channels.text.sorry import sorry
from logbook.domain import door
from logbook.domain.owed import pressing
from logbook.domain.people import Person
from logbook.domain.register import Register
from logbook.domain.tapcode import entry_id
from logbook.intake import PROGRAM, By, Draft, Intake, Receipt
from logbook.store import heard

FLOOD = 6
"""More texts than this from one sender within `ALIKE` are kept, but not answered."""
LOOKED_AT = 50
"""So many of a sender's latest texts are looked at."""
ASIDE = "aside: "
"""What was kept without being read. It does not count as the sender's: whoever forges them must not silence them."""


class Desk:
    """Takes texts, one at a time. `replies`: way in -> the way by which its texts are answered."""

    def __init__(self, intake: Intake, replies: Mapping[str, str] | None = None) -> None:
        self.intake = intake
        self._known = Known(intake)
        self._orders = Orders(intake, self._known)
        self._replies = Replies(intake, replies or {})

    def take(self, message: Message) -> Answer:
        """Deal with one text. Raises StoreError if the database fails: then nothing was kept, and it may come again."""
        with self.intake.store.read() as connection:
            register = self.intake.registry.current(connection)
            person = sender(register, message.sender)
            message, worded = without_word(message, person)
            before = heard.find(connection, message.id)
            if before is not None and before.text != message.text:
                # A carrier that gives one id to two texts: neither is lost, and each is known again by what it says.
                message = replace(message, id=id_of(message, message.text))
                before = heard.find(connection, message.id)
            if before is not None:
                return Answer(before.outcome, before.reply, before.entries, repeated=True)
            recent = [
                row for row in heard.latest(connection, message.sender, LOOKED_AT)
                if row.received_at > message.at - ALIKE and not row.outcome.startswith(ASIDE)
            ]  # fmt: skip
            # Only the last thing said can be said again: after other words the same ones are news.
            latest = next((row for row in recent if row.outcome == "saved"), None)
            same = latest if latest and alike(latest.text, message.text) and stands(connection, latest) else None
            fleet = self._known.fleet(connection, register, person, message.at, message.text)
        quiet = len(recent) >= FLOOD or (person is not None and _way(message) in person.opted_out)
        reading = read(message.text, fleet, message.at)
        if person is None:
            return self._stranger(message, reading, register, answered=bool(recent))
        if not worded and self._needs_word(reading, register, message):
            reply = None if quiet else sorry("needs_word", person.language)
            return self._keep(message, Answer("needs_word", reply, (), reading), person)
        return self._from(message, reading, person, register, fleet, quiet=quiet, same=same)

    def take_as(self, id: str, person: Person) -> Answer | None:
        """A text that was kept aside is somebody's after all: deal with it as if it had come from them, at its time.

        None if no such text waits. Raises door.Refused if it cannot be recorded; it waits then as before.
        """
        with self.intake.store.read() as connection:
            row = heard.find(connection, id)
            if row is None or row.outcome in WAITING_FOR_NOBODY:
                return None
            register = self.intake.registry.current(connection)
            message = Message(row.id, row.channel, row.sender, row.text, row.received_at)
            fleet = self._known.fleet(connection, register, person, message.at)
        reading = read(message.text, fleet, message.at)
        if not reading.drafts:
            reply = answer(reading, fleet=fleet, owed=None, language=person.language)
            return Answer(reading.refused or str(reading.control), reply, (), reading)
        saved = self._record(message, reading, person, register, fleet, quiet=True)
        # What was saved is said to whoever decided; the sender, who may be somebody else, hears nothing.
        owed = self._known.owed(register, [draft.machine for draft in reading.drafts])
        return replace(saved, reply=answer(reading, fleet=fleet, owed=owed, language=register.language))

    def put_aside(self, id: str) -> bool:
        """A text that was kept aside is nobody's: it stays as it came, and waits for nobody any more."""

        def job(connection: Connection) -> bool:
            row = heard.find(connection, id)
            if row is None or row.outcome in WAITING_FOR_NOBODY:
                return False
            return heard.answered(connection, id, "set_aside", row.reply, row.entries)

        return self.intake.store.write(job)

    def keep_aside(self, message: Message, reason: str) -> None:
        """Keep something that is not to be read or answered: sent by a machine, too large, forged."""
        self._keep(message, Answer(f"{ASIDE}{reason}", None))

    def _needs_word(self, reading: Reading, register: Register, message: Message) -> bool:
        """Whether policy wants the sender's own word for what this says: a borrowed phone can say it too."""
        named = {register.by_code[draft.machine].uuid for draft in reading.drafts if draft.kind == "segment_change"}
        with self.intake.store.read() as connection:
            folds = [self._known.fold(connection, register, machine) for machine in sorted(named)]
        return any(fold is not None and fold.policy(message.at).flag("personal_word") for fold in folds)

    # -- who it comes from --------------------------------------------------------------------------------------

    def _stranger(self, message: Message, reading: Reading, register: Register, *, answered: bool) -> Answer:
        """An unknown sender is kept aside whole, and answered once; but the plate's word lets them in."""
        if reading.control != "join":
            reply = None if answered else sorry("unknown_sender", register.language)
            return self._keep(message, Answer("unknown_sender", reply, (), reading))
        word, name = str(reading.argument["word"]), str(reading.argument["name"])
        try:
            draft, site, language = self._orders.join(message, word, name)
        except door.Refused as why:
            reply = None if answered else sorry(why.code, register.language)
            return self._keep(message, Answer(why.code, reply, (), reading))
        reply = answer(reading, fleet=self._nobody(register, message), owed=None, language=language)

        def also(connection: Connection, receipt: Receipt) -> None:
            if kept(connection, message, "join", reply, [entry.id for entry in receipt.entries]):
                self._replies.put(connection, register, message, reply, None)
                self._replies.announce(connection, register, message, site, name, draft.data["phone"])

        receipt = self.intake.record([draft], PROGRAM, also=also)
        return Answer("join", reply, tuple(entry.id for entry in receipt.entries), reading)

    def _nobody(self, register: Register, message: Message) -> Fleet:
        with self.intake.store.read() as connection:
            return self._known.fleet(connection, register, None, message.at)

    def _from(
        self, message: Message, reading: Reading, person: Person, register: Register, fleet: Fleet, *, quiet: bool,
        same: heard.Heard | None,
    ) -> Answer:  # fmt: skip
        if same is not None and reading.drafts:
            owed = self._known.owed(register, [draft.machine for draft in reading.drafts])
            first = read(same.text, fleet, same.received_at)  # it says when it was that was saved
            reply = answer(first, fleet=fleet, owed=owed, repeated=True, language=person.language)
            return self._keep(message, Answer("repeated", None if quiet else reply, same.entries, reading), person)
        if reading.refused is not None:
            reply = answer(reading, fleet=fleet, owed=None, language=person.language)
            return self._keep(message, Answer(reading.refused, None if quiet else reply, (), reading), person)
        try:
            if reading.control is not None:
                return self._control(message, reading, person, register, fleet, quiet)
            return self._record(message, reading, person, register, fleet, quiet=quiet)
        except door.Refused as why:
            reply = sorry(why.code, person.language)
            return self._keep(message, Answer(why.code, None if quiet else reply, (), reading), person)

    # -- what it says -------------------------------------------------------------------------------------------

    def _record(
        self, message: Message, reading: Reading, person: Person, register: Register, fleet: Fleet, *, quiet: bool
    ) -> Answer:
        drafts = [self._draft(message, number, said, register) for number, said in enumerate(reading.drafts)]
        replies: list[str | None] = []

        def also(connection: Connection, receipt: Receipt) -> None:
            codes = {machine: register.machines[machine].code for machine in receipt.owed}
            owed = {codes[m]: [each.duty for each in pressing(some, message.at)] for m, some in receipt.owed.items()}
            before = all(entry.repeated for entry in receipt.entries)  # the phone itself was quicker
            reply = answer(reading, fleet=fleet, owed=owed, repeated=before, language=person.language)
            replies[:] = [None if quiet else reply]
            entries = [entry.id for entry in receipt.entries]
            self._settled(connection, message, "saved", replies[0], entries, person, register)

        receipt = self.intake.record(drafts, By(person.uuid, person.role, message.channel), also=also)
        return Answer("saved", replies[0], tuple(entry.id for entry in receipt.entries), reading)

    def _draft(self, message: Message, number: int, said: Said, register: Register) -> Draft:
        """A tap that a phone offered as a text may have come from the phone itself by now, or will: it is one act."""
        id = id_of(message, number) if said.tap is None else entry_id(said.tap, said.kind)
        return Draft(
            id, register.by_code[said.machine].uuid, said.kind, said.data, min(said.occurred_at, message.at),
            merge=said.tap is not None,
        )  # fmt: skip

    def _control(
        self, message: Message, reading: Reading, person: Person, register: Register, fleet: Fleet, quiet: bool
    ) -> Answer:
        control, said = str(reading.control), reading.argument
        drafts: list[Draft] = []
        owed: Mapping[str, Sequence[str]] | None = None
        by = By(person.uuid, person.role, message.channel)
        match control:
            case "undo":
                drafts = self._orders.undo(message, said.get("machine"), register)
            case "owed":
                named = said.get("machine")
                owed = self._known.owed(register, [named] if named else self._known.codes(register, person))
            case "seen":
                drafts = [self._orders.seen(message, int(said["number"]), person, register)]
            case "opt_out" | "opt_in":
                drafts, by = [self._orders.opt(message, control, person)], By(None, "program", message.channel)
            case "accept" | "set_aside":
                drafts = [self._orders.decide(message, control, str(said["to"]), person, register)]
            case "join":
                raise door.Refused("known_already", "You are known here already.")
        reply = answer(reading, fleet=fleet, owed=owed, language=person.language)
        # An opt-out is answered once, so that its sender knows; coming back is always answered.
        reply_or_none = None if quiet and control != "opt_in" else reply

        def also(connection: Connection, receipt: Receipt) -> None:
            entries = [entry.id for entry in receipt.entries]
            self._settled(connection, message, control, reply_or_none, entries, person, register)

        receipt = self.intake.record(drafts, by, also=also)
        return Answer(control, reply_or_none, tuple(entry.id for entry in receipt.entries), reading)

    # -- what is kept -------------------------------------------------------------------------------------------

    def _settled(
        self, connection: Connection, message: Message, outcome: str, reply: str | None, entries: Sequence[str],
        person: Person | None, register: Register,
    ) -> None:  # fmt: skip
        """Keep the text and queue its answer; a text that waited aside is answered in its place."""
        if not kept(connection, message, outcome, reply, entries):
            heard.answered(connection, message.id, outcome, reply, entries)
        self._replies.put(connection, register, message, reply, person)

    def _keep(self, message: Message, given: Answer, person: Person | None = None) -> Answer:
        def job(connection: Connection) -> None:
            register = self.intake.registry.current(connection)
            if kept(connection, message, given.outcome, given.reply, given.entries):
                self._replies.put(connection, register, message, given.reply, person)

        self.intake.store.write(job)
        return given


def _way(message: Message) -> str:
    return "mail" if message.channel == "mail" else "text"
