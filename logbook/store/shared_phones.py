"""Phones that belong to a site and not to a person: whoever works there signs in on them by a PIN.

Promises that a phone's token is kept as its SHA-256 only, and that one that was taken away stays in the list. Never
makes a token, never decides who may sign in on it.
"""

from __future__ import annotations

from typing import NamedTuple

from sqlalchemy import Connection, bindparam, insert, select, update

from logbook.store.statements import Ready
from logbook.store.tables import shared_phone


class SharedPhone(NamedTuple):
    """A row of the table. Instants are microseconds UTC."""

    id: str
    hash: str
    site: str
    label: str
    made_by: str | None
    made_at: int
    seen_at: int
    revoked_at: int | None = None


_p = shared_phone.c
_COLUMNS = tuple(column.name for column in _p)
_ADD = Ready(insert(shared_phone).values({name: bindparam(name) for name in _COLUMNS}), *_COLUMNS)
_OF_HASH = Ready(select(*_p).where(_p.hash == bindparam("hash")), "hash")
_BY_ID = Ready(select(*_p).where(_p.id == bindparam("id")), "id")
_OF_SITE = Ready(select(*_p).where(_p.site == bindparam("site")).order_by(_p.made_at, _p.id), "site")
_SEEN = Ready(update(shared_phone).where(_p.id == bindparam("of")).values(seen_at=bindparam("at")), "at", "of")
_REVOKE = Ready(
    update(shared_phone).where(_p.id == bindparam("of"), _p.revoked_at.is_(None)).values(revoked_at=bindparam("at")),
    "at", "of",
)  # fmt: skip


def add(connection: Connection, row: SharedPhone) -> None:
    """Enter a new phone."""
    _ADD.run(connection, *row)


def of_hash(connection: Connection, hash: str) -> SharedPhone | None:
    """The phone whose token has this SHA-256, taken away or not, or None."""
    row = _OF_HASH.one(connection, hash)
    return None if row is None else SharedPhone._make(row)


def by_id(connection: Connection, id: str) -> SharedPhone | None:
    """The phone with this id, taken away or not, or None."""
    row = _BY_ID.one(connection, id)
    return None if row is None else SharedPhone._make(row)


def of_site(connection: Connection, site: str) -> list[SharedPhone]:
    """Every phone of a site, those taken away included, the oldest first."""
    return [SharedPhone._make(row) for row in _OF_SITE.all(connection, site)]


def seen(connection: Connection, id: str, at: int) -> None:
    """Somebody signed in on it."""
    _SEEN.run(connection, at, id)


def revoke(connection: Connection, id: str, at: int) -> bool:
    """Take a phone away; False if there is none, or if that was done already."""
    return bool(_REVOKE.run(connection, at, id).rowcount)
