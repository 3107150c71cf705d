"""How often a key may ask: a count a minute, kept in the database, so that a restart forgives nothing.

Promises that a key's requests of one minute never pass the limit by more than each process has set aside. A process
takes shares of the count and spends them from memory: the database is written once a share, not once a request.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field

from sqlalchemy import Connection

from logbook.domain.instants import MINUTE, SECOND, Instant
from logbook.store import api_keys
from logbook.web.api.problems import Problem
from logbook.web.house import House

A_MINUTE = 1_200
"""Requests of one key a minute. Each may carry a hundred entries."""
SHARE = 120
"""A tenth of that: each share is a commit of its own, for which those who come with it wait."""


@dataclass(slots=True)
class _Held:
    minute: int
    left: int
    over: bool


@dataclass
class Limits:
    """Counts for one process. `most`: how many requests a key has a minute; `share`: how many are set aside at once."""

    most: int = A_MINUTE
    share: int = SHARE
    _held: dict[str, _Held] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def admit(self, house: House, hash: str) -> None:
        """Count one request of the key with this hash; one that nobody knows is not counted. Raises Problem (429)."""
        now = house.now()
        minute = now // MINUTE
        spent = self._spend(hash, minute)
        if spent is not None:
            if spent:
                return
            raise too_often(now)

        def job(connection: Connection) -> int | None:
            key = api_keys.of_hash(connection, hash)
            if key is None or not key.lives:
                return None
            api_keys.used(connection, key.id, now)
            return api_keys.count(connection, f"key:{key.id}", minute, self.share)

        with house.store.read() as connection:  # a stranger makes nothing be written
            if api_keys.of_hash(connection, hash) is None:
                return
        counted = house.store.write(job)
        if counted is None:
            return
        over = counted - self.share >= self.most
        with self._lock:
            held = self._held.get(hash)
            more = 0 if over else min(self.share, self.most - (counted - self.share)) - 1
            if held is not None and held.minute == minute:
                held.left += more
                held.over |= over
            else:
                if len(self._held) > 10_000:
                    self._held.clear()
                self._held[hash] = _Held(minute, more, over)
        if over:
            raise too_often(now)

    def _spend(self, hash: str, minute: int) -> bool | None:
        """Whether the request may go on; None: ask the database."""
        with self._lock:
            held = self._held.get(hash)
            if held is None or held.minute != minute:
                return None
            if held.left > 0:
                held.left -= 1
                return True
            return False if held.over else None


def too_often(now: Instant) -> Problem:
    """The refusal, with the seconds until the next minute."""
    wait = max(1, -(-(MINUTE - now % MINUTE) // SECOND))
    said = f"This key has asked too often this minute. Nothing was done; come again in {wait} s."
    return Problem("too_often", said, headers={"Retry-After": str(wait)})
