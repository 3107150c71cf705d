"""What became of the last messages to one person. Only read.

Promises the newest first, each with its carrier's last word where one was given. Never decides what that amounts to.
"""

from __future__ import annotations

from typing import NamedTuple

from sqlalchemy import Connection, bindparam, select

from logbook.store.statements import NONE, Ready
from logbook.store.tables import confirmation, message


class Reached(NamedTuple):
    """One message. `confirming` None: its carrier has promised no word; `arrived`: 1, 0, or None while none came."""

    route: str
    address: str
    kind: str
    state: str
    queued_at: int
    next_at: int
    attempts: int
    sent_at: int | None
    error: str | None
    confirming: str | None
    arrived: int | None
    said_at: int | None
    detail: str | None


_LATEST = Ready(
    select(
        message.c.route, message.c.address, message.c.kind, message.c.state, message.c.queued_at, message.c.next_at,
        message.c.attempts, message.c.sent_at, message.c.error,
        confirmation.c.message, confirmation.c.arrived, confirmation.c.at, confirmation.c.detail,
    )
    .select_from(message.outerjoin(confirmation, confirmation.c.message == message.c.id))
    .where(message.c.person == bindparam("whose"), message.c.route == bindparam("way"))
    .order_by(message.c.queued_at.desc(), message.c.id)
    .limit(bindparam("most")).offset(NONE),
    "whose", "way", "most",
)  # fmt: skip


def latest(connection: Connection, person: str, route: str, most: int) -> list[Reached]:
    """The last messages to a person by one way, the newest first, whatever became of them."""
    return [Reached._make(row) for row in _LATEST.all(connection, person, route, most)]
