"""Who was told of a live alert, by which message, and what became of it; and who answered. Only read.

Promises one row a notice, with its message and the carrier's last word where there are any. Never decides what
that amounts to.
"""

from __future__ import annotations

from typing import NamedTuple

from sqlalchemy import Connection, and_, bindparam, literal_column, or_, select

from logbook.store.statements import NONE, Ready
from logbook.store.tables import alert, confirmation, entry, message, notice


class Telling(NamedTuple):
    """One person was put down to be told, `number` 0: reminded. `message` None: not yet; else its id, or a reason.

    `route` to `error` are the message's, None where there is none; `arrived` and `said_at` the carrier's.
    """

    machine: str
    duty: str
    opened_by: str
    number: int
    person: str
    tell: str
    at: int
    ready_at: int
    message: str | None
    route: str | None
    state: str | None
    queued_at: int | None
    sent_at: int | None
    error: str | None
    confirming: str | None
    arrived: int | None
    said_at: int | None


class Answered(NamedTuple):
    """An entry by which somebody took an alert in hand or asked somebody else to."""

    id: str
    kind: str
    recorded_at: int
    bytes: bytes


_of_message = (message.c.route, message.c.state, message.c.queued_at, message.c.sent_at, message.c.error)
_of_carrier = (confirmation.c.message, confirmation.c.arrived, confirmation.c.at)
_same = and_(
    notice.c.machine == alert.c.machine, notice.c.duty == alert.c.duty, notice.c.opened_by == alert.c.opened_by,
    or_(notice.c.number == alert.c.number, notice.c.number == NONE),
)  # fmt: skip
_LIVE = Ready(
    select(
        notice.c.machine, notice.c.duty, notice.c.opened_by, notice.c.number, notice.c.person, notice.c.tell,
        notice.c.at, notice.c.ready_at, notice.c.message, *_of_message, *_of_carrier,
    )
    .select_from(
        alert.join(notice, _same)
        .outerjoin(message, message.c.id == notice.c.message)
        .outerjoin(confirmation, confirmation.c.message == message.c.id)
    )
    .where(alert.c.cleared_at.is_(None))
    .order_by(notice.c.at, notice.c.id)
)  # fmt: skip
_INSTEAD = Ready(
    select(message.c.id, *_of_message, *_of_carrier)
    .select_from(message.outerjoin(confirmation, confirmation.c.message == message.c.id))
    .where(message.c.follows == bindparam("gave_way")),
    "gave_way",
)  # fmt: skip
_ANSWERS = Ready(
    select(entry.c.id, entry.c.kind, entry.c.recorded_at, entry.c.bytes)
    .where(
        entry.c.machine == bindparam("machine"),
        entry.c.seq > bindparam("after"),
        entry.c.kind.in_([literal_column("'acknowledged'"), literal_column("'passed_on'")]),
    )
    .order_by(entry.c.seq),
    "machine", "after",
)  # fmt: skip


def of_live(connection: Connection) -> list[Telling]:
    """Every notice about an alert that is live, reminders of the same duty too, the earliest first."""
    return [Telling._make(row) for row in _LIVE.all(connection)]


def instead(connection: Connection, telling: Telling) -> Telling | None:
    """The same by the message that went by another way when this one's address refused; None if none did."""
    if telling.message is None:
        return None
    row = _INSTEAD.one(connection, telling.message)
    return None if row is None else Telling(*telling[:8], *row)


def answers(connection: Connection, machine: str, after_seq: int) -> list[Answered]:
    """Who took an alert of a machine in hand, or asked somebody to, behind a seq, in the order of recording."""
    return [Answered._make(row) for row in _ANSWERS.all(connection, machine, after_seq)]
