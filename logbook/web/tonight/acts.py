"""What a leader does about a row: takes it in hand, passes it on, excuses it, opens a name; and answers what waits.

Promises that each is done once however often its form is sent, and only if what it is about is still so: that is
looked at in the very transaction that writes. Whoever is refused is told why, by one of the words of `NOT`. What
belongs to another site's leaders is, to this one, not there.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection

from logbook.domain import door
from logbook.domain.instants import HOUR, MINUTE, Instant, text
from logbook.domain.machine import Machine
from logbook.domain.register import Register
from logbook.domain.telling.facts import tell_of
from logbook.evidence.form import read as read_form
from logbook.intake import Draft, Receipt, answering, passing
from logbook.store import alerts, heard, log, words
from logbook.store.alerts import Alert
from logbook.web.house import House
from logbook.web.tonight.aside import sender_of
from logbook.web.tonight.rows import seen_stamp
from logbook.web.who.visitor import NotYours, Visitor

FOR: dict[str, Instant] = {"PT2H": 2 * HOUR, "PT12H": 12 * HOUR, "PT48H": 48 * HOUR}
"""How long an alert may be taken in hand, where it is not as long as policy says."""
_MOST = 40
_NAME_SHOWN: Instant = 15 * MINUTE


class Not(Exception):
    """It could not be done; nothing was changed. `word`: which of the sentences says why."""

    def __init__(self, word: str) -> None:
        super().__init__(word)
        self.word = word


@dataclass(frozen=True, slots=True)
class Named:
    """A name that was opened on purpose; None where it was erased."""

    code: str
    name: str | None
    phone: str | None


Forms = Callable[[Connection, Register], Sequence[Draft]]


class Acts:
    """What one visitor does, in one request."""

    def __init__(self, house: House, visitor: Visitor) -> None:
        self._house = house
        self._visitor = visitor

    def take(self, id: str, serials: Sequence[int], seen: str, lasts: str) -> None:
        """Take alerts of one machine in hand, for as long as policy says or `lasts` (a key of FOR)."""

        def drafts(connection: Connection, register: Register) -> Sequence[Draft]:
            found, fold, now = self._alerts(connection, register, serials, seen)
            until = now + FOR[lasts] if lasts in FOR else None
            return [
                Draft(each_id, alert.machine, "acknowledged", answering.taken(alert, fold, now, until))
                for each_id, alert in zip(_ids(id, found), found, strict=True)
            ]  # fmt: skip

        self._once(id, drafts)

    def pass_on(self, id: str, serials: Sequence[int], seen: str, person: str) -> None:
        """Ask another leader of the site to see to alerts of one machine."""

        def drafts(connection: Connection, register: Register) -> Sequence[Draft]:
            found, fold, now = self._alerts(connection, register, serials, seen)
            whom = register.people.get(person)
            if whom is None or person == self._visitor.person.uuid:
                raise Not("nobody")
            if whom not in passing.may_be_asked(register, fold.site):
                raise Not("nobody")
            name = words.give_reporter(connection, found[0].machine, person, self._house.intake.new_id())
            made = []
            for each_id, alert in zip(_ids(id, found), found, strict=True):
                duty = fold.member(alert.duty, alert.opened_by)
                tell = tell_of(fold, duty, now) if duty is not None else "now"
                begins = passing.heard_at(
                    whom, register, fold.policy(now), "urgent" if tell == "urgent" else "now", now
                )
                until = passing.turn_until(fold, alert.duty, begins)
                data = {**answering.about(alert), "to": name, "role": whom.role, "until": text(until)}
                made.append(Draft(each_id, alert.machine, "passed_on", data))
            return made

        self._once(id, drafts)

    def give_back(self, id: str, serials: Sequence[int], seen: str) -> None:
        """Nobody has alerts of one machine in hand any more: what was tapped by mistake, or cannot be seen to."""

        def drafts(connection: Connection, register: Register) -> Sequence[Draft]:
            found, fold, now = self._alerts(connection, register, serials, seen)
            return [
                Draft(each_id, alert.machine, "acknowledged", answering.taken(alert, fold, now, now))
                for each_id, alert in zip(_ids(id, found), found, strict=True)
            ]

        self._once(id, drafts)

    def unexcuse(self, id: str, entry: str) -> None:
        """Strike what this very person excused a moment ago: the duty stands as before, and the log shows both."""

        def drafts(connection: Connection, register: Register) -> Sequence[Draft]:
            found = log.find(connection, entry)
            if found is None or found.kind != "excused":
                raise NotYours
            fold, now = self._fold(connection, register, found.machine)
            mine = words.reporter_of(connection, found.machine, self._visitor.person.uuid)
            if read_form(found.bytes).reporter != mine:
                raise NotYours
            if now - found.recorded_at > fold.policy(now).duration("undo_within").micros:
                raise Not("long")
            if entry in log.struck(connection, found.machine):
                raise Not("over")
            return [Draft(id, found.machine, "void", {"entry": entry})]

        self._once(id, drafts)

    def excuse(self, id: str, machine: str, duty: str, opened_by: str, why: str) -> None:
        """Excuse one open duty, for a reason."""

        def drafts(connection: Connection, register: Register) -> Sequence[Draft]:
            fold, _now = self._fold(connection, register, machine)
            if not why:
                raise Not("why")
            known = fold.member(duty, opened_by)
            if known is None or known.ended_at is not None:
                raise Not("over")
            return [Draft(id, machine, "excused", {"duty": duty, "opened_by": opened_by, "why": why})]

        self._once(id, drafts)

    def open_name(self, id: str, entry: str) -> None:
        """Enter that the name behind an entry is looked at."""

        def drafts(connection: Connection, register: Register) -> Sequence[Draft]:
            found = log.find(connection, entry)
            if found is None:
                raise NotYours
            self._fold(connection, register, found.machine)
            return [Draft(id, found.machine, "name_opened", {"entry": entry})]

        self._once(id, drafts)

    def named(self, id: str) -> Named | None:
        """The name that this very person opened a moment ago by an entry; None for anybody and anything else."""
        with self._house.store.read() as connection:
            opened = log.find(connection, id)
            if opened is None or opened.kind != "name_opened":
                return None
            said = read_form(opened.bytes)
            mine = words.reporter_of(connection, opened.machine, self._visitor.person.uuid)
            if said.reporter != mine or self._house.now() - opened.recorded_at > _NAME_SHOWN:
                return None
            register = self._house.register(connection)
            about = log.find(connection, said.data["entry"])
            code = register.machines[opened.machine].code if opened.machine in register.machines else ""
            reporter = read_form(about.bytes).reporter if about is not None else ""
            person = register.people.get(words.person_of(connection, opened.machine, reporter) or "")
        return Named(code, person.name if person else None, person.phone if person else None)

    def decide(self, id: str, person: str, *, accepted: bool) -> None:
        """Say yes or no to whoever joined by a plate's word."""

        def drafts(connection: Connection, register: Register) -> Sequence[Draft]:
            whom = register.people.get(person)
            if whom is None or not any(self._visitor.at(site) for site in whom.sites):
                raise NotYours
            if whom.state != "unconfirmed":
                raise Not("answered")
            fleet = self._house.intake.registry.fleet(connection)
            return [Draft(id, fleet, "accepted" if accepted else "set_aside", {"person": person})]

        self._once(id, drafts)

    def take_text(self, id: str, person: str) -> str:
        """A text that was kept aside is this person's. Answers with what was saved or asked back, as the desk says it."""
        with self._house.store.read() as connection:
            self._text(connection, id)
            whom = self._house.register(connection).people.get(person)
        if whom is None or not any(self._visitor.at(site) for site in whom.sites):
            raise NotYours
        answer = self._house.desk.take_as(id, whom)
        if answer is None:
            raise Not("text")
        if answer.outcome not in ("saved", "repeated"):
            raise Not("unread")
        return str(answer.reply or "")

    def put_aside(self, id: str) -> None:
        """A text that was kept aside is nobody's, or needs nothing more."""
        with self._house.store.read() as connection:
            self._text(connection, id)
        if not self._house.desk.put_aside(id):
            raise Not("text")

    def _text(self, connection: Connection, id: str) -> None:
        """A stranger's text is every leader's; one of somebody known is for the leaders of their sites."""
        found = heard.find(connection, id)
        if found is None:
            raise NotYours
        register = self._house.register(connection)
        sender = sender_of(register, found.sender)
        if sender is not None and not any(self._visitor.at(site) for site in sender.sites):
            raise NotYours

    # -- inside a transaction -----------------------------------------------------------------------------------

    def _once(self, id: str, forms: Forms) -> None:
        """Record what `forms` makes, unless it was recorded before: a form that is sent twice acts once."""
        intake = self._house.intake
        first = door.id_checked(id)

        def job(connection: Connection) -> Receipt | None:
            if log.find(connection, first) is not None:
                return None
            drafts = forms(connection, self._house.register(connection))
            return intake.write(connection, drafts, self._visitor.by("form"))

        receipt = self._house.store.write(job)
        if receipt is not None and receipt.next_at is not None:
            intake.woken(receipt.next_at)

    def _alerts(
        self, connection: Connection, register: Register, serials: Sequence[int], seen: str
    ) -> tuple[list[Alert], Machine, Instant]:
        """The live ones of these alerts of one machine of this visitor's. Raises Not, or NotYours."""
        named = [each for serial in serials[:_MOST] if (each := alerts.by_serial(connection, serial)) is not None]
        if not named or len({each.machine for each in named}) != 1:
            raise NotYours
        fold, now = self._fold(connection, register, named[0].machine)
        live = [each for each in named if each.cleared_at is None]
        if not live:
            raise Not("over")
        if seen_stamp(live) != seen:
            raise Not("meanwhile")
        return live, fold, now

    def _fold(self, connection: Connection, register: Register, machine: str) -> tuple[Machine, Instant]:
        """A machine of this visitor's, as it is now. Raises NotYours."""
        if machine not in register.machines:
            raise NotYours
        watchman = self._house.intake.watchman(connection, register, machine)
        now = max(self._house.now(), watchman.now)
        watchman.advance(now)
        if not self._visitor.at(watchman.machine.site):
            raise NotYours
        return watchman.machine, now


def _ids(id: str, found: Sequence[Alert]) -> list[str]:
    """The form's own id for the first, and one made of it for each other: the same form never writes twice."""
    space = uuid.UUID(id)
    return [id, *(str(uuid.uuid5(space, str(alert.serial))) for alert in found[1:])]
