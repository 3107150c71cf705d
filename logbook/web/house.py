"""What the pages stand on: the door, the store, the clock in force, chance, and how they are reached."""

from __future__ import annotations

import base64
import hashlib
import hmac
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Protocol

from fastapi import Request
from sqlalchemy import Connection

from logbook.domain.instants import Instant
from logbook.domain.people import Person
from logbook.domain.register import Register
from logbook.intake import Intake
from logbook.store import Store, meta

_SECRET = "web_secret"  # noqa: S105 - the name under which it is kept


class Desk(Protocol):
    """What the pages ask of the desk, where texts are taken."""

    def take_as(self, id: str, person: Person) -> Any:
        """A text that was kept aside is this person's: deal with it. None if no such text waits."""

    def put_aside(self, id: str) -> bool:
        """A text that was kept aside is nobody's. False if no such text waits."""


@dataclass
class House:
    """One logbook, as its pages see it. Everything here may be used from any thread.

    `address`: what links that are sent begin with, such as https://log.ferries.example; "" if none is set.
    `line`: the number that cleaners text to. `routes`: the ways by which this installation sends.
    """

    intake: Intake
    desk: Desk
    draw: Callable[[int], bytes]
    address: str = ""
    line: str | None = None
    routes: frozenset[str] = frozenset()
    behind_proxy: bool = False

    @property
    def store(self) -> Store:
        """The database."""
        return self.intake.store

    def now(self) -> Instant:
        """The clock in force."""
        return self.intake.clock()

    def register(self, connection: Connection) -> Register:
        """The register as this connection sees it."""
        return self.intake.registry.current(connection)

    @property
    def secure(self) -> bool:
        """Whether the pages are reached by https: then cookies are sent by nothing else."""
        return self.address.startswith("https:")

    def token(self, bytes_: int = 32) -> str:
        """A secret that nobody guesses, fit for a cookie or an address (RFC 4648 §5, without padding)."""
        return base64.urlsafe_b64encode(self.draw(bytes_)).rstrip(b"=").decode()

    def sign(self, purpose: str, what: str) -> str:
        """A short proof that we wrote `what`, for one purpose: HMAC-SHA-256, its first 128 bits."""
        made = hmac.digest(self._secret, f"{purpose}\0{what}".encode(), "sha256")[:16]
        return base64.urlsafe_b64encode(made).rstrip(b"=").decode()

    def signed(self, purpose: str, what: str, proof: str) -> bool:
        """Whether a proof is ours."""
        # As octets: of text, only ASCII can be compared, and what is brought may be anything.
        return hmac.compare_digest(self.sign(purpose, what).encode(), proof.encode(errors="replace"))

    @cached_property
    def _secret(self) -> bytes:
        """Kept in the database, so that what was signed holds after a restart and in every process."""

        def job(connection: Connection) -> str:
            found = meta.of(connection, _SECRET)
            if found is None:
                found = self.draw(32).hex()
                meta.put(connection, _SECRET, found)
            return found

        return bytes.fromhex(self.store.write(job))


def digest(token: str) -> str:
    """What is kept of a token: its SHA-256, in hex."""
    return hashlib.sha256(token.encode(errors="replace")).hexdigest()


def house_of(request: Request) -> House:
    """The house of the app that was asked."""
    found: House = request.app.state.house
    return found
