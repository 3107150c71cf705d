"""The outbox: messages that wait to be sent, one address each, and what became of them.

Promises that a message is marked as sent only by whoever says that it was, that a message under a lease is nobody
else's until the lease ends, and that every change touches exactly one row or is refused. Its Message-ID is set when
it is queued and never changes, however often it is sent. A held route is one row of the table `clock`; its messages
go on waiting. Never sends, never decides when to try again, never reads a clock.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import astuple, dataclass, replace

from sqlalchemy import Connection, and_, bindparam, delete, func, literal_column, null, or_, select, update

from logbook.store import clock as signs
from logbook.store.errors import StoreError
from logbook.store.statements import NONE, Ready, upsert
from logbook.store.tables import message as table

ERROR_LENGTH = 500
"""What a mail server says is kept up to so many characters."""

_HELD, _TRIED = "hold:", "trial:"
_ATOM = r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+"
# RFC 5322, section 3.6.4, without the quoted and obsolete forms.
_MESSAGE_ID = re.compile(rf"<{_ATOM}(?:\.{_ATOM})*@{_ATOM}(?:\.{_ATOM})*>", re.ASCII)
_HOST = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9.-]*[A-Za-z0-9])?", re.ASCII)


class OutOfTurnError(StoreError):
    """A message was no longer in the hands of whoever wanted to change it. Nothing was changed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """A row of the table, in its order. Instants are microseconds UTC. `not_after`: that instant included.

    `next_at` left at 0 is `ready_at`. `follows`: the message whose address refused, and which this one replaces.
    """

    id: str
    message_id: str
    person: str | None = None
    route: str
    address: str
    kind: str
    subject: str
    body: str
    state: str = "waiting"
    queued_at: int
    ready_at: int
    next_at: int = 0
    not_after: int | None = None
    attempts: int = 0
    lease_until: int | None = None
    lease_by: str | None = None
    sent_at: int | None = None
    error: str | None = None
    follows: str | None = None


_COLUMNS = tuple(column.name for column in table.c)
_QUEUE = upsert(table, *_COLUMNS, keys=["id"], keep=True)
_all = select(*table.c)
_OF = Ready(_all.where(table.c.id == bindparam("id")), "id")
_waiting = table.c.state == literal_column("'waiting'")
_mine = and_(
    table.c.id == bindparam("of"), _waiting,
    table.c.lease_by == bindparam("by"), table.c.lease_until == bindparam("until"),
)  # fmt: skip
_NO_LEASE = {"lease_until": null(), "lease_by": null()}
_MORE = {"attempts": table.c.attempts + literal_column("1")}
_free = or_(table.c.lease_until.is_(None), table.c.lease_until <= bindparam("now"))

_TAKE = Ready(
    update(table)
    .where(table.c.id == bindparam("of"), _waiting, _free)
    .values(lease_until=bindparam("until"), lease_by=bindparam("by")),
    "until", "by", "of", "now",
)  # fmt: skip
_SENT = Ready(
    update(table)
    .where(table.c.id == bindparam("of"), _waiting)
    .values(state=literal_column("'sent'"), sent_at=bindparam("at"), error=null(), **_MORE, **_NO_LEASE),
    "at", "of",
)  # fmt: skip
_AGAIN = Ready(
    update(table).where(_mine).values(next_at=bindparam("at"), error=bindparam("why"), **_MORE, **_NO_LEASE),
    "at", "why", "of", "by", "until",
)  # fmt: skip
_LET_GO = Ready(update(table).where(_mine).values(next_at=bindparam("at"), **_NO_LEASE), "at", "of", "by", "until")
_FAILED = Ready(
    update(table)
    .where(_mine)
    .values(state=literal_column("'failed'"), error=bindparam("why"), **_MORE, **_NO_LEASE),
    "why", "of", "by", "until",
)  # fmt: skip
_EXPIRE = Ready(
    update(table)
    .where(_waiting, table.c.not_after < bindparam("now"), _free)
    .values(state=literal_column("'expired'"), error=bindparam("why"), **_NO_LEASE),
    "why", "now", "now",
)  # fmt: skip
_LATE = Ready(
    update(table).where(_mine).values(state=literal_column("'expired'"), error=bindparam("why"), **_NO_LEASE),
    "why", "of", "by", "until",
)  # fmt: skip
_FREE = Ready(update(table).where(_waiting, table.c.lease_by == bindparam("by")).values(**_NO_LEASE), "by")
_HURRY = Ready(
    update(table)
    .where(_waiting, table.c.route == bindparam("route"), table.c.next_at > bindparam("now"),
           table.c.ready_at <= bindparam("now"))
    .values(next_at=bindparam("at")),
    "at", "route", "now", "now",
)  # fmt: skip
_ERASE_OLD = Ready(
    delete(table).where(table.c.state != literal_column("'waiting'"), table.c.queued_at < bindparam("before")), "before"
)
_STUCK = Ready(
    _all.where(_waiting, _free, table.c.route == bindparam("route"), table.c.queued_at <= bindparam("before"),
               table.c.attempts >= bindparam("tried"))
    .order_by(table.c.queued_at, table.c.id),
    "now", "route", "before", "tried",
)  # fmt: skip
_ELSEWHERE = Ready(
    update(table)
    .where(table.c.id == bindparam("of"), _waiting, _free)
    .values(state=literal_column("'failed'"), error=bindparam("why"), **_NO_LEASE),
    "why", "of", "now",
)  # fmt: skip
_COUNT = Ready(select(table.c.route, table.c.state, func.count()).group_by(table.c.route, table.c.state))
_OLDEST = Ready(select(func.min(table.c.queued_at)).where(_waiting))
_LATEST = Ready(_all.order_by(table.c.queued_at.desc(), table.c.id).limit(bindparam("most")).offset(NONE), "most")


