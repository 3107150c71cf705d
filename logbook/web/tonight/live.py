"""News as it comes, by server-sent events (WHATWG HTML, 9.2): a word that changes, and how long ago the clock looked.

Promises that one listener to the bell serves every open page; that a page hears within a moment, and of many things
that come together once; that nobody who is signed out hears more; and that streams end when the server wants to. What
the news is, a page asks for itself.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable, Iterator

from anyio.to_thread import run_sync

from logbook.store.bell import Bell

GATHER = 0.25
"""Seconds: what is written so soon after the last news waits for the rest."""
EVERY = 15.0
"""Seconds after which a page is told even if nothing was written here: another process may have."""


OPEN_MOST = 200
"""Pages that may listen at once: the server takes some 500 connections, and most are for those who report."""


class Newsroom:
    """Passes the bell on to every open page of one event loop."""

    def __init__(self, bell: Bell) -> None:
        self._bell = bell
        self._ears: set[asyncio.Event] = set()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._listening: asyncio.Task[None] | None = None
        self.closing = False

    @property
    def open(self) -> int:
        """How many pages listen."""
        return len(self._ears)

    @contextlib.contextmanager
    def heard(self) -> Iterator[asyncio.Event]:
        """An event that is set at news, until the block ends; whoever waits for it clears it."""
        loop = asyncio.get_running_loop()
        if loop is not self._loop:  # served anew, in another loop
            self._loop, self._ears, self._listening, self.closing = loop, set(), None, False
        ear = asyncio.Event()
        self._ears.add(ear)
        if self._listening is None or self._listening.done():
            self._listening = loop.create_task(self._listen())
        try:
            yield ear
        finally:
            self._ears.discard(ear)
            if not self._ears and self._listening is not None:
                self._listening.cancel()
                self._listening = None

    async def _listen(self) -> None:
        with self._bell.heard() as rung:
            while True:
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(rung.wait(), EVERY)
                rung.clear()
                for ear in tuple(self._ears):
                    ear.set()
                await asyncio.sleep(GATHER)

    def close(self) -> None:
        """End every stream: the server stops. Called in its loop."""
        self.closing = True
        for ear in tuple(self._ears):
            ear.set()


Look = Callable[[], tuple[str, int] | None]
"""What a page would show: its version, and when the clock last looked (ms); None for somebody who is signed out."""


async def stream(news: Newsroom, look: Look) -> AsyncIterator[dict[str, str | int]]:
    """The events of one page: `news` with its version, `pulse` with the clock's last look, and `over` at the end."""
    said = None
    with news.heard() as ear:
        while not news.closing:
            ear.clear()
            found = await run_sync(look)
            if found is None:
                yield {"event": "over", "data": ""}
                return
            version, looked = found
            if version != said:
                yield {"event": "news", "id": version, "data": version, "retry": 2000}
                said = version
            yield {"event": "pulse", "data": str(looked)}
            await ear.wait()
