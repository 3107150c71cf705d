"""Attending to one machine at an instant: alerts raised, passed on and cleared, people put down to be told.

One transaction: the entries in the machine's log, the table of alerts, the notices and the next due instant are
written together or not at all. A crash before it leaves the due instant standing; after it, nothing is due.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from typing import Any

import msgspec
from sqlalchemy import Connection

from logbook.domain.alerts import Decision
from logbook.domain.calendar import after
from logbook.domain.instants import Instant, text
from logbook.domain.machine import FOREVER, Duty
from logbook.domain.policy import Step
from logbook.domain.telling.facts import OF_A_USE, item_of, night_of, tell_of, uncharged
from logbook.domain.telling.items import Item, Reminder, Tell
from logbook.domain.telling.quiet import next_letter
from logbook.domain.telling.reminders import reminders
from logbook.domain.telling.who import Notice, in_role, notices
from logbook.evidence.form import read as read_form
from logbook.intake import CLOCK, Draft, Intake
from logbook.intake.reading import entry_at, looker, own_words
from logbook.intake.visit import Visit
from logbook.store import alerts, words
from logbook.store import notices as shelf
from logbook.watch.roster import RegisterRoster

_SPACE = uuid.UUID("6f1d1c0e-3f0a-5b52-9a44-0d9f5a0c7b11")
"""The name space of notices' ids: one id for one thing told to one person, so that none is put down twice."""

LETTER: Instant = FOREVER
"""`ready_at` of a notice that waits for the reader's next morning letter."""

_encode = msgspec.json.encode


