"""Turns: much at once from outside, in order a sender, a few at a time inside.

Promises that what has one key (a sender, a message) is dealt with one after the other, as it came, and that no more
waits than can be dealt with soon: whoever would wait longer is told at once, and comes again.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

T = TypeVar("T")


class FullError(Exception):
    """Too much waits already. Nothing was begun."""


class Turns:
    """Runs jobs that wait (for a disk, a database) in `at_once` threads. Used from one event loop."""

    def __init__(self, at_once: int, most_waiting: int) -> None:
        self._pool = ThreadPoolExecutor(at_once, thread_name_prefix="gateway")
        self._most = most_waiting
        self._inside = 0
        self._lanes: dict[str, tuple[asyncio.Lock, int]] = {}

    async def run(self, key: str, job: Callable[[], T]) -> T:
        """Run a job when all that came before under this key are done. Raises FullError, and what the job raises."""
        if self._inside >= self._most:
            raise FullError(f"{self._inside} wait already")
        self._inside += 1
        lane, users = self._lanes.get(key, (asyncio.Lock(), 0))
        self._lanes[key] = (lane, users + 1)
        try:
            async with lane:
                # Shielded: a job that has begun is finished, and the next of its key waits for that, even if whoever
                # asked has gone.
                begun = asyncio.get_running_loop().run_in_executor(self._pool, job)
                try:
                    return await asyncio.shield(begun)
                except asyncio.CancelledError:
                    await asyncio.wait([begun])
                    raise
        finally:
            self._inside -= 1
            users = self._lanes[key][1] - 1
            if users:
                self._lanes[key] = (lane, users)
            else:
                del self._lanes[key]

    async def close(self) -> None:
        """Finish what has begun."""
        await asyncio.to_thread(self._pool.shutdown)
