"""Who is signed in, on which phone or computer; and the links by which one gets in.

Promises that a token is kept as its SHA-256 only, that a link is spent once, and that what was revoked or ended is
not found among the living any more. Never makes a token, never decides who may have one.
"""

from __future__ import annotations

from typing import NamedTuple

from sqlalchemy import Connection, bindparam, delete, insert, select, update

from logbook.store.statements import Ready
from logbook.store.tables import link, session


class Session(NamedTuple):
    """A row of the table. `kind`: own (a person's phone), shared (a phone of several), passkey, link.

    `ended_at`: signed out, or gave way to another person; what was written down before may still be sent.
    `revoked_at`: taken away; nothing is accepted any more.
    """

    id: str
    hash: str
    person: str
    kind: str
    phone: str | None
    label: str
    made_at: int
    seen_at: int
    expires_at: int
    ended_at: int | None = None
    revoked_at: int | None = None

    def lives(self, now: int) -> bool:
        """Whether whoever holds it is signed in."""
        return self.ended_at is None and self.revoked_at is None and now < self.expires_at


class Link(NamedTuple):
    """A row of the table. `purpose`: enter (a person's own phone or computer), shared (makes a site's shared phone)."""

    hash: str
    purpose: str
    person: str | None
    site: str | None
    made_by: str | None
    made_at: int
    expires_at: int
    spent_at: int | None = None


_s, _l = session.c, link.c
_COLUMNS = tuple(column.name for column in _s)
_LINKS = tuple(column.name for column in _l)
_BEGIN = Ready(insert(session).values({name: bindparam(name) for name in _COLUMNS}), *_COLUMNS)
_OF_HASH = Ready(select(*_s).where(_s.hash == bindparam("hash")), "hash")
_BY_ID = Ready(select(*_s).where(_s.id == bindparam("id")), "id")
_OF_PERSON = Ready(select(*_s).where(_s.person == bindparam("person")).order_by(_s.made_at, _s.id), "person")
_SEEN = Ready(
    update(session).where(_s.id == bindparam("of")).values(seen_at=bindparam("at"), expires_at=bindparam("until")),
    "at", "until", "of",
)  # fmt: skip
_END = Ready(update(session).where(_s.id == bindparam("of"), _s.ended_at.is_(None)).values(ended_at=bindparam("at")),
             "at", "of")  # fmt: skip
_REVOKE = Ready(
    update(session).where(_s.id == bindparam("of"), _s.revoked_at.is_(None)).values(revoked_at=bindparam("at")),
    "at", "of",
)  # fmt: skip
_REVOKE_ALL = Ready(
    update(session).where(_s.person == bindparam("of"), _s.revoked_at.is_(None)).values(revoked_at=bindparam("at")),
    "at", "of",
)  # fmt: skip
_FORGET = Ready(delete(session).where(_s.person == bindparam("person")), "person")
_FORGET_OLD = Ready(delete(session).where(_s.expires_at < bindparam("before")), "before")
_OFFER = Ready(insert(link).values({name: bindparam(name) for name in _LINKS}), *_LINKS)
_LINK = Ready(select(*_l).where(_l.hash == bindparam("hash")), "hash")
_SPEND = Ready(
    update(link)
    .where(_l.hash == bindparam("of"), _l.spent_at.is_(None), _l.expires_at > bindparam("now"))
    .values(spent_at=bindparam("at")),
    "at", "of", "now",
)  # fmt: skip
_FORGET_LINKS = Ready(delete(link).where(_l.person == bindparam("person")), "person")
_OLD_LINKS = Ready(delete(link).where(_l.expires_at < bindparam("before")), "before")


def begin(connection: Connection, row: Session) -> None:
    """Enter a new session."""
    _BEGIN.run(connection, *row)


def of_hash(connection: Connection, hash: str) -> Session | None:
    """The session whose token has this SHA-256, living or not, or None."""
    row = _OF_HASH.one(connection, hash)
    return None if row is None else Session._make(row)


def by_id(connection: Connection, id: str) -> Session | None:
    """The session with this id, living or not, or None."""
    row = _BY_ID.one(connection, id)
    return None if row is None else Session._make(row)


def of_person(connection: Connection, person: str) -> list[Session]:
    """Every session of a person, the oldest first."""
    return [Session._make(row) for row in _OF_PERSON.all(connection, person)]


def seen(connection: Connection, id: str, at: int, until: int) -> None:
    """Somebody was here; their session lasts until then."""
    _SEEN.run(connection, at, until, id)


def end(connection: Connection, id: str, at: int) -> bool:
    """Sign out; False if that was done already."""
    return bool(_END.run(connection, at, id).rowcount)


def revoke(connection: Connection, id: str, at: int) -> bool:
    """Take a session away; False if that was done already."""
    return bool(_REVOKE.run(connection, at, id).rowcount)


def revoke_all(connection: Connection, person: str, at: int) -> int:
    """Take every session of a person away; answers with how many that were."""
    return int(_REVOKE_ALL.run(connection, at, person).rowcount)


def forget(connection: Connection, person: str) -> None:
    """Leave nothing of a person's sessions and links."""
    _FORGET.run(connection, person)
    _FORGET_LINKS.run(connection, person)


def forget_old(connection: Connection, before: int) -> None:
    """Leave nothing of what expired before an instant."""
    _FORGET_OLD.run(connection, before)
    _OLD_LINKS.run(connection, before)


def offer(connection: Connection, row: Link) -> None:
    """Enter a new link."""
    _OFFER.run(connection, *row)


def link_of(connection: Connection, hash: str) -> Link | None:
    """The link whose token has this SHA-256, spent or not, or None."""
    row = _LINK.one(connection, hash)
    return None if row is None else Link._make(row)


def spend(connection: Connection, hash: str, now: int) -> bool:
    """Spend a link; False if it was spent already, or is too old."""
    return bool(_SPEND.run(connection, now, hash, now).rowcount)
