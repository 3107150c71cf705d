"""Whoever asks for a page: the person behind the cookie, and what they may see and do.

Promises that a session that was revoked, ended or has expired is nobody's, at once; that a person who left or was
set aside is nobody; and that a site that is not theirs is, to them, not there.
"""

from __future__ import annotations

import base64
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request
from sqlalchemy import Connection
from starlette.responses import Response

from logbook.domain.instants import DAY, HOUR, Instant
from logbook.domain.people import LEADERS, Person
from logbook.intake import By
from logbook.store import sessions, shared_phones
from logbook.store.sessions import Session
from logbook.web.house import House, digest, house_of

LASTS: dict[str, Instant] = {"own": 180 * DAY, "shared": 14 * HOUR, "passkey": 14 * DAY, "link": 14 * DAY}
"""How long a session lasts after it was last used, by its kind; a shared one, after it was begun."""


class NotSignedIn(Exception):
    """The page is for somebody who is known: it asks them in first."""


class NotYours(Exception):
    """There is no such thing for this person: another site's, or another role's."""


@dataclass(frozen=True, slots=True)
class Visitor:
    """Somebody signed in."""

    session: Session
    person: Person
    csrf: str

    @property
    def role(self) -> str:
        """Cleaner, keeper, supervisor or owner."""
        return self.person.role

    @property
    def leads(self) -> bool:
        """Whether this is a supervisor or an owner."""
        return self.person.leads

    def at(self, site: str) -> bool:
        """Whether this person has to do with a site."""
        return self.person.at(site)

    def by(self, channel: str = "form") -> By:
        """Who reports, as the door asks for it."""
        return By(self.person.uuid, self.person.role, channel)


def cookie_name(house: House) -> str:
    """With https, a name that only this very host can have set (RFC 6265bis, cookie name prefixes)."""
    return "__Host-logbook" if house.secure else "logbook"


def begin(
    house: House, connection: Connection, response: Response, person: str, kind: str, label: str,
    phone: str | None = None,
) -> Session:  # fmt: skip
    """Begin a session in the transaction of this connection, and give the browser its token."""
    token, now = house.token(), house.now()
    row = Session(house.intake.new_id(), digest(token), person, kind, phone, label[:80], now, now, now + LASTS[kind])
    sessions.begin(connection, row)
    response.set_cookie(
        cookie_name(house), token, max_age=LASTS[kind] // 1_000_000, path="/", secure=house.secure, httponly=True,
        samesite="lax",
    )  # fmt: skip
    return row


def leave(house: House, response: Response) -> None:
    """Take the token back from the browser."""
    response.delete_cookie(cookie_name(house), path="/", secure=house.secure, httponly=True, samesite="lax")


def visitor(request: Request) -> Visitor | None:
    """Who asks, or None. Looked up once a request."""
    if not hasattr(request.state, "visitor"):
        request.state.visitor = _found(house_of(request), request)
    found: Visitor | None = request.state.visitor
    return found


def _found(house: House, request: Request) -> Visitor | None:
    token = request.cookies.get(cookie_name(house))
    if not token:
        return None
    now = house.now()
    with house.store.read() as connection:
        session = sessions.of_hash(connection, digest(token))
        if session is None or not session.lives(now):
            return None
        if session.phone is not None:
            phone = shared_phones.by_id(connection, session.phone)
            if phone is None or phone.revoked_at is not None:
                return None
        person = house.register(connection).people.get(session.person)
    if person is None or not person.reports:
        # Gone for good: whoever comes back some day signs in anew, and so does whoever found their phone.
        house.store.write(lambda connection: sessions.revoke(connection, session.id, now))
        return None
    if now - session.seen_at > min(HOUR, LASTS[session.kind] // 8):
        # On a phone of several, a night is over when it is over, however busy it was.
        until = session.expires_at if session.kind == "shared" else now + LASTS[session.kind]
        house.store.write(lambda connection: sessions.seen(connection, session.id, now, until))
    return Visitor(session, person, csrf_of(house, session))


def need(*roles: str) -> Callable[[Request], Visitor]:
    """A dependency: somebody signed in, with one of these roles (none named: any).

    Raises NotSignedIn, or NotYours.
    """

    def asked(request: Request) -> Visitor:
        found = visitor(request)
        if found is None:
            raise NotSignedIn
        if roles and found.role not in roles:
            raise NotYours
        return found

    return asked


Somebody = Annotated[Visitor, Depends(need())]
Leader = Annotated[Visitor, Depends(need(*LEADERS))]
Owner = Annotated[Visitor, Depends(need("owner"))]
"""What a page is given that is for anybody signed in, for supervisors and owners, for owners alone."""


# -- forms ------------------------------------------------------------------------------------------------------


def csrf_of(house: House, session: Session) -> str:
    """What a form of this session carries. Another mask each time, so that it cannot be guessed from its compressed size."""
    proof = house.sign("form", session.id).encode()
    mask = secrets.token_bytes(len(proof))
    return base64.urlsafe_b64encode(mask + bytes(a ^ b for a, b in zip(mask, proof, strict=True))).decode()


def csrf_holds(house: House, session: Session, said: str) -> bool:
    """Whether a form was made for this session."""
    try:
        raw = base64.urlsafe_b64decode(said.encode())
    except ValueError:
        return False
    half = len(raw) // 2
    proof = bytes(a ^ b for a, b in zip(raw[:half], raw[half:], strict=False))
    return secrets.compare_digest(proof, house.sign("form", session.id).encode())
