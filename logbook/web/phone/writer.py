"""Who wrote a tap down: a proof that the page carries, so that a tap sent hours later is still its writer's.

A phone may be handed on, or signed in by somebody else, between the tap and its sending. Promises that a tap counts
for whoever was signed in when it was made, unless that session was taken away; and never signs anybody in.
"""

from __future__ import annotations

from sqlalchemy import Connection

from logbook.domain.instants import DAY
from logbook.domain.people import Person
from logbook.store import sessions, shared_phones
from logbook.store.sessions import Session
from logbook.web.house import House

AFTERWARDS = 14 * DAY
"""How long after a session has ended what was written down in it is still taken."""
_PURPOSE = "writer"


def writer_of(house: House, session: Session) -> str:
    """What a page of this session gives its taps along."""
    return f"{session.id}.{house.sign(_PURPOSE, session.id)}"


def written_by(house: House, connection: Connection, token: str) -> Person | None:
    """Whose taps carry this, or None: not ours, taken away, ended too long ago, or a person who reports no longer."""
    id_, _dot, proof = token.partition(".")
    if not house.signed(_PURPOSE, id_, proof):
        return None
    session = sessions.by_id(connection, id_)
    if session is None or session.revoked_at is not None:
        return None
    if session.phone is not None:
        phone = shared_phones.by_id(connection, session.phone)
        if phone is None or phone.revoked_at is not None:
            return None  # a site's phone that was taken away: what it still holds is nobody's
    over = session.expires_at if session.ended_at is None else min(session.ended_at, session.expires_at)
    if house.now() > over + AFTERWARDS:
        return None
    person = house.register(connection).people.get(session.person)
    return person if person is not None and person.reports else None
