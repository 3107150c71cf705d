"""The clock that never sleeps: it acts at every recorded instant, every due instant and every end of settle.

It carries from one step to the next only what alerts there have been and since when a duty is overdue; duties
themselves are read anew from what is known.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from . import moments
from .duties import Duty, all_duties
from .history import Entry, Known, Numbers, read

Line = dict[str, Any]


@dataclass
class Watched:
    """What the clock remembers of one duty, by its identity."""

    last_known: Duty
    overdue_since: datetime | None = None
    raise_at: datetime | None = None
    alerts: int = 0
    live: bool = False


class Clock:
    """The clock over one machine's log."""

    def __init__(self, machine: str, numbers: Numbers, log: list[Entry], until: datetime) -> None:
        self.machine, self.numbers, self.log, self.until = machine, numbers, log, until
        self.watched: dict[tuple[str, str], Watched] = {}
        self.written: list[Line] = []
        self._read: tuple[int, list[Duty]] | None = None

    def duties(self, now: datetime) -> list[Duty]:
        """The duties of the history known at `now`. The same entries give the same duties: read them once."""
        known = [entry for entry in self.log if entry.recorded <= now]
        if self._read is None or self._read[0] != len(known):
            horizon = self.until + timedelta(days=2)
            self._read = len(known), all_duties(Known(self.numbers, known), horizon)
        return self._read[1]

    def run(self) -> list[Line]:
        now: datetime | None = self.log[0].recorded if self.log else None
        while now is not None and now <= self.until:
            self.step(now)
            now = self.next_step(now)
        return self.written

    def next_step(self, now: datetime) -> datetime | None:
        moments_ahead = [entry.recorded for entry in self.log]
        moments_ahead += [duty.due for duty in self.duties(now)]
        moments_ahead += [watched.raise_at for watched in self.watched.values() if watched.raise_at]
        return min((moment for moment in moments_ahead if moment > now), default=None)

    def step(self, now: datetime) -> None:
        """Take what is known at `now`, note what has become overdue, raise, clear."""
        duties = {duty.identity: duty for duty in self.duties(now)}
        for identity, duty in duties.items():
            watched = self.watched.setdefault(identity, Watched(duty))
            watched.last_known = duty
            self.note(watched, duty, now)
        for identity, watched in self.watched.items():
            found = duties.get(identity)
            if found is None:
                watched.overdue_since = watched.raise_at = None
            elif self.rings(watched, found, now):
                watched.alerts += 1
                watched.live = True
                self.write(now, "alert_raised", watched, None)
            if watched.live and (found is None or not found.standing(now)):
                watched.live = False
                self.write(now, "alert_cleared", watched, outcome(found))

    def note(self, watched: Watched, duty: Duty, now: datetime) -> None:
        """Keep the step at which the duty last became overdue, and from when on that may ring."""
        if not duty.overdue(now):
            watched.overdue_since = watched.raise_at = None
        elif watched.overdue_since is None:
            watched.overdue_since = now
            settle = moments.exact(self.numbers.get("settle", duty.site))
            watched.raise_at = now if duty.due == now else now + settle

    @staticmethod
    def rings(watched: Watched, duty: Duty, now: datetime) -> bool:
        if watched.raise_at is None or watched.live or now < watched.raise_at:
            return False
        return not (watched.alerts and duty.ended is not None)

    def write(self, now: datetime, kind: str, watched: Watched, result: str | None) -> None:
        duty = watched.last_known
        self.written.append({
            "at": moments.show(now), "kind": kind, "machine": self.machine, "duty": duty.name,
            "opened_by": duty.opened_by, "number": watched.alerts, "due_at": moments.show(duty.due),
            "outcome": result,
        })  # fmt: skip


def outcome(duty: Duty | None) -> str:
    """The first outcome that fits a live alert whose duty is not standing any more."""
    if duty is None:
        return "withdrawn"
    if duty.ended is None:
        return "not_due"
    at, how = duty.ended
    if how != "met":
        return how
    return "late" if at > duty.due else "told_late"


def replay(fleet: dict[str, Any], entries: list[Line], until: str) -> list[Line]:
    """What a clock that never sleeps would have written over these entries, up to and including `until`."""
    written: list[Line] = []
    for machine in dict.fromkeys(line["machine"] for line in entries):
        written += Clock(machine, *read(machine, fleet, entries), moments.parse(until)).run()
    return sorted(
        written,
        key=lambda line: (
            moments.parse(line["at"]), line["machine"], line["duty"], line["opened_by"],
            line["kind"] == "alert_cleared",
        ),
    )  # fmt: skip


def known_duties(fleet: dict[str, Any], entries: list[Line], machine: str, now: str) -> list[Duty]:
    """The duties of one machine that the entries recorded at or before `now` open, ended ones too."""
    numbers, log = read(machine, fleet, entries)
    moment = moments.parse(now)
    return Clock(machine, numbers, log, moment).duties(moment)
