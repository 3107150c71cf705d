"""The keys of other programs, and how often each has asked in the present minute.

Promises that a key's token is kept as its SHA-256 only, and that a key that was taken away stays in the list, so that
whoever looks years later sees that there was one. Never makes a token, never decides what a key may do.
"""

from __future__ import annotations

import json
from typing import Any

from sqlalchemy import Connection, bindparam, delete, insert, select, update
from sqlalchemy.dialects import postgresql, sqlite

from logbook.domain.keyring import Key
from logbook.store.statements import Ready
from logbook.store.tables import api_key, attempt

_k, _a = api_key.c, attempt.c
_COLUMNS = tuple(column.name for column in _k)
_ADD = Ready(insert(api_key).values({name: bindparam(name) for name in _COLUMNS}), *_COLUMNS)
_OF_HASH = Ready(select(*_k).where(_k.hash == bindparam("hash")), "hash")
_BY_ID = Ready(select(*_k).where(_k.id == bindparam("id")), "id")
_ALL = Ready(select(*_k).order_by(_k.made_at, _k.id))
_USED = Ready(update(api_key).where(_k.id == bindparam("of")).values(used_at=bindparam("at")), "at", "of")
_REVOKE = Ready(
    update(api_key).where(_k.id == bindparam("of"), _k.revoked_at.is_(None)).values(revoked_at=bindparam("at")),
    "at", "of",
)  # fmt: skip
_FORGET = Ready(delete(attempt).where(_a.name == bindparam("name"), _a.span < bindparam("before")), "name", "before")


def _count(dialect: Any) -> Any:
    made = dialect.insert(attempt).values(name=bindparam("name"), span=bindparam("span"), count=bindparam("more"))
    return made.on_conflict_do_update(
        index_elements=["name", "span"], set_={"count": _a.count + made.excluded["count"]}
    ).returning(_a.count)


_COUNT = Ready(_count(sqlite), "name", "span", "more", other=_count(postgresql))


def _key(row: Any) -> Key:
    id_, hash_, label, may, sites, person, made_by, made_at, used_at, revoked_at = row
    return Key(id_, hash_, label, frozenset(json.loads(may)), tuple(json.loads(sites)), person, made_by, made_at,
               used_at, revoked_at)  # fmt: skip


def add(connection: Connection, key: Key) -> None:
    """Enter a new key."""
    _ADD.run(
        connection, key.id, key.hash, key.label, json.dumps(sorted(key.may)), json.dumps(list(key.sites)), key.person,
        key.made_by, key.made_at, key.used_at, key.revoked_at,
    )  # fmt: skip


def of_hash(connection: Connection, hash: str) -> Key | None:
    """The key whose token has this SHA-256, living or not, or None."""
    row = _OF_HASH.one(connection, hash)
    return None if row is None else _key(row)


def by_id(connection: Connection, id: str) -> Key | None:
    """The key with this id, living or not, or None."""
    row = _BY_ID.one(connection, id)
    return None if row is None else _key(row)


def every(connection: Connection) -> list[Key]:
    """All keys, those that were taken away included, the oldest first."""
    return [_key(row) for row in _ALL.all(connection)]


def used(connection: Connection, id: str, at: int) -> None:
    """A program has come with this key."""
    _USED.run(connection, at, id)


def revoke(connection: Connection, id: str, at: int) -> bool:
    """Take a key away; False if there is none, or if that was done already."""
    return bool(_REVOKE.run(connection, at, id).rowcount)


def count(connection: Connection, name: str, span: int, more: int) -> int:
    """Count so many more in a span of time; answers with how many that makes, and forgets the spans before it."""
    _FORGET.run(connection, name, span)
    return int(_COUNT.one(connection, name, span, more)[0])
