"""A bell that is rung when something has been written: whoever shows the log looks again.

Promises that ringing costs nothing where nobody listens, and is safe from any thread. It says only that there is
news, never what: whoever hears it reads the database. A bell of another process is not heard here.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Iterator


class Bell:
    """Rung from any thread; listened to in event loops. `rung`: how often it was, for whoever keeps what was read."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self.rung = 0
        self._ears: set[tuple[asyncio.AbstractEventLoop, asyncio.Event]] = set()

    def ring(self) -> None:
        """There is news."""
        with self._lock:
            self.rung += 1
            ears = tuple(self._ears)
        for loop, event in ears:
            with contextlib.suppress(RuntimeError):  # a loop that has ended hears nothing any more
                loop.call_soon_threadsafe(event.set)

    @contextlib.contextmanager
    def heard(self) -> Iterator[asyncio.Event]:
        """An event of the running loop, set at every ring until the block ends; whoever waits for it clears it."""
        ear = (asyncio.get_running_loop(), asyncio.Event())
        with self._lock:
            self._ears.add(ear)
        try:
            yield ear[1]
        finally:
            with self._lock:
                self._ears.discard(ear)
