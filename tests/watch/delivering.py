"""What tests of delivery share: a database, a route that does as it is told, a caller that keeps what it hears."""

from __future__ import annotations

import asyncio
import functools
import tempfile
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import Connection

from logbook.domain.instants import parse
from logbook.store import Store, migrate, outbox
from logbook.store import clock as signs
from logbook.store.outbox import Message
from logbook.watch.delivery import Delivery
from logbook.watch.routes import Again, Hold, Outcome, Outgoing, Sent
from logbook.watch.trouble import ABOUT_TROUBLE, Report, Trouble

NOW = parse("2026-03-09T09:30:00Z")


@functools.cache
def _empty() -> bytes:
    """An empty database's file, made once: to migrate takes longer than most tests."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "empty.sqlite"
        migrate.upgrade(f"sqlite:///{file}")
        return file.read_bytes()


def opened(folder: Path) -> Store:
    """A new, empty database."""
    file = folder / "log.sqlite"
    file.write_bytes(_empty())
    return Store(f"sqlite:///{file}")


def message(number: int, **more: Any) -> Message:
    given: dict[str, Any] = {
        "id": f"m{number:03}", "message_id": f"<m{number:03}@log.ferries.example>", "person": "ann", "route": "mail",
        "address": f"p{number:03}@ferries.example", "kind": "alert", "subject": "B7H: rinse", "body": "Not rinsed.",
        "queued_at": NOW + number, "ready_at": NOW,
    }  # fmt: skip
    return Message(**{**given, **more})


def put(store: Store, *messages: Message) -> None:
    store.write(lambda connection: [outbox.queue(connection, each) for each in messages])


def found(store: Store, id: str) -> Message:
    with store.read() as connection:
        row = outbox.find(connection, id)
    assert row is not None
    return row


def states(store: Store) -> dict[str, str]:
    with store.read() as connection:
        return {each.id: each.state for each in sorted(outbox.latest(connection, 1_000), key=lambda each: each.id)}


def sign(store: Store, name: str) -> signs.Sign | None:
    with store.read() as connection:
        return signs.of(connection, name)


@dataclass
class Way:
    """A route that answers from a list, the last for ever; `before` is called with each message first.

    `by_id`: what it answers of some messages whatever the list says, by their Message-ID."""

    name: str = "mail"
    answers: list[Outcome | Exception] = field(default_factory=lambda: [Sent()])
    trials: list[Again | Hold | None] = field(default_factory=lambda: [None])
    longest: float = 10.0
    before: Callable[[Outgoing], Awaitable[None]] | None = None
    by_id: dict[str, Outcome] = field(default_factory=dict)
    tried: list[Outgoing] = field(default_factory=list)
    rests: int = 0
    tried_out: int = 0

    async def send(self, message: Outgoing) -> Outcome:
        self.tried.append(message)
        if self.before is not None:
            await self.before(message)
        if message.message_id in self.by_id:
            return self.by_id[message.message_id]
        answer = self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]
        if isinstance(answer, Exception):
            raise answer
        return answer

    async def trial(self) -> Again | Hold | None:
        self.tried_out += 1
        return self.trials.pop(0) if len(self.trials) > 1 else self.trials[0]

    async def rest(self) -> None:
        self.rests += 1


@dataclass
class Ear:
    """A caller that remembers trouble, knows other ways by address, and reaches the owner by a route of its own."""

    others: dict[str, Message] = field(default_factory=dict)
    owner_route: str = "text"
    within: int = 600_000_000
    heard: list[Trouble] = field(default_factory=list)

    def next_way(self, _connection: Connection, message: Message) -> Message | None:
        return self.others.get(message.address)

    def confirm_within(self, _connection: Connection, _message: Message, _now: int) -> int:
        return self.within

    def tell_owner(self, _connection: Connection, trouble: Trouble) -> Sequence[Message]:
        self.heard.append(trouble)
        return [
            message(
                900 + len(self.heard), route=self.owner_route, address="owner", kind=ABOUT_TROUBLE,
                queued_at=trouble.at, ready_at=trouble.at,
            )
        ]  # fmt: skip


def worker(store: Store, *routes: Any, ear: Ear | None = None, by: str = "one", **more: Any) -> Delivery:
    return Delivery(store, routes, ear or Ear(), by=by, now=lambda: NOW, **more)


def once(delivery: Delivery, now: int = NOW) -> Report:
    return asyncio.run(delivery.once(now))