def message_id(id: str, origin: str) -> str:
    """The Message-ID of a message: `<uuid@host>`, the host being that of the fleet's origin.

    The same for the same arguments, always. What no host may hold (RFC 5322, section 3.6.4) is left out.
    """
    host = origin.removeprefix("https://").split("/")[0].strip()
    return f"<{id}@{host if _HOST.fullmatch(host) and '..' not in host else 'logbook.invalid'}>"


def queue(connection: Connection, message: Message) -> bool:
    """Put a message in the queue. False if its id is there already: then nothing is changed."""
    row = list(_row(message))
    row[_COLUMNS.index("next_at")] = max(message.next_at, message.ready_at)
    if not _MESSAGE_ID.fullmatch(message.message_id):
        row[_COLUMNS.index("message_id")] = message_id(message.id, "")
    return bool(_QUEUE.run(connection, *row).rowcount)


def find(connection: Connection, id: str) -> Message | None:
    """The message with this id, or None."""
    row = _OF.one(connection, id)
    return None if row is None else _made(row)


def claim(
    connection: Connection, now: int, by: str, limit: int, routes: Collection[str], *, until: int
) -> list[Message]:
    """Take up to `limit` messages of these routes under a lease until `until`, the longest due first.

    Nobody else gets them before that, and whoever holds them may change them; a lease that has ended is as none.
    Passed over: what is late (see `expire`), and what another process is claiming (PostgreSQL: SKIP LOCKED).
    """
    if not routes:
        return []
    # Core and not Ready: how many routes there are changes the statement.
    wanted = (
        _all.where(
            table.c.state == "waiting", table.c.next_at <= now, table.c.route.in_(sorted(routes)),
            or_(table.c.lease_until.is_(None), table.c.lease_until <= now),
            or_(table.c.not_after.is_(None), table.c.not_after >= now),
        )
        .order_by(table.c.next_at, table.c.queued_at, table.c.id)
        .limit(limit)
        .with_for_update(skip_locked=True)
    )  # fmt: skip
    return [
        replace(_made(tuple(row)), lease_until=until, lease_by=by)
        for row in connection.execute(wanted).all()
        if _TAKE.run(connection, until, by, row.id, now).rowcount == 1
    ]


def next_at(connection: Connection, routes: Collection[str]) -> int | None:
    """When the next message of these routes may be claimed, or None. A lease counts until its end."""
    if not routes:
        return None
    statement = (
        select(table.c.next_at, table.c.lease_until)
        .where(table.c.state == "waiting", table.c.route.in_(sorted(routes)))
        .order_by(table.c.next_at)
    )
    soonest: int | None = None
    with connection.execute(statement) as rows:
        for at, lease in rows:
            if soonest is not None and at >= soonest:
                break
            moment = max(int(at), int(lease or 0))
            soonest = moment if soonest is None else min(soonest, moment)
    return soonest


def sent(connection: Connection, message: Message, now: int) -> None:
    """It was handed over. True whatever became of the lease: what was sent was sent.

    Raises OutOfTurnError if it waits no more: another had it too, and was first.
    """
    _one(_SENT.run(connection, now, message.id), message)


def again(connection: Connection, message: Message, at: int, error: str) -> None:
    """It could not be sent; it waits until `at`. Raises OutOfTurnError if the lease is not this one any more."""
    _one(_AGAIN.run(connection, at, error[:ERROR_LENGTH], *_lease(message)), message)


