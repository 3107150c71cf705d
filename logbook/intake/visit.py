"""A visit to one machine's log, inside a transaction: add entries, look at what follows, leave it in order."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from sqlalchemy import Connection

from logbook.domain import door
from logbook.domain.book import MachineBook
from logbook.domain.history import Entry
from logbook.domain.instants import Instant
from logbook.domain.instants import parse as parse_instant
from logbook.domain.register import Register
from logbook.domain.telling.wake import next_wake
from logbook.domain.watchman import Watchman
from logbook.intake import passing
from logbook.intake.drafts import By, Draft, Written
from logbook.intake.forming import Former, Place
from logbook.store import alerts, dues, folds, log


class Visit:
    """One machine's log, open for writing in a transaction: add entries, decide, then leave."""

    def __init__(
        self, former: Former, connection: Connection, machine: str, register: Register, head: log.Head, now: Instant
    ) -> None:
        self._former = former
        self.connection = connection
        self.uuid = machine
        self.register = register
        self.head = head
        self.now = now
        self.book = MachineBook(register, machine)
        self.watchman: Watchman = folds.load(connection, machine, self.book)
        self.watchman.advance(now - 1)

    @property
    def code(self) -> str:
        """The machine's plate."""
        return self.register.machines[self.uuid].code

    def add(self, drafts: Sequence[Draft], by: By) -> list[Written]:
        """Append entries, recorded now. Raises door.Refused."""
        fold = self.watchman.machine
        late_after = self.book.policy(fold.site, self.now).late_after if fold.site else None
        place = Place(
            self.uuid, self.register.origin, self.head, self.now, sites=self.register.sites, first=fold.commissioned_at,
            late_after=late_after,
        )  # fmt: skip
        formed = self._former.form(self.connection, place, drafts, by)
        log.append(self.connection, self.uuid, formed.rows)
        if formed.rows:
            self.head = log.Head(formed.rows[-1].seq, formed.rows[-1].hash, self.now)
            self.watchman.hear(formed.entries, self.now)
            self._answered(formed.entries)
        self.watchman.advance(self.now)
        return formed.written

    def _answered(self, entries: Iterable[Entry]) -> None:
        """Someone took an alert in hand, or asked somebody else to: its next step waits until then.

        Whoever takes it "until now" gives it back: it waits no longer than for one who is told of it now.
        """
        for entry in entries:
            if entry.kind not in ("acknowledged", "passed_on"):
                continue
            data = entry.data
            identity = (self.uuid, data["duty"], data["opened_by"], data["number"])
            found = alerts.find(self.connection, identity)
            if found is None or found.cleared_at is not None:
                raise door.Refused("no_alert", "There is no such alert any more. Nothing was saved.")
            if entry.kind == "passed_on":
                passing.asked(self, entry, found)
            until = parse_instant(data["until"])
            later = found.next_step_at
            if later is not None and until > self.now:
                later = max(later, until)
            elif later is not None and entry.kind == "acknowledged":
                later = min(later, passing.turn_until(self.watchman.machine, found.duty, self.now))
            alerts.acknowledged(self.connection, identity, until, later)

    def leave(self, *, attended: bool = False) -> Instant | None:
        """Keep the fold as it is now, and the instant at which the clock must look at this machine again.

        Returns that instant. `attended`: the clock has done all that is due by now. Whoever else comes by never puts
        off what was due before and is not done yet, such as a reminder.
        """
        folds.save(self.connection, self.uuid, self.head.seq, self.watchman)
        # Without a record that is open there is no live alert, and nothing to ask the table of alerts for.
        live = alerts.live(self.connection, self.uuid) if self.watchman.ledger.active else ()
        steps = [each.next_step_at for each in live if each.next_step_at is not None]
        following = next_wake(self.watchman, self.now, steps)
        if not attended:
            waiting = dues.of(self.connection, self.uuid)
            if waiting is not None and waiting <= self.now:
                following = waiting if following is None else min(waiting, following)
        dues.put(self.connection, self.uuid, following)
        return following
