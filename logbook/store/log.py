"""The log itself: appending to it, finding in it, reading it back in either order.

Promises that an append is wholly there or not at all, and is chained to what was the log's end when it began.
Never changes or removes an entry (the database would refuse), and looks into the bytes for one thing only: what a
`void` strikes. That the columns say what the bytes say is the business of `logbook.evidence.audit`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, NamedTuple

import msgspec
from sqlalchemy import Connection, and_, bindparam, insert, literal_column, select, tuple_, update

from logbook.store.errors import RefusedError, original, sqlstate
from logbook.store.statements import Ready
from logbook.store.tables import entry, entry_id, log

NO_FORERUNNER = "0" * 64
"""The head of a log without entries."""

Position = tuple[int, int]
"""A place in the effective order: (occurred_at, seq)."""

StoredRow = tuple[str, int, str, str, int, int, str | None, bytes, str]
"""The columns of `Stored`, in its order."""

FoldRow = tuple[int, str, str, int, int, str | None, bytes]
"""(seq, id, kind, occurred_at, recorded_at, root, bytes)"""


class Head(NamedTuple):
    """The end of a log: its last seq (0: none yet), that entry's leaf hash, and when it was recorded."""

    seq: int
    head: str
    recorded_at: int


class NewEntry(NamedTuple):
    """An entry to be appended. `root`: for a correction, the first entry of its chain; `bytes` name its forerunner."""

    seq: int
    id: str
    kind: str
    occurred_at: int
    recorded_at: int
    root: str | None
    bytes: bytes
    hash: str


class Stored(NamedTuple):
    """A row of the table `entry`."""

    machine: str
    seq: int
    id: str
    kind: str
    occurred_at: int
    recorded_at: int
    root: str | None
    bytes: bytes
    hash: str


class LogRow(NamedTuple):
    """A row of the table `log`, without its code."""

    machine: str
    kind: str
    seq: int
    head: str
    recorded_at: int


class _Struck(msgspec.Struct):
    entry: str


class _Void(msgspec.Struct):
    data: _Struck


class _Said(msgspec.Struct):
    data: dict[str, Any]


_said = msgspec.json.Decoder(_Said).decode
_void = msgspec.json.Decoder(_Void).decode


def _b(*names: str) -> dict[str, object]:
    return {name: bindparam(name) for name in names}


