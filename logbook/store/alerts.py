"""The alerts as a table: which are live, and when each takes its next step. A projection of their entries.

Promises that one alert of one duty is one row, however often it is raised. Never decides that there is one.
"""

from __future__ import annotations

from typing import NamedTuple

from sqlalchemy import Connection, Select, bindparam, insert, null, select, update

from logbook.store.statements import NONE, ONE, Ready
from logbook.store.tables import alert


class Alert(NamedTuple):
    """A row of the table. Its identity is (machine, duty, opened_by, number)."""

    serial: int
    machine: str
    duty: str
    opened_by: str
    number: int
    due_at: int
    raised_at: int
    cleared_at: int | None
    outcome: str | None
    acknowledged_until: int | None
    step: int
    next_step_at: int | None


_IDENTITY = ("machine", "duty", "opened_by", "number")
_is = tuple(alert.c[name] == bindparam(f"of_{name}") for name in _IDENTITY)
_OF = tuple(f"of_{name}" for name in _IDENTITY)
_all = select(*alert.c)
_RAISED = ("machine", "duty", "opened_by", "number", "due_at", "raised_at", "step", "next_step_at")
_RAISE = Ready(insert(alert).values({name: bindparam(name) for name in _RAISED}).returning(alert.c.serial), *_RAISED)
_CLEAR = Ready(
    update(alert)
    .where(*_is, alert.c.cleared_at.is_(None))
    .values(cleared_at=bindparam("at"), outcome=bindparam("why"), due_at=bindparam("due"), next_step_at=null()),
    "due", "at", "why", *_OF,
)  # fmt: skip
_ACKNOWLEDGE = Ready(
    update(alert)
    .where(*_is, alert.c.cleared_at.is_(None))
    .values(acknowledged_until=bindparam("until"), next_step_at=bindparam("next")),
    "until",
    "next",
    *_OF,
)
_STEP = Ready(
    update(alert)
    .where(*_is, alert.c.cleared_at.is_(None))
    .values(step=bindparam("to"), next_step_at=bindparam("next")),
    "to", "next", *_OF,
)  # fmt: skip


def _ordered(query: Select[tuple[object, ...]]) -> Select[tuple[object, ...]]:
    return query.order_by(alert.c.serial)


_FIND = Ready(_all.where(*_is), *_OF)
_BY_SERIAL = Ready(_all.where(alert.c.serial == bindparam("number")), "number")
_LIVE = Ready(_ordered(_all.where(alert.c.cleared_at.is_(None))))
_machine = alert.c.machine == bindparam("machine")
_LIVE_OF = Ready(_ordered(_all.where(_machine, alert.c.cleared_at.is_(None))), "machine")
_ALL_OF = Ready(_ordered(_all.where(_machine)), "machine")
_CLEARED = Ready(
    _ordered(_all.where(alert.c.cleared_at > bindparam("after"), alert.c.cleared_at <= bindparam("until"))),
    "after", "until",
)  # fmt: skip
_RAISED_BETWEEN = Ready(
    _ordered(_all.where(alert.c.raised_at > bindparam("after"), alert.c.raised_at <= bindparam("until"))),
    "after", "until",
)  # fmt: skip
_NEXT_STEP = Ready(
    select(alert.c.next_step_at)
    .where(alert.c.next_step_at.is_not(None))
    .order_by(alert.c.next_step_at)
    .limit(ONE)
    .offset(NONE)
)

Identity = tuple[str, str, str, int]
"""(machine, duty, opened_by, number)"""


def raised(
    connection: Connection, identity: Identity, due_at: int, raised_at: int, *, step: int = 0, next_step_at: int | None
) -> int:
    """Enter a raised alert; answers with its serial, by which people call it. It must not be there yet."""
    return int(_RAISE.one(connection, *identity, due_at, raised_at, step, next_step_at)[0])


def cleared(connection: Connection, identity: Identity, cleared_at: int, outcome: str, due_at: int) -> bool:
    """Clear a live alert, with its duty's due instant as last known; False if there is none."""
    return bool(_CLEAR.run(connection, due_at, cleared_at, outcome, *identity).rowcount)


def acknowledged(connection: Connection, identity: Identity, until: int, next_step_at: int | None) -> bool:
    """Hold a live alert's escalation; False if there is none."""
    return bool(_ACKNOWLEDGE.run(connection, until, next_step_at, *identity).rowcount)


def stepped(connection: Connection, identity: Identity, step: int, next_step_at: int | None) -> bool:
    """Take a live alert's next step; False if there is none."""
    return bool(_STEP.run(connection, step, next_step_at, *identity).rowcount)


def find(connection: Connection, identity: Identity) -> Alert | None:
    """The alert with this identity, or None."""
    row = _FIND.one(connection, *identity)
    return None if row is None else Alert._make(row)


def by_serial(connection: Connection, serial: int) -> Alert | None:
    """The alert that people call by this number, or None."""
    row = _BY_SERIAL.one(connection, serial)
    return None if row is None else Alert._make(row)


def live(connection: Connection, machine: str | None = None) -> list[Alert]:
    """The live alerts of one machine, or of all (None), in the order in which they were raised."""
    rows = _LIVE.all(connection) if machine is None else _LIVE_OF.all(connection, machine)
    return [Alert._make(row) for row in rows]


def of_machine(connection: Connection, machine: str) -> list[Alert]:
    """Every alert a machine ever had, in the order in which they were raised."""
    return [Alert._make(row) for row in _ALL_OF.all(connection, machine)]


def cleared_between(connection: Connection, after: int, until: int) -> list[Alert]:
    """The alerts cleared after one instant and at or before another."""
    return [Alert._make(row) for row in _CLEARED.all(connection, after, until)]


def raised_between(connection: Connection, after: int, until: int) -> list[Alert]:
    """The alerts raised after one instant and at or before another."""
    return [Alert._make(row) for row in _RAISED_BETWEEN.all(connection, after, until)]


def next_step_at(connection: Connection) -> int | None:
    """When the next step of any alert comes, or None."""
    row = _NEXT_STEP.one(connection)
    return None if row is None else int(row[0])
