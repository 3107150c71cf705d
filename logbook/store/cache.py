"""Folds kept so that they need not be made again: snapshots, and the duties that have ever been overdue.

Promises nothing but speed: both tables can be emptied at any time and folded again from the log. Never looks into
a state: its bytes belong to whoever folds.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from sqlalchemy import Connection, bindparam, delete, or_, select, tuple_

from logbook.store.log import Position
from logbook.store.statements import NONE, ONE, Ready, upsert
from logbook.store.tables import overdue, snapshot


class Snapshot(NamedTuple):
    """The fold of a log's entries up to a place in the effective order, as known when `seq` was its last entry."""

    frontier_at: int
    frontier_seq: int
    seq: int
    state: bytes

    @property
    def frontier(self) -> Position:
        """The place up to which it has folded."""
        return (self.frontier_at, self.frontier_seq)


class Overdue(NamedTuple):
    """A duty that has been overdue. `closed`: the place behind which nothing could change it any more, if any."""

    duty: str
    opened_by: str
    state: bytes
    closed_at: int | None = None
    closed_seq: int | None = None


_of_machine = snapshot.c.machine == bindparam("machine")
_frontier = tuple_(snapshot.c.frontier_at, snapshot.c.frontier_seq)
_place = tuple_(bindparam("at"), bindparam("seq"))
_KEEP = upsert(
    snapshot, "machine", "frontier_at", "frontier_seq", "seq", "state",
    keys=["machine", "frontier_at", "frontier_seq"],
)  # fmt: skip
_newest_first = (snapshot.c.frontier_at.desc(), snapshot.c.frontier_seq.desc())
_snapshot = select(snapshot.c.frontier_at, snapshot.c.frontier_seq, snapshot.c.seq, snapshot.c.state)
_LATEST = Ready(_snapshot.where(_of_machine).order_by(*_newest_first).limit(ONE).offset(NONE), "machine")
_BEFORE = Ready(
    _snapshot.where(_of_machine, _frontier < _place).order_by(*_newest_first).limit(ONE).offset(NONE),
    "machine",
    "at",
    "seq",
)
_FRONTIERS = Ready(
    select(snapshot.c.frontier_at, snapshot.c.frontier_seq).where(_of_machine).order_by(*_newest_first), "machine"
)
_DROP_FROM = Ready(delete(snapshot).where(_of_machine, _frontier >= _place), "machine", "at", "seq")
_DROP = Ready(
    delete(snapshot).where(
        _of_machine, snapshot.c.frontier_at == bindparam("at"), snapshot.c.frontier_seq == bindparam("seq")
    ),
    "machine", "at", "seq",
)  # fmt: skip

_overdue = select(overdue.c.duty, overdue.c.opened_by, overdue.c.state, overdue.c.closed_at, overdue.c.closed_seq)
_is_machine = overdue.c.machine == bindparam("machine")
_KEEP_OVERDUE = upsert(
    overdue, "machine", "duty", "opened_by", "state", "closed_at", "closed_seq", keys=["machine", "duty", "opened_by"]
)
_OVERDUE = Ready(_overdue.where(_is_machine).order_by(overdue.c.duty, overdue.c.opened_by), "machine")
_OVERDUE_FROM = Ready(
    _overdue.where(
        _is_machine,
        or_(overdue.c.closed_at.is_(None), tuple_(overdue.c.closed_at, overdue.c.closed_seq) >= _place),
    ).order_by(overdue.c.duty, overdue.c.opened_by),
    "machine", "at", "seq",
)  # fmt: skip
_ONE_OVERDUE = Ready(
    select(overdue.c.state).where(
        _is_machine, overdue.c.duty == bindparam("duty"), overdue.c.opened_by == bindparam("opened_by")
    ),
    "machine", "duty", "opened_by",
)  # fmt: skip
_DROP_OVERDUE = Ready(
    delete(overdue).where(
        _is_machine, overdue.c.duty == bindparam("duty"), overdue.c.opened_by == bindparam("opened_by")
    ),
    "machine", "duty", "opened_by",
)  # fmt: skip


def keep_snapshot(connection: Connection, machine: str, frontier: Position, seq: int, state: bytes) -> None:
    """Keep a fold; one at the same place gives way."""
    _KEEP.run(connection, machine, *frontier, seq, state)


def latest_snapshot(connection: Connection, machine: str) -> Snapshot | None:
    """The fold that has come furthest, or None."""
    row = _LATEST.one(connection, machine)
    return None if row is None else Snapshot._make(row)


def snapshot_before(connection: Connection, machine: str, position: Position) -> Snapshot | None:
    """The furthest fold that ends before a place: from there a late entry at that place is folded in. Or None."""
    row = _BEFORE.one(connection, machine, *position)
    return None if row is None else Snapshot._make(row)


def frontiers(connection: Connection, machine: str) -> list[Position]:
    """The places at which folds are kept, the furthest first."""
    return _FRONTIERS.all(connection, machine)


def drop_snapshots_from(connection: Connection, machine: str, position: Position) -> None:
    """Drop the folds at and behind a place: what happened there has changed."""
    _DROP_FROM.run(connection, machine, *position)


def drop_snapshots(connection: Connection, machine: str, places: Iterable[Position]) -> None:
    """Drop the folds at these places, so that a log does not keep one for every entry."""
    for place in places:
        _DROP.run(connection, machine, *place)


def forget(connection: Connection, machine: str | None = None) -> None:
    """Empty both caches, for one machine or for all (None); the next fold begins at the beginning."""
    for table in (snapshot, overdue):
        connection.execute(delete(table) if machine is None else delete(table).where(table.c.machine == machine))


def keep_overdue(connection: Connection, machine: str, rows: Iterable[Overdue]) -> None:
    """Keep duties that are or were overdue; the same duty's older state gives way."""
    made = [(machine, *row) for row in rows]
    if made:
        _KEEP_OVERDUE.many(connection, made)


def overdue_of(connection: Connection, machine: str) -> list[Overdue]:
    """Every duty of a machine that has ever been overdue."""
    return [Overdue._make(row) for row in _OVERDUE.all(connection, machine)]


def overdue_from(connection: Connection, machine: str, position: Position) -> list[Overdue]:
    """Those that something at or behind a place may still change: not closed, or closed there or later."""
    return [Overdue._make(row) for row in _OVERDUE_FROM.all(connection, machine, *position)]


def overdue_record(connection: Connection, machine: str, duty: str, opened_by: str) -> bytes | None:
    """The state kept of one duty, or None if it was never overdue."""
    row = _ONE_OVERDUE.one(connection, machine, duty, opened_by)
    return None if row is None else bytes(row[0])


def drop_overdue(connection: Connection, machine: str, keys: Iterable[tuple[str, str]]) -> None:
    """Drop duties by (duty, opened_by)."""
    for duty, opened_by in keys:
        _DROP_OVERDUE.run(connection, machine, duty, opened_by)
