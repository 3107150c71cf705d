"""Notices: what a person is to be told, before it is gathered into a message; and how much was told them.

Promises that a notice goes into one message only, and a letter to one person on one day only. Never writes the
message (that is the outbox's), and never decides what is told.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from sqlalchemy import Connection, bindparam, delete, select, update
from sqlalchemy.dialects import postgresql, sqlite

from logbook.store.statements import NONE, ONE, Ready, upsert
from logbook.store.tables import letter, notice, told_day


class Notice(NamedTuple):
    """A row of the table. `about` is JSON; `ready_at` the earliest instant at which it may be told."""

    id: str
    person: str
    machine: str
    duty: str
    opened_by: str
    number: int
    tell: str
    about: bytes
    at: int
    ready_at: int
    message: str | None = None


_COLUMNS = tuple(column.name for column in notice.c)
_ADD = upsert(notice, *_COLUMNS, keys=["id"], keep=True)
_HAS = Ready(select(notice.c.id).where(notice.c.id == bindparam("notice")), "notice")
_all = select(*notice.c)
_waiting = notice.c.message.is_(None)
_in_order = (notice.c.ready_at, notice.c.at, notice.c.id)
_ready = (
    _all.where(_waiting, notice.c.ready_at <= bindparam("now"))
    .order_by(*_in_order)
    .limit(bindparam("most"))
    .offset(NONE)
)
_READY = Ready(_ready, "now", "most")
_READY_LOCKED = Ready(_ready.with_for_update(skip_locked=True), "now", "most")
_OF_PERSON = Ready(_all.where(_waiting, notice.c.person == bindparam("person")).order_by(*_in_order), "person")
_NEXT = Ready(
    select(notice.c.ready_at).where(_waiting).order_by(notice.c.ready_at)
    .limit(ONE).offset(NONE)
)  # fmt: skip
_GATHER = Ready(
    update(notice).where(notice.c.id == bindparam("notice"), _waiting).values(message=bindparam("message")),
    "message", "notice",
)  # fmt: skip
_IN_MESSAGE = Ready(_all.where(notice.c.message == bindparam("message")).order_by(*_in_order), "message")
_PUT_OFF = Ready(
    update(notice).where(notice.c.id == bindparam("notice"), _waiting).values(ready_at=bindparam("ready")),
    "ready", "notice",
)  # fmt: skip
_DROP = Ready(delete(notice).where(notice.c.id == bindparam("notice"), _waiting), "notice")
_alert = tuple(notice.c[name] == bindparam(name) for name in ("machine", "duty", "opened_by", "number"))
_OF_ALERT = Ready(_all.where(*_alert, _waiting).order_by(*_in_order), "machine", "duty", "opened_by", "number")
_CHANGE = Ready(
    update(notice)
    .where(notice.c.id == bindparam("notice"), _waiting)
    .values(about=bindparam("says"), ready_at=bindparam("ready")),
    "says", "ready", "notice",
)  # fmt: skip

_ERASE_OLD = Ready(delete(notice).where(notice.c.message.is_not(None), notice.c.at < bindparam("before")), "before")

_COUNT = Ready(
    select(told_day.c.count).where(told_day.c.person == bindparam("person"), told_day.c.day == bindparam("day")),
    "person", "day",
)  # fmt: skip


def _counting() -> Ready:
    made = []
    for build in (sqlite.insert, postgresql.insert):
        statement = build(told_day).values({name: bindparam(name) for name in ("person", "day", "count")})
        total = told_day.c.count + statement.excluded["count"]
        made.append(statement.on_conflict_do_update(index_elements=["person", "day"], set_={"count": total}))
    return Ready(made[0], "person", "day", "count", other=made[1])


_MORE = _counting()
_LETTER = upsert(letter, "person", "day", keys=["person", "day"], keep=True)


def add(connection: Connection, notices: Iterable[Notice]) -> None:
    """Put notices down. An id is used once: one that is there already, told or not, is left as it is."""
    rows = list(notices)
    if rows:
        _ADD.many(connection, rows)


def has(connection: Connection, id: str) -> bool:
    """Whether a notice was ever put down under this id."""
    return _HAS.one(connection, id) is not None


def ready(connection: Connection, now: int, most: int = 1_000, lock: bool = False) -> list[Notice]:
    """The notices that may be told now and are in no message yet, the earliest first.

    `lock`: on PostgreSQL, those that another process is gathering are passed over.
    """
    return [Notice._make(row) for row in (_READY_LOCKED if lock else _READY).all(connection, now, most)]


def waiting_for(connection: Connection, person: str) -> list[Notice]:
    """Everything not yet told to a person, ready or not."""
    return [Notice._make(row) for row in _OF_PERSON.all(connection, person)]


def next_at(connection: Connection) -> int | None:
    """When the next notice is ready, or None."""
    row = _NEXT.one(connection)
    return None if row is None else int(row[0])


def gathered(connection: Connection, ids: Iterable[str], message: str) -> int:
    """Put notices into a message; answers with how many were still waiting."""
    return sum(int(_GATHER.run(connection, message, id).rowcount) for id in ids)


def in_message(connection: Connection, message: str) -> list[Notice]:
    """The notices that a message tells."""
    return [Notice._make(row) for row in _IN_MESSAGE.all(connection, message)]


def of_alert(connection: Connection, machine: str, duty: str, opened_by: str, number: int) -> list[Notice]:
    """What nobody has been told yet of an alert."""
    return [Notice._make(row) for row in _OF_ALERT.all(connection, machine, duty, opened_by, number)]


def change(connection: Connection, id: str, about: bytes, ready_at: int) -> bool:
    """Let a notice say something else, and wait until another instant; False if it waits no more."""
    return bool(_CHANGE.run(connection, about, ready_at, id).rowcount)


def put_off(connection: Connection, id: str, ready_at: int) -> bool:
    """Let a notice wait until another instant; False if it waits no more."""
    return bool(_PUT_OFF.run(connection, ready_at, id).rowcount)


def drop(connection: Connection, ids: Iterable[str]) -> int:
    """Take back notices that are in no message yet; answers with how many."""
    return sum(int(_DROP.run(connection, id).rowcount) for id in ids)


def erase_before(connection: Connection, before: int) -> int:
    """Erase notices of before an instant that were told; answers with how many rows that were."""
    return int(_ERASE_OLD.run(connection, before).rowcount)


def told(connection: Connection, person: str, day: str) -> int:
    """How many messages went to a person on a local day (YYYY-MM-DD)."""
    row = _COUNT.one(connection, person, day)
    return 0 if row is None else int(row[0])


def tell(connection: Connection, person: str, day: str, more: int = 1) -> None:
    """Count messages to a person on a local day."""
    _MORE.run(connection, person, day, more)


def letter_once(connection: Connection, person: str, day: str) -> bool:
    """Claim a person's letter of a day: True for the first who asks, False for everyone after."""
    return bool(_LETTER.run(connection, person, day).rowcount)
