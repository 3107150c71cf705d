"""Passkeys, and the challenges that they answer (Web Authentication, level 2).

Promises that a challenge is taken once, by whoever comes first, and that a signature counter never goes back. Holds
public keys only, which open nothing. Never verifies a signature.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from sqlalchemy import Connection, bindparam, delete, insert, select, update

from logbook.store.statements import ONE, Ready
from logbook.store.tables import challenge, passkey


class Passkey(NamedTuple):
    """A row of the table. `id`: the credential's, base64url."""

    id: str
    person: str
    public_key: bytes
    sign_count: int
    label: str
    made_at: int
    used_at: int | None = None


class Challenge(NamedTuple):
    """A row of the table. `person`: who is to register a passkey by it; None: somebody is to sign in."""

    id: str
    challenge: bytes
    person: str | None
    expires_at: int


_p, _c = passkey.c, challenge.c
_COLUMNS = tuple(column.name for column in _p)
_ASKED = tuple(column.name for column in _c)
_ADD = Ready(insert(passkey).values({name: bindparam(name) for name in _COLUMNS}), *_COLUMNS)
_OF = Ready(select(*_p).where(_p.id == bindparam("id")), "id")
_OF_PERSON = Ready(select(*_p).where(_p.person == bindparam("person")).order_by(_p.made_at, _p.id), "person")
_USED = Ready(
    update(passkey)
    # An authenticator without a counter says 0 for ever; one with a counter must have counted on.
    .where(_p.id == bindparam("of"), (_p.sign_count < bindparam("more")) | (_p.sign_count + bindparam("also") < ONE))
    .values(sign_count=bindparam("count"), used_at=bindparam("at")),
    "count", "at", "of", "more", "also",
)  # fmt: skip
_DROP = Ready(delete(passkey).where(_p.id == bindparam("id"), _p.person == bindparam("person")), "id", "person")
_ASK = Ready(insert(challenge).values({name: bindparam(name) for name in _ASKED}), *_ASKED)
_TAKE = Ready(delete(challenge).where(_c.id == bindparam("id")).returning(*_c), "id")
_OLD = Ready(delete(challenge).where(_c.expires_at < bindparam("before")), "before")


def add(connection: Connection, row: Passkey) -> None:
    """Enter a new passkey. One whose id is there already breaks the table's key."""
    _ADD.run(connection, *row)


def of(connection: Connection, id: str) -> Passkey | None:
    """The passkey with this credential id, or None."""
    row = _OF.one(connection, id)
    return None if row is None else _passkey(row)


def of_person(connection: Connection, person: str) -> list[Passkey]:
    """A person's passkeys, the oldest first."""
    return [_passkey(row) for row in _OF_PERSON.all(connection, person)]


def used(connection: Connection, id: str, count: int, at: int) -> bool:
    """It signed for the so-manyth time; False if that counter was seen before: then somebody has a copy of it."""
    return bool(_USED.run(connection, count, at, id, count, count).rowcount)


def drop(connection: Connection, id: str, person: str) -> bool:
    """A person's passkey is gone; False if they have none of this id."""
    return bool(_DROP.run(connection, id, person).rowcount)


def ask(connection: Connection, row: Challenge) -> None:
    """Enter a new challenge."""
    _ASK.run(connection, *row)


def take(connection: Connection, id: str, now: int) -> Challenge | None:
    """A challenge, which is gone by that; None if there is none, or it is too old."""
    row = _TAKE.one(connection, id)
    if row is None or row[3] <= now:
        return None
    return Challenge(str(row[0]), bytes(row[1]), row[2], int(row[3]))


def forget_old(connection: Connection, before: int) -> None:
    """Leave nothing of challenges that nobody answered in time."""
    _OLD.run(connection, before)


def _passkey(row: Any) -> Passkey:
    return Passkey(row[0], row[1], bytes(row[2]), *row[3:])
