"""A few facts about the database as a whole: the fleet's origin, its log's UUID. Names and texts, nothing else."""

from __future__ import annotations

from sqlalchemy import Connection, bindparam, select

from logbook.store.statements import Ready, upsert
from logbook.store.tables import fleet_meta

_PUT = upsert(fleet_meta, "name", "value", keys=["name"])
_OF = Ready(select(fleet_meta.c.value).where(fleet_meta.c.name == bindparam("name")), "name")
_ALL = Ready(select(fleet_meta.c.name, fleet_meta.c.value))


def put(connection: Connection, name: str, value: str) -> None:
    """Note a fact; an older one under this name gives way."""
    _PUT.run(connection, name, value)


def of(connection: Connection, name: str) -> str | None:
    """The fact under this name, or None."""
    row = _OF.one(connection, name)
    return None if row is None else str(row[0])


def every(connection: Connection) -> dict[str, str]:
    """All facts by name."""
    return dict(_ALL.all(connection))
