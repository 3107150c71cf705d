"""What delivery asks of whoever knows the people, and what it reports: trouble, the next way, the owner.

Promises that nothing here does anything: it is what `logbook.watch.delivery` and its caller say to each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal, Protocol

from sqlalchemy import Connection

from logbook.domain.instants import Instant
from logbook.store.outbox import Message

ABOUT_TROUBLE = "trouble"
"""Kind of the messages that tell the owner of trouble. What befalls such a message is not told in its turn."""


ANSWER = "answer"
"""Kind of the answers to texts. One that cannot be delivered is nobody's business but its sender's, who sees none."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """What the owner is to hear. `failed`: a message reached nobody; the rest are about a whole route: `held`,
    `unreachable`, or `failing`, which is there and takes nothing over."""

    what: Literal["failed", "held", "unreachable", "failing"]
    route: str
    reason: str
    at: Instant
    message: Message | None = None


class Caller(Protocol):
    """Who knows the people. Both are called inside the transaction that marks the message, and may run twice."""

    def next_way(self, connection: Connection, message: Message) -> Message | None:
        """The same for the same person by another way, or None. Of the same id each time it is asked for."""
        ...

    def confirm_within(self, connection: Connection, message: Message, now: Instant) -> Instant:
        """How long a message's arrival, or a route that is away, is waited for before another way is tried."""
        ...

    def tell_owner(self, connection: Connection, trouble: Trouble) -> Sequence[Message]:
        """The messages (of kind `ABOUT_TROUBLE`) that tell the owner. Those by the route in trouble are left out."""
        ...


@dataclass(slots=True)
class Report:
    """What one pass did. `expired` came too late, `let_go` was claimed and not tried, `doubled` another had too;
    `other_way` and `unconfirmed` went by another way, refused or not heard of again."""

    at: Instant
    claimed: int = 0
    sent: int = 0
    again: int = 0
    failed: int = 0
    other_way: int = 0
    expired: int = 0
    let_go: int = 0
    doubled: int = 0
    unconfirmed: int = 0
    held: dict[str, str] = field(default_factory=dict)
    released: list[str] = field(default_factory=list)
