"""Routes: how the watch reaches people without knowing any channel.

A channel that sends is a `Route`. It tries one message to one address, says what came of it, and remembers nothing
about it: when to try again, by which other way, and whom to tell is `logbook.watch.delivery`'s. A route never says
`Sent` before the other side has taken the message over, and never raises for what a network or a server does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from logbook.domain.instants import Instant


@dataclass(frozen=True, slots=True)
class Attachment:
    """A file that goes along."""

    name: str
    content: bytes


@dataclass(frozen=True, slots=True)
class Outgoing:
    """What is sent: the same each time it is tried, `message_id` and `queued_at` included."""

    message_id: str
    address: str
    subject: str
    body: str
    queued_at: Instant
    language: str | None = None
    attachments: tuple[Attachment, ...] = ()


@dataclass(frozen=True, slots=True)
class Sent:
    """The other side has taken it over.

    `reference`: its own name for the message, by which it will speak of it. `confirms`: it will say later whether the
    message arrived; until it has, nobody knows.
    """

    said: str = ""
    reference: str | None = None
    confirms: bool = False


@dataclass(frozen=True, slots=True)
class Again:
    """Not now. `after`: seconds, where the other side named a time. `route_down`: it was not this message's fault,
    the route could not be reached at all, so that there is no use in trying the next one at once."""

    reason: str
    after: float | None = None
    route_down: bool = False


@dataclass(frozen=True, slots=True)
class Refused:
    """This message will never be taken at this address."""

    reason: str


@dataclass(frozen=True, slots=True)
class Hold:
    """Nothing will be taken until somebody mends the settings or the other side: a bad login, a bad certificate."""

    reason: str


Outcome = Sent | Again | Refused | Hold


class Route(Protocol):
    """A way of reaching people. One message at a time; calls are not made at once."""

    @property
    def name(self) -> str:
        """As in the outbox: `mail`, `text`."""
        ...

    @property
    def longest(self) -> float:
        """The most seconds that one `send` may take, from the first byte to the last. A lease is longer than that."""
        ...

    async def send(self, message: Outgoing) -> Outcome:
        """Try one message. May keep a connection open for the next."""
        ...

    async def trial(self) -> Again | Hold | None:
        """Try all but a message: reach the other side, log in. None if that went well."""
        ...

    async def rest(self) -> None:
        """Nothing more for now: take leave, let go of connections. Raises nothing."""
        ...
