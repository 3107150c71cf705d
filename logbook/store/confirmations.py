"""Confirmations: messages that a carrier took over and promised to speak of again, and what it said of them.

Promises that what is known of a message's arrival is kept, the last word outweighing; and that a message is given up
once. Never decides what follows from silence.
"""

from __future__ import annotations

from typing import NamedTuple

from sqlalchemy import Connection, bindparam, func, null, select, update

from logbook.store.statements import NONE, Ready, upsert
from logbook.store.tables import confirmation


class Confirmation(NamedTuple):
    """A row. `confirm_by`: until when the carrier's word is waited for; None: no more. `arrived`: 1, 0, or None."""

    message: str
    route: str
    reference: str
    confirm_by: int | None
    arrived: int | None
    at: int | None
    detail: str | None


_COLUMNS = tuple(column.name for column in confirmation.c)
_EXPECT = upsert(confirmation, *_COLUMNS, keys=["message"], keep=True)
_all = select(*confirmation.c)
_BY_REFERENCE = Ready(
    _all.where(confirmation.c.route == bindparam("by_route"), confirmation.c.reference == bindparam("name")),
    "by_route", "name",
)  # fmt: skip
_OF = Ready(_all.where(confirmation.c.message == bindparam("of")), "of")
_SAID = Ready(
    update(confirmation)
    .where(confirmation.c.message == bindparam("of"))
    .values(confirm_by=null(), arrived=bindparam("did"), at=bindparam("moment"), detail=bindparam("says")),
    "did", "moment", "says", "of",
)  # fmt: skip
_OVERDUE = Ready(
    _all.where(confirmation.c.confirm_by <= bindparam("now"))
    .order_by(confirmation.c.confirm_by, confirmation.c.message)
    .limit(bindparam("most")).offset(NONE),
    "now", "most",
)  # fmt: skip
_NEXT = Ready(select(func.min(confirmation.c.confirm_by)))
_NO_MORE = Ready(
    update(confirmation)
    .where(confirmation.c.message == bindparam("of"), confirmation.c.confirm_by.is_not(None))
    .values(confirm_by=null(), detail=bindparam("says")),
    "says", "of",
)  # fmt: skip


def expect(connection: Connection, message: str, route: str, reference: str, confirm_by: int) -> None:
    """The carrier has taken a message over, and calls it by its own name until it confirms it."""
    _EXPECT.run(connection, message, route, reference, confirm_by, None, None, None)


def said(connection: Connection, route: str, reference: str, arrived: bool, at: int, detail: str) -> str | None:
    """The carrier's word about a message. Answers with the message if that was news, else with None.

    Carriers say things twice, and daemons say them again after a restart. The last word counts; but what has arrived
    stays arrived.
    """
    row = _BY_REFERENCE.one(connection, route, reference)
    if row is None:
        return None
    found = Confirmation._make(row)
    if found.arrived in (1, int(arrived)):
        return None
    _SAID.run(connection, int(arrived), at, detail[:200], found.message)
    return found.message


def known(connection: Connection, route: str, reference: str) -> bool:
    """Whether a carrier's name for a message has been noted."""
    return _BY_REFERENCE.one(connection, route, reference) is not None


def of(connection: Connection, message: str) -> Confirmation | None:
    """What is known of a message's arrival, or None if its carrier never promised a word."""
    row = _OF.one(connection, message)
    return None if row is None else Confirmation._make(row)


def overdue(connection: Connection, now: int, most: int = 100) -> list[Confirmation]:
    """Those whose carrier should have spoken by now."""
    return [Confirmation._make(row) for row in _OVERDUE.all(connection, now, most)]


def next_at(connection: Connection) -> int | None:
    """Until when the next word is waited for, or None."""
    row = _NEXT.one(connection)
    return None if row is None or row[0] is None else int(row[0])


def give_up(connection: Connection, message: str, detail: str) -> bool:
    """Wait for no word any more; False if nobody did."""
    return bool(_NO_MORE.run(connection, detail, message).rowcount)