def let_go(connection: Connection, message: Message, at: int) -> None:
    """Nobody has tried it; it waits until `at`. Raises OutOfTurnError as `again` does."""
    _one(_LET_GO.run(connection, at, *_lease(message)), message)


def failed(connection: Connection, message: Message, error: str) -> None:
    """Its address refuses it for good. Raises OutOfTurnError as `again` does."""
    _one(_FAILED.run(connection, error[:ERROR_LENGTH], *_lease(message)), message)


def stuck(connection: Connection, route: str, before: int, now: int, attempts: int = 0) -> list[Message]:
    """What has waited for a route since `before` or longer, was tried so often, and is in nobody's hands."""
    return [_made(row) for row in _STUCK.all(connection, now, route, before, attempts)]


def elsewhere(connection: Connection, message: Message, now: int) -> bool:
    """Give a waiting message up because it goes by another way; False if somebody has it in hand, or it waits no more."""
    return bool(_ELSEWHERE.run(connection, "not sent: it went by another way", message.id, now).rowcount)


def erase_before(connection: Connection, before: int) -> int:
    """Erase messages queued before an instant that wait no more; answers with how many rows that were."""
    return int(_ERASE_OLD.run(connection, before).rowcount)


def expire(connection: Connection, now: int) -> int:
    """Give up what would come too late now, saying so; answers with how many messages. Leased ones are left."""
    why = "not sent: by the time it could be, it was too late to be of use"
    return int(_EXPIRE.run(connection, why, now, now).rowcount)


def late(connection: Connection, message: Message) -> None:
    """Give up one message that is in our hands, because it has become too late. Raises as `again` does."""
    _one(_LATE.run(connection, "not sent: it became too late while others were sent", *_lease(message)), message)


def free(connection: Connection, by: str) -> int:
    """End every lease of one holder: called by a holder that knows it has just been started, and is the only one."""
    return int(_FREE.run(connection, by).rowcount)


def hurry(connection: Connection, route: str, now: int) -> int:
    """Let what waits for its next attempt by this route be tried now: the route works again."""
    return int(_HURRY.run(connection, now, route, now, now).rowcount)


def hold(connection: Connection, route: str, reason: str, now: int) -> bool:
    """Send nothing more by a route, and keep its queue. False if it was held already; then only the reason changes."""
    sign = signs.of(connection, _HELD + route)
    signs.put(connection, _HELD + route, now if sign is None else sign.at, reason[:ERROR_LENGTH])
    if sign is None:
        signs.put(connection, _TRIED + route, now)
    return sign is None


def release(connection: Connection, route: str) -> bool:
    """Send by a route again; False if it was not held."""
    signs.drop(connection, _TRIED + route)
    return signs.drop(connection, _HELD + route)


def held(connection: Connection) -> dict[str, str]:
    """The routes that are held, each with the reason."""
    return {
        name.removeprefix(_HELD): sign.detail or ""
        for name, sign in signs.every(connection).items()
        if name.startswith(_HELD)
    }


def trial_due(connection: Connection, route: str, now: int, every: int) -> bool:
    """Whether a held route is to be tried now; answering yes counts as the trial, so that one worker of many tries."""
    sign = signs.of(connection, _TRIED + route)
    if sign is not None and now < sign.at + every:
        return False
    signs.put(connection, _TRIED + route, now)
    return True


def counts(connection: Connection) -> dict[tuple[str, str], int]:
    """How many messages there are, by (route, state)."""
    return {(route, state): int(number) for route, state, number in _COUNT.all(connection)}


def oldest(connection: Connection) -> int | None:
    """When the longest waiting message was queued, or None: for the health address."""
    row = _OLDEST.one(connection)
    return None if row is None or row[0] is None else int(row[0])


def latest(connection: Connection, most: int = 50) -> list[Message]:
    """The messages queued last, the newest first."""
    return [_made(row) for row in _LATEST.all(connection, most)]


def _row(message: Message) -> tuple[object, ...]:
    return astuple(message)


def _made(row: tuple[object, ...]) -> Message:
    return Message(**dict(zip(_COLUMNS, row, strict=True)))  # type: ignore[arg-type]


def _lease(message: Message) -> tuple[str, str | None, int | None]:
    return message.id, message.lease_by, message.lease_until


def _one(cursor: object, message: Message) -> None:
    if getattr(cursor, "rowcount", 0) != 1:
        raise OutOfTurnError(
            f"Message {message.id} was taken over by another worker meanwhile, or is done with. Nothing was changed; "
            "it may have been sent twice, with the same Message-ID."
        )
