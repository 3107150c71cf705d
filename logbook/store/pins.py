"""PINs, one a person, as a slow hash only. Never hashes, never compares: `logbook.web.who.pin` does."""

from __future__ import annotations

from sqlalchemy import Connection, bindparam, delete, select

from logbook.store.statements import Ready, upsert
from logbook.store.tables import pin

_p = pin.c
_PUT = upsert(pin, "person", "hash", "set_at", keys=["person"])
_OF = Ready(select(_p.hash).where(_p.person == bindparam("person")), "person")
_DROP = Ready(delete(pin).where(_p.person == bindparam("person")), "person")


def put(connection: Connection, person: str, hash: str, at: int) -> None:
    """This is a person's PIN from now on."""
    _PUT.run(connection, person, hash, at)


def of(connection: Connection, person: str) -> str | None:
    """The hash of a person's PIN, or None if they have none."""
    row = _OF.one(connection, person)
    return None if row is None else str(row[0])


def drop(connection: Connection, person: str) -> bool:
    """A person has no PIN any more; False if there was none."""
    return bool(_DROP.run(connection, person).rowcount)