_head = select(log.c.seq, log.c.head, log.c.recorded_at).where(log.c.machine == bindparam("machine"))
_HEAD = Ready(_head, "machine")
_HEAD_LOCKED = Ready(_head.with_for_update(), "machine")
_CREATE = Ready(
    insert(log).values(_b("machine", "kind", "code", "seq", "head", "recorded_at")),
    "machine", "kind", "code", "seq", "head", "recorded_at",
)  # fmt: skip
_ENTRY_COLUMNS = [column.name for column in entry.c]
_ENTER = Ready(insert(entry).values(_b(*_ENTRY_COLUMNS)), *_ENTRY_COLUMNS)
_ENTER_ID = Ready(insert(entry_id).values(_b("id", "machine", "seq")), "id", "machine", "seq")
_MOVE = Ready(
    update(log)
    .where(log.c.machine == bindparam("at_machine"), log.c.seq == bindparam("at_seq"))
    .values(_b("seq", "head", "recorded_at")),
    "seq", "head", "recorded_at", "at_machine", "at_seq",
)  # fmt: skip
_CODE = Ready(update(log).where(log.c.machine == bindparam("at_machine")).values(_b("code")), "code", "at_machine")
_BY_CODE = Ready(select(log.c.machine).where(log.c.code == bindparam("code")), "code")
_OF_KIND = Ready(
    select(log.c.machine, log.c.code).where(log.c.kind == bindparam("kind")).order_by(log.c.machine), "kind"
)
_LOGS = Ready(select(log.c.machine, log.c.kind, log.c.seq, log.c.head, log.c.recorded_at).order_by(log.c.machine))
_FIND = Ready(
    select(*entry.c)
    .select_from(entry_id.join(entry, and_(entry.c.machine == entry_id.c.machine, entry.c.seq == entry_id.c.seq)))
    .where(entry_id.c.id == bindparam("id")),
    "id",
)  # fmt: skip
_of_machine = entry.c.machine == bindparam("machine")
_beyond = tuple_(entry.c.occurred_at, entry.c.seq) > tuple_(bindparam("at"), bindparam("seq"))
_effective = (entry.c.occurred_at, entry.c.seq)
_AFTER = Ready(select(*entry.c).where(_of_machine, _beyond).order_by(*_effective), "machine", "at", "seq")
_BY_SEQ = Ready(
    select(*entry.c).where(_of_machine, entry.c.seq > bindparam("seq")).order_by(entry.c.seq), "machine", "seq"
)
_lean = select(
    entry.c.seq, entry.c.id, entry.c.kind, entry.c.occurred_at, entry.c.recorded_at, entry.c.root, entry.c.bytes
)
_FOLD_AFTER = Ready(_lean.where(_of_machine, _beyond).order_by(*_effective), "machine", "at", "seq")
_FOLD_ALL = Ready(_lean.where(_of_machine).order_by(entry.c.seq), "machine")
_TOLD = Ready(
    select(entry.c.id, entry.c.occurred_at, entry.c.bytes)
    .where(
        _of_machine,
        entry.c.kind == bindparam("kind"),
        entry.c.occurred_at > bindparam("after"),
        entry.c.occurred_at <= bindparam("until"),
    )
    .order_by(*_effective),
    "machine", "kind", "after", "until",
)  # fmt: skip
_VOIDS = Ready(select(entry.c.bytes).where(_of_machine, entry.c.kind == literal_column("'void'")), "machine")
_EVERY = Ready(select(*entry.c).order_by(entry.c.machine, entry.c.seq))
_UNLISTED = Ready(
    select(entry.c.machine, entry.c.seq, entry.c.id)
    .select_from(
        entry.outerjoin(
            entry_id,
            and_(entry_id.c.id == entry.c.id, entry_id.c.machine == entry.c.machine, entry_id.c.seq == entry.c.seq),
        )
    )
    .where(entry_id.c.id.is_(None))
    .order_by(entry.c.machine, entry.c.seq)
)


def head(connection: Connection, machine: str, lock: bool = False) -> Head | None:
    """The end of a log, or None if there is no such log.

    `lock`: on PostgreSQL, nobody else appends to it until this transaction ends (in SQLite nobody can anyway).
    """
    row = (_HEAD_LOCKED if lock else _HEAD).one(connection, machine)
    return None if row is None else Head._make(row)


def create(connection: Connection, machine: str, kind: str, code: str | None) -> None:
    """Begin a log (`kind`: machine or fleet) without entries. Raises RefusedError if it, or the code, is there."""
    try:
        _CREATE.run(connection, machine, kind, code, 0, NO_FORERUNNER, 0)
    except Exception as why:
        raise _refusal(why, f"The log {machine} ({code}) cannot begin") or why from why


def append(connection: Connection, machine: str, rows: Sequence[NewEntry]) -> None:
    """Append entries to a log and move its head.

    Raises RefusedError if the database refuses one of them (out of turn, not chained to the log's end,
    back-dated, an id used before) or if there is no such log: then the whole transaction must be given up.
    """
    if not rows:
        return
    last = rows[-1]
    try:
        if len(rows) == 1:
            _ENTER.run(connection, machine, *last)
            _ENTER_ID.run(connection, last.id, machine, last.seq)
        else:
            _ENTER.many(connection, [(machine, *row) for row in rows])
            _ENTER_ID.many(connection, [(row.id, machine, row.seq) for row in rows])
    except Exception as why:
        raise _refusal(why, f"Entries {rows[0].seq} to {last.seq} of the log {machine} were refused") or why from why
    moved = _MOVE.run(connection, last.seq, last.hash, last.recorded_at, machine, rows[0].seq - 1)
    if moved.rowcount != 1:
        raise RefusedError(f"The log {machine} does not exist, or its kept head is not its end. Nothing was saved.")


def find(connection: Connection, id: str) -> Stored | None:
    """The entry with this id, in whichever log, or None."""
    row = _FIND.one(connection, id)
    return None if row is None else Stored._make(row)


