"""The watchman kept in the database: one machine's fold, its alert ledger, and copies to fold again from.

Promises that what is loaded equals what a fold of the whole log would give, and that it is saved in the same
transaction as the entries it has heard. The copies are a cache; the log is the truth. Never decides anything.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator
from itertools import groupby
from operator import attrgetter
from typing import Any

import msgspec
from sqlalchemy import Connection

from logbook.domain.alerts import Ledger, Record
from logbook.domain.history import BEGINNING, Entry, Position
from logbook.domain.instants import parse
from logbook.domain.machine import FOREVER, Book, Key, Machine
from logbook.domain.watchman import Memory, Watchman
from logbook.store import cache, log
from logbook.store.log import FoldRow

_HEAD: Position = (FOREVER, 0)
"""Where the newest state is kept, behind every copy: it is written anew with each append."""

_KEPT = 24
"""Copies kept of one machine: the newest few, and of older ones ever fewer."""

_CLOCKS = frozenset({"alert_raised", "alert_cleared"})
"""What the clock wrote."""

_DATA = _CLOCKS | {"commissioned", "moved", "battery_fitted", "segments", "ordered", "received", "excused", "void"}
"""Kinds whose data the fold, or the ledger of its alerts, looks into; the others need not be decoded."""


class _Told(msgspec.Struct, gc=False):
    data: dict[str, Any]


class _State(msgspec.Struct):
    """The newest state: the fold, the ledger's open records, the instant up to which time was led."""

    machine: bytes
    active: list[Record]
    now: int
    since_copy: int


_data = msgspec.json.Decoder(_Told).decode
_encode = msgspec.msgpack.Encoder().encode
_decode = msgspec.msgpack.Decoder(_State).decode
_record = msgspec.msgpack.Decoder(Record).decode
_EMPTY: dict[str, Any] = {}


def _as_entries(rows: Iterable[FoldRow], struck: Container[str] = ()) -> Iterator[Entry]:
    """Rows of the log as the fold sees them; without those that were struck."""
    for seq, id_, kind, occurred_at, recorded_at, root, content in rows:
        if id_ not in struck:
            data = _data(content).data if kind in _DATA else _EMPTY
            yield Entry(seq, id_, kind, occurred_at, recorded_at, root or id_, data)


def recorded(connection: Connection, machine: str) -> Iterator[Entry]:
    """Every entry of a log in the order of recording, struck ones too, as a stream."""
    return _as_entries(log.rows_as_recorded(connection, machine))


def effective(connection: Connection, machine: str, after: Position | None = None) -> Iterator[Entry]:
    """The effective history behind a place (None: all of it), in effective order: what was struck is left out."""
    return _as_entries(log.rows_for_fold(connection, machine, after), log.struck(connection, machine))


