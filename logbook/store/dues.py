"""The due index: for each machine the earliest instant at which the clock must look at it.

Promises that finding who is due costs as much as there is due, however large the fleet. Never works out an
instant: the fold does.
"""

from __future__ import annotations

from typing import cast

from sqlalchemy import BigInteger, Connection, bindparam, delete, func, literal_column, select
from sqlalchemy import cast as sql_cast
from sqlalchemy.dialects import postgresql, sqlite

from logbook.store.statements import NONE, Ready, upsert
from logbook.store.tables import due, log

_PUT = upsert(due, "machine", "at", keys=["machine"], if_new=True)
_EVERY_MACHINE = select(log.c.machine, sql_cast(bindparam("at"), BigInteger)).where(
    log.c.kind == literal_column("'machine'")
)
_ALL = Ready(
    sqlite.insert(due).from_select(["machine", "at"], _EVERY_MACHINE).on_conflict_do_update(
        index_elements=["machine"], set_={"at": bindparam("to")}
    ),
    "at", "to",
    other=postgresql.insert(due).from_select(["machine", "at"], _EVERY_MACHINE).on_conflict_do_update(
        index_elements=["machine"], set_={"at": bindparam("to")}
    ),
)  # fmt: skip
_DROP = Ready(delete(due).where(due.c.machine == bindparam("machine")), "machine")
_OF = Ready(select(due.c.at).where(due.c.machine == bindparam("machine")), "machine")
_NEXT = Ready(select(func.min(due.c.at)))
_reached = (
    select(due.c.machine, due.c.at)
    .where(due.c.at <= bindparam("now"))
    .order_by(due.c.at, due.c.machine)
    .limit(bindparam("most"))
    .offset(NONE)
)
_REACHED = Ready(_reached, "now", "most")
_REACHED_LOCKED = Ready(_reached.with_for_update(skip_locked=True), "now", "most")


def put(connection: Connection, machine: str, at: int | None) -> None:
    """Have the clock look at a machine at an instant, or never (None)."""
    if at is None:
        _DROP.run(connection, machine)
    else:
        _PUT.run(connection, machine, at)


def put_all(connection: Connection, at: int) -> None:
    """Have the clock look at every machine at an instant: what is in force has changed."""
    _ALL.run(connection, at, at)


def of(connection: Connection, machine: str) -> int | None:
    """When the clock will look at a machine."""
    row = _OF.one(connection, machine)
    return None if row is None else int(row[0])


def next_at(connection: Connection) -> int | None:
    """The earliest of all, or None: nothing will ever fall due."""
    return cast("int | None", _NEXT.one(connection)[0])


def reached(connection: Connection, now: int, most: int = 1_000, lock: bool = False) -> list[tuple[str, int]]:
    """(machine, at) of those whose instant has come, the earliest first.

    `lock`: on PostgreSQL, those that another clock is looking at are passed over until its transaction ends.
    """
    return (_REACHED_LOCKED if lock else _REACHED).all(connection, now, most)