def after(connection: Connection, machine: str, frontier: Position) -> list[Stored]:
    """The entries of a log behind a place in the effective order, in that order; struck ones too."""
    return [Stored._make(row) for row in _AFTER.all(connection, machine, *frontier)]


def by_seq(connection: Connection, machine: str, after_seq: int = 0) -> Iterator[Stored]:
    """The entries of a log in the order of recording, as a stream."""
    return map(Stored._make, _BY_SEQ.stream(connection, machine, after_seq))


def rows_for_fold(connection: Connection, machine: str, frontier: Position | None = None) -> list[FoldRow]:
    """What a fold needs of the entries behind `frontier` (None: of all), in effective order, as bare tuples."""
    if frontier is not None:
        return _FOLD_AFTER.all(connection, machine, *frontier)
    # The whole log lies in the order of recording, which is nearly that of happening: read as it lies and then
    # sorted, it comes in half the time that the index would take.
    rows: list[FoldRow] = _FOLD_ALL.all(connection, machine)
    rows.sort(key=_happened)
    return rows


def rows_as_recorded(connection: Connection, machine: str) -> Iterator[FoldRow]:
    """What a fold needs of every entry, in the order of recording, as a stream of bare tuples."""
    return _FOLD_ALL.stream(connection, machine)


def _happened(row: FoldRow) -> int:
    return row[3]  # equal ones stay in the order of seq: Python's sort is stable


def told_between(
    connection: Connection, machine: str, kind: str, after: int, until: int
) -> list[tuple[int, dict[str, Any]]]:
    """(occurred_at, data) of a machine's entries of a kind that happened after one instant and by another.

    Struck ones are left out.
    """
    gone = struck(connection, machine)
    rows = _TOLD.all(connection, machine, kind, after, until)
    return [(occurred_at, _said(content).data) for id_, occurred_at, content in rows if id_ not in gone]


def struck(connection: Connection, machine: str) -> frozenset[str]:
    """The ids of the entries that a `void` has taken out of a log's effective history."""
    return frozenset(_void(row[0]).data.entry for row in _VOIDS.all(connection, machine))


def every(connection: Connection) -> Iterator[StoredRow]:
    """Every entry of every log, by machine, then seq, as a stream of bare tuples: what the audit reads."""
    return _EVERY.stream(connection)


def unlisted(connection: Connection) -> list[tuple[str, int, str]]:
    """(machine, seq, id) of entries that `find` would miss, which a sound database has none of."""
    return _UNLISTED.all(connection)


def logs(connection: Connection) -> Iterator[LogRow]:
    """Every log with its head, by machine, as a stream: what a seal and the audit read."""
    return map(LogRow._make, _LOGS.stream(connection))


def of_kind(connection: Connection, kind: str) -> list[tuple[str, str | None]]:
    """(machine, code) of every log of a kind, by machine."""
    return _OF_KIND.all(connection, kind)


def by_code(connection: Connection, code: str) -> str | None:
    """The machine whose plate has this code, or None."""
    row = _BY_CODE.one(connection, code)
    return None if row is None else str(row[0])


def set_code(connection: Connection, machine: str, code: str | None) -> None:
    """Give a machine another plate. Raises RefusedError if another one has that code."""
    try:
        _CODE.run(connection, code, machine)
    except Exception as why:
        raise _refusal(why, f"The code {code} cannot be given to {machine}") or why from why


def set_codes(connection: Connection, codes: Iterable[tuple[str, str | None]]) -> None:
    """`set_code` for many (machine, code), in this order."""
    for machine, code in codes:
        set_code(connection, machine, code)


def _refusal(why: Exception, what: str) -> RefusedError | None:
    """The refusal in words, or None if the statement failed for another reason."""
    driver = original(why)
    # SQLSTATE class 23: integrity constraint violation (PostgreSQL manual, appendix A); our triggers raise 23001.
    if isinstance(driver, sqlite3.IntegrityError) or (sqlstate(driver) or "").startswith("23"):
        return RefusedError(f"{what}: {str(driver).splitlines()[0]}. Nothing was saved.")
    return None
