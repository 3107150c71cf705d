"""The clock's own signs of life: when each of its hands last moved, and why one is held.

Names in use: `step` (the last act), `delivery` (the last act), `hold:mail` (since when the mail queue is held;
the detail says why). Never reads a clock: instants come from the caller.
"""

from __future__ import annotations

from typing import NamedTuple

from sqlalchemy import Connection, bindparam, delete, select

from logbook.store.statements import Ready, upsert
from logbook.store.tables import clock


class Sign(NamedTuple):
    """When it was last seen, and what there is to say about it."""

    at: int
    detail: str | None


_PUT = upsert(clock, "name", "at", "detail", keys=["name"])
_OF = Ready(select(clock.c.at, clock.c.detail).where(clock.c.name == bindparam("name")), "name")
_ALL = Ready(select(clock.c.name, clock.c.at, clock.c.detail).order_by(clock.c.name))
_DROP = Ready(delete(clock).where(clock.c.name == bindparam("name")), "name")


def put(connection: Connection, name: str, at: int, detail: str | None = None) -> None:
    """Note that something was done, or began to be held, at an instant."""
    _PUT.run(connection, name, at, detail)


def of(connection: Connection, name: str) -> Sign | None:
    """The last sign under this name, or None."""
    row = _OF.one(connection, name)
    return None if row is None else Sign._make(row)


def every(connection: Connection) -> dict[str, Sign]:
    """All signs by name."""
    return {name: Sign(at, detail) for name, at, detail in _ALL.all(connection)}


def drop(connection: Connection, name: str) -> bool:
    """Take a sign away (a hold that has ended); False if there was none."""
    return bool(_DROP.run(connection, name).rowcount)