class _Archive:
    """Copies of the fold and the history, in the database (see `logbook.domain.watchman.Archive`)."""

    def __init__(self, connection: Connection, machine: str) -> None:
        self._connection = connection
        self._machine = machine

    def add(self, entries: Iterable[Entry]) -> Position:
        """They are in the log already; what they change begins at the earliest of them or of what they strike."""
        return min(self._place(entry) for entry in entries)

    def _place(self, entry: Entry) -> Position:
        struck = log.find(self._connection, entry.data["entry"]) if entry.kind == "void" else None
        return entry.position if struck is None else min(entry.position, (struck.occurred_at, struck.seq))

    def after(self, position: Position) -> Iterable[Entry]:
        return effective(self._connection, self._machine, position)

    def copy_before(self, position: Position) -> tuple[Position, bytes | None]:
        cache.drop_snapshots_from(self._connection, self._machine, position)
        found = cache.latest_snapshot(self._connection, self._machine)
        return (BEGINNING, None) if found is None else (found.frontier, found.state)

    def keep(self, position: Position, copy: Callable[[], bytes]) -> None:
        cache.keep_snapshot(self._connection, self._machine, position, 0, copy())
        places = [place for place in cache.frontiers(self._connection, self._machine) if place < _HEAD]
        if len(places) > _KEPT:
            # The newer half stays; of the older half every second one goes.
            cache.drop_snapshots(self._connection, self._machine, places[_KEPT // 2 :: 2])


class _Anew(_Archive):
    """Of a machine that was folded anew: what is kept is not looked at, and gives way when this is saved."""

    def copy_before(self, position: Position) -> tuple[Position, bytes | None]:  # noqa: ARG002 - the protocol's
        return BEGINNING, None

    def keep(self, position: Position, copy: Callable[[], bytes]) -> None:
        pass


def load(connection: Connection, machine: str, book: Book) -> Watchman:
    """The watchman of a machine as it was last saved; if nothing usable was, as its log makes it anew.

    Writes nothing, so that whoever only reads may ask too.
    """
    kept = cache.latest_snapshot(connection, machine)
    if kept is not None and kept.frontier == _HEAD:
        try:
            state = _decode(kept.state)
            return _awake(connection, machine, book, Machine.thaw(state.machine, book), state)
        except msgspec.ValidationError:
            pass  # another version's state: made anew below
    return rebuild(connection, machine, book)


def rebuild(connection: Connection, machine: str, book: Book) -> Watchman:
    """Make everything that is kept of a machine anew from its log: the fold, its copies, the ledger of its alerts.

    The log is led through time as it was recorded; what the clock did then stands in it, and is not done again.
    What was kept before gives way when this is saved.
    """
    past = Watchman(book, Memory())
    for recorded_at, entries in groupby(recorded(connection, machine), key=attrgetter("recorded_at")):
        past.advance(recorded_at - 1)
        # The clock may have acted between two entries of one instant: it did not know the second then.
        for clocks, run in groupby(entries, key=lambda entry: entry.kind in _CLOCKS):
            heard = list(run)
            past.hear(heard, recorded_at)
            past.advance(recorded_at)
            for entry in heard if clocks else ():
                said = entry.data
                key, due = (said["duty"], said["opened_by"]), parse(said["due_at"])
                past.ledger.did(key, said["number"], entry.kind == "alert_raised", recorded_at, due)
    past.archive = _Anew(connection, machine)
    return past


def _awake(connection: Connection, machine: str, book: Book, fold: Machine, state: _State) -> Watchman:
    def fetch(key: Key) -> Record | None:
        kept = cache.overdue_record(connection, machine, *key)
        return None if kept is None else _record(kept)

    watchman = Watchman(book, _Archive(connection, machine), fold, Ledger(state.active, fetch))
    watchman.now, watchman.since_copy = state.now, state.since_copy
    watchman.before_folding_again = lambda origin: _bring(connection, machine, watchman.ledger, origin)
    return watchman


def _bring(connection: Connection, machine: str, ledger: Ledger, origin: Position) -> None:
    """Before folding again: bring every record that what follows `origin` may change."""
    for row in cache.overdue_from(connection, machine, origin):
        ledger.records.setdefault((row.duty, row.opened_by), _record(row.state))


def save(connection: Connection, machine: str, seq: int, watchman: Watchman) -> None:
    """Keep the watchman as it is now, having heard the log up to `seq`."""
    ledger = watchman.ledger
    if isinstance(watchman.archive, _Anew):
        cache.forget(connection, machine)
        ledger.dirty.update(ledger.records)
    if ledger.dirty:
        rows = []
        for key in ledger.dirty:
            record = ledger.records[key]
            rows.append(cache.Overdue(*key, _encode(record), *(record.duty.closed or (None, None))))
        cache.keep_overdue(connection, machine, rows)
        ledger.dirty.clear()
    state = _State(watchman.machine.freeze(), list(ledger.active.values()), watchman.now, watchman.since_copy)
    cache.keep_snapshot(connection, machine, _HEAD, seq, _encode(state))