class Attention:
    """One visit of the clock to one machine."""

    def __init__(self, intake: Intake, connection: Connection, machine: str, now: Instant) -> None:
        self.connection = connection
        self.visit: Visit = intake.visit(connection, machine, now)
        self.intake = intake
        self.now = self.visit.now
        self.fold = self.visit.watchman.machine
        self.roster = RegisterRoster(self.visit.register)
        self.drafts: list[Draft] = []
        self.raised = self.cleared = self.passed_on = 0

    def attend(self) -> None:
        """Do all that is due on this machine now."""
        self.visit.watchman.advance(self.now)
        self.fold = self.visit.watchman.machine
        decisions = self.visit.watchman.decide(self.now)
        for decision in decisions:
            if decision.outcome is None:
                self._raise(decision, decisions)
            else:
                self._clear(decision)
        self._tell_left_behind()
        self._pass_on()
        self._remind()
        self._warn_before_night()
        if self.drafts:
            self.visit.add(self.drafts, CLOCK)
        self.visit.leave(attended=True)

    # -- alerts -------------------------------------------------------------------------------------------------

    def _raise(self, decision: Decision, decisions: Sequence[Decision]) -> None:
        duty, policy = decision.duty, self.fold.policy(self.now)
        tell = tell_of(self.fold, duty, self.now)
        steps = policy.escalation(duty.duty)
        identity = (self.visit.uuid, duty.duty, duty.opened_by, decision.number)
        told: list[Notice] = []
        if steps and not self._taken_along(duty):
            told = notices(self.roster, policy, steps[0], tell, duty.site, self.now, over=decision.silent)
        following = None if decision.silent else self._second_step(duty, tell, told)
        serial = alerts.raised(
            self.connection, identity, decision.due_at, self.now, step=1 if told else 0, next_step_at=following
        )
        self._write("alert_raised", decision, serial=serial)
        item = self._item(duty, decision.number, tell, serial, decision.outcome)
        if decision.silent:
            item.outcome = next(
                (each.outcome for each in decisions if each.outcome is not None and each.duty.key == duty.key), None
            )
        self._put_down(item, told, "1")
        self.raised += 1

    def _taken_along(self, duty: Duty) -> bool:
        """Whether an untold night speaks for this duty: one that stands open, and that people are told of."""
        return night_of(self.fold, duty) is not None and self.fold.policy(self.now).tell("night") != "none"

    def _second_step(self, duty: Duty, tell: Tell, told: Sequence[Notice]) -> Instant | None:
        """When an alert that was just told for the first time is passed on, if nobody takes it in hand."""
        steps = self.fold.policy(self.now).escalation(duty.duty)
        if len(steps) < 2 or not told or tell not in ("now", "urgent"):
            return None
        return self._after(self._told_at(told), steps[1], duty)

    def _tell_left_behind(self) -> None:
        """A night that took alerts along has been accounted for since: what of them still stands is told by itself."""
        for alert in alerts.live(self.connection, self.visit.uuid):
            duty = self._live_duty(alert.duty, alert.opened_by) if alert.step == 0 else None
            steps = self.fold.policy(self.now).escalation(alert.duty)
            if duty is None or not steps or duty.duty not in OF_A_USE or self._taken_along(duty):
                continue
            tell = tell_of(self.fold, duty, self.now)
            told = notices(self.roster, self.fold.policy(self.now), steps[0], tell, duty.site, self.now)
            if not told:
                continue
            identity = (alert.machine, alert.duty, alert.opened_by, alert.number)
            alerts.stepped(self.connection, identity, 1, self._second_step(duty, tell, told))
            item = self._item(duty, alert.number, tell, alert.serial, None)
            item.raised_at = alert.raised_at
            self._put_down(item, told, "1")

    def _clear(self, decision: Decision) -> None:
        duty = decision.duty
        identity = (self.visit.uuid, duty.duty, duty.opened_by, decision.number)
        assert decision.outcome is not None  # noqa: S101 only clearing decisions come here
        alerts.cleared(self.connection, identity, self.now, decision.outcome, decision.due_at)
        self._write("alert_cleared", decision, outcome=decision.outcome)
        self._over(identity, decision.outcome)
        self.cleared += 1

    def _over(self, identity: alerts.Identity, outcome: str) -> None:
        """What was not told yet of an alert that is over is told by the morning letter, as over."""
        for kept in shelf.of_alert(self.connection, *identity):
            if kept.tell == "remind":
                continue
            item = msgspec.json.decode(kept.about, type=Item)
            item.outcome = outcome
            shelf.change(self.connection, kept.id, _encode(item), LETTER)

    def _pass_on(self) -> None:
        """Alerts that nobody took in hand go to the next in line."""
        for alert in alerts.live(self.connection, self.visit.uuid):
            if alert.next_step_at is None or alert.next_step_at > self.now:
                continue
            duty = self._live_duty(alert.duty, alert.opened_by)
            policy = self.fold.policy(self.now)
            steps = policy.escalation(alert.duty)
            identity = (alert.machine, alert.duty, alert.opened_by, alert.number)
            if duty is None or alert.step >= len(steps):
                alerts.stepped(self.connection, identity, alert.step, None)
                continue
            step = steps[alert.step]
            tell = tell_of(self.fold, duty, self.now)
            told = notices(self.roster, policy, step, tell, duty.site, self.now)
            role, _people = in_role(self.roster, step.role, duty.site)
            following = None
            if alert.step + 1 < len(steps):
                following = self._after(self._told_at(told), steps[alert.step + 1], duty, before=step)
            alerts.stepped(self.connection, identity, alert.step + 1, following)
            if not told:
                continue  # there is nobody further up: the log does not say that somebody was told
            data = {
                "duty": alert.duty, "opened_by": alert.opened_by, "number": alert.number,
                "due_at": text(duty.due), "step": alert.step + 1, "role": role,
            }  # fmt: skip
            self.drafts.append(Draft(self.intake.new_id(), self.visit.uuid, "alert_escalated", data, self.now))
            item = self._item(duty, alert.number, tell, alert.serial, None)
            item.step, item.raised_at = alert.step + 1, alert.raised_at
            self._put_down(item, told, str(alert.step + 1))
            self.passed_on += 1

    def _live_duty(self, name: str, opened_by: str) -> Duty | None:
        record = self.visit.watchman.ledger.active.get((name, opened_by))
        return record.duty if record is not None else None

    def _told_at(self, told: Sequence[Notice]) -> Instant:
        """When the first of them reads it: now, or with the next letter."""
        moments = [notice.ready_at for notice in told if notice.ready_at is not None]
        if moments:
            return min(moments)
        policy = self.fold.policy(self.now)
        letters = []
        for notice in told:
            person = self.visit.register.people[notice.person]
            zone = self.roster.zone_of(person, self.now)
            letters.append(next_letter(self.roster.quiet(person, policy), zone, self.now))
        return min(letters, default=self.now)

    def _after(self, told_at: Instant, step: Step, duty: Duty, before: Step | None = None) -> Instant:
        """A step's delay counts from the first telling; `before`: the step that was just taken."""
        zone, policy = self.fold.book.zone(duty.site, self.now), self.fold.policy(self.now)
        at = after(told_at, step.delay, zone, policy.day_turns)
        if before is None:
            return at
        return max(self.now, at - (after(told_at, before.delay, zone, policy.day_turns) - told_at))

    def _write(self, kind: str, decision: Decision, **more: Any) -> None:
        duty = decision.duty
        data = {
            "duty": duty.duty, "opened_by": duty.opened_by, "number": decision.number,
            "due_at": text(decision.due_at), **more,
        }  # fmt: skip
        self.drafts.append(Draft(self.intake.new_id(), self.visit.uuid, kind, data, self.now))

    # -- notices ------------------------------------------------------------------------------------------------

    def _put_down(self, item: Item, told: Sequence[Notice], what: str) -> None:
        rows = []
        for notice in told:
            item.held, item.way = notice.reason == "held_by_quiet_hours", notice.way
            name = f"{item.machine} {item.duty} {item.opened_by} {item.number} {what} {notice.person}"
            ready = LETTER if notice.ready_at is None else notice.ready_at
            row = shelf.Notice(
                str(uuid.uuid5(_SPACE, name)), notice.person, item.machine, item.duty, item.opened_by, item.number,
                notice.tell, _encode(item), self.now, ready,
            )  # fmt: skip
            rows.append(row)
        shelf.add(self.connection, rows)

    def _item(self, duty: Duty, number: int, tell: Tell, serial: int | None, outcome: str | None) -> Item:
        register = self.visit.register
        site = register.sites[duty.site]
        item = item_of(
            self.fold, duty, looker(self.connection, self.visit.uuid), uuid=self.visit.uuid, code=self.visit.code,
            site_name=site.name, zone=site.zone, number=number, raised_at=self.now, tell=tell, serial=serial,
            outcome=outcome,
        )  # fmt: skip
        if duty.duty in ("fault", "repair"):
            item.note = own_words(self.connection, self.visit.uuid, self.fold, "fault", "note")
        return item

    def _remind(self) -> None:
        """The cleaner, once a duty, while it can still be mended."""
        groups: dict[tuple[str, Instant, Instant, str | None], list[str]] = {}
        for due in reminders(self.fold, self.now):
            if due.at <= self.now < due.until:
                night = due.duty.opened_by.rsplit("/", 1)[-1] if due.untold else None
                groups.setdefault((due.duty.opened_by, due.by, due.until, night), []).append(due.duty.duty)
        for (opened_by, by, until, night), duties in groups.items():
            site = self.visit.register.sites[self.fold.site]
            reminder = Reminder(
                self.visit.uuid, self.visit.code, site.code, site.name, site.zone, sorted(duties), by, night, until
            )
            for person in self._cleaners(untold=night is not None):
                names = {duty: f"{self.visit.uuid} {duty} {opened_by} remind {person}" for duty in duties}
                ids = {duty: str(uuid.uuid5(_SPACE, name)) for duty, name in names.items()}
                fresh = [duty for duty in duties if not shelf.has(self.connection, ids[duty])]
                if not fresh:
                    continue
                reminder.duties = sorted(fresh)
                about, now = _encode(reminder), self.now
                rows = [
                    shelf.Notice(ids[duty], person, self.visit.uuid, duty, opened_by, 0, "remind", about, now, now)
                    for duty in fresh
                ]
                shelf.add(self.connection, rows)

    def _cleaners(self, *, untold: bool) -> list[str]:
        """Who reported last on this machine; where nothing was told, the cleaners of its site."""
        register = self.visit.register
        if untold:
            return [person.uuid for person in register.who("cleaner", self.fold.site)]
        seq = max((seq for _at, seq in self.fold.last.values()), default=0)
        row = entry_at(self.connection, self.visit.uuid, seq)
        if row is None:
            return []
        person = words.person_of(self.connection, self.visit.uuid, read_form(row.bytes).reporter)
        known = register.people.get(person) if person is not None else None
        return [known.uuid] if known is not None and known.role == "cleaner" else []

    def _warn_before_night(self) -> None:
        """Still not on charge so long before its next night: somebody must hear of it while there is time."""
        duty, begins, policy = uncharged(self.fold), self.fold.night_next, self.fold.policy(self.now)
        warned_from = begins - policy.charge_before_night
        if duty is None or begins >= FOREVER or not warned_from <= self.now < begins:
            return
        record = self.visit.watchman.ledger.active.get(duty.key)
        tell = policy.tell("charge")
        if record is None or record.raised_at is None or tell == "none":
            return
        if record.raised_at >= warned_from and tell in ("now", "urgent"):
            return  # the alert itself tells of it in time
        steps = policy.escalation("charge")
        told = notices(self.roster, policy, steps[0], "now", duty.site, self.now) if steps else []
        alert = alerts.find(self.connection, (self.visit.uuid, *duty.key, record.count))
        item = self._item(duty, record.count, "now", alert.serial if alert is not None else None, None)
        self._put_down(item, told, f"before {begins}")
