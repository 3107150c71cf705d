"""What another number, or another calendar, would have raised: the replay's very engine over the log's own entries.

Both sides are replayed as if their numbers had always been in force, so that they differ in nothing but the change.
It writes nothing; it is cut off at so many machines and so many seconds, and says so.
"""

from __future__ import annotations

import threading
import time
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from logbook.domain.book import MachineBook
from logbook.domain.history import Entry
from logbook.domain.instants import DAY, Instant
from logbook.domain.machine import FOREVER
from logbook.domain.register import Register, RuleKey
from logbook.replay import Said, replay_machine, said
from logbook.store import folds
from logbook.web.house import House
from logbook.web.register.ground import Known

MACHINES_MOST = 40
SECONDS_MOST = 20.0
DAYS = 30
_CLOCKS_OWN = frozenset({"alert_raised", "alert_escalated", "alert_cleared"})
_one_at_a_time = threading.BoundedSemaphore(1)


class Busy(Exception):
    """Another preview is being worked out."""


@dataclass(frozen=True, slots=True)
class Difference:
    """What would have been raised more and less, within `since` and `until`. `of`: machines there are, `done`: replayed."""

    more: tuple[Said, ...]
    fewer: tuple[Said, ...]
    before: int
    after: int
    since: Instant
    until: Instant
    done: int
    of: int
    zones: Mapping[str, str]
    """By the codes of the machines: a night is told by the clock of its site."""

    def by_duty(self) -> list[tuple[str, int, int]]:
        """(duty, more, fewer), the most changed first."""
        more, fewer = Counter(s.duty for s in self.more), Counter(s.duty for s in self.fewer)
        return sorted(((d, more[d], fewer[d]) for d in more | fewer), key=lambda row: (-row[1] - row[2], row[0]))


def rules_of(rules: Iterable[RuleKey]) -> list[dict[str, Any]]:
    return [{"rule": r[0], "from": r[1], "to": r[2], "except": list(r[3])} for r in rules]


def supposed(register: Register, kind: str = "", data: Mapping[str, Any] | None = None) -> Register:
    """The register of today as if it had always been so, with one entry more."""
    made = Register()

    def put(what: str, said_: Mapping[str, Any]) -> None:
        made.apply(what, said_, {}, -FOREVER)

    put("fleet_founded", {"name": register.name, "origin": register.origin, "language": register.language})
    put("settings", {"values": dict(register.settings())})
    for site in register.sites.values():
        put("site_set", {"site": site.code, "name": site.name, "zone": site.zone, "nights": rules_of(site.nights)})
        put("settings", {"site": site.code, "values": dict(register.settings(site=site.code))})
    for machine in register.machines.values():
        nights = None if machine.nights is None else rules_of(machine.nights)
        fit = None if machine.segments is None else machine.segments.model_dump()
        put("machine_set", {"machine": machine.uuid, "code": machine.code, "segments": fit, "nights": nights})
        put("settings", {"machine": machine.uuid, "values": dict(register.settings(machine=machine.uuid))})
    if kind and data is not None:
        put(kind, data)
    return made


def raised(register: Register, known: Known, entries: Iterable[Entry], since: Instant, until: Instant) -> list[Said]:
    """The alerts that would have been raised on one machine within `since` and `until`, both included."""
    book = MachineBook(register, known.record.uuid)
    found = (said(at, known.code, decision) for at, decision in replay_machine(book, entries, until))
    return [each for each in found if not each.cleared and each.at >= since]


def difference(
    house: House, machines: Iterable[Known], kind: str, data: Mapping[str, Any], *, days: int = DAYS
) -> Difference:
    """What one entry of the fleet's log would have changed. Raises Busy."""
    if not _one_at_a_time.acquire(timeout=5):
        raise Busy
    try:
        return _difference(house, list(machines), kind, data, days)
    finally:
        _one_at_a_time.release()


def _difference(house: House, machines: list[Known], kind: str, data: Mapping[str, Any], days: int) -> Difference:
    until = house.now()
    since, stop = until - days * DAY, time.monotonic() + SECONDS_MOST
    with house.store.read() as connection:
        register = house.register(connection)
        now, then = supposed(register), supposed(register, kind, data)
        more: list[Said] = []
        fewer: list[Said] = []
        before = after = done = 0
        for known in machines[:MACHINES_MOST]:
            if time.monotonic() > stop:
                break
            entries = [e for e in folds.recorded(connection, known.record.uuid) if e.kind not in _CLOCKS_OWN]
            old, new = raised(now, known, entries, since, until), raised(then, known, entries, since, until)
            told, would = ({(s.duty, s.opened_by, s.number) for s in each} for each in (old, new))
            more += [s for s in new if (s.duty, s.opened_by, s.number) not in told]
            fewer += [s for s in old if (s.duty, s.opened_by, s.number) not in would]
            before, after, done = before + len(old), after + len(new), done + 1
    zones = {known.code: register.sites[known.site].zone for known in machines}
    return Difference(
        tuple(sorted(more)), tuple(sorted(fewer)), before, after, since, until, done, len(machines), zones
    )
