"""A mailbox being watched in the background, and what came of it."""

from __future__ import annotations

import asyncio
import contextlib
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from logbook.channels.desk import Answer, Message
from logbook.channels.mail_in import MailInSettings
from logbook.channels.mail_in.mailbox import Mailbox, Reason
from logbook.domain.instants import Instant


def real_now() -> Instant:
    return time.time_ns() // 1_000


@dataclass
class Desk:
    """Takes everything, and writes down what it was given."""

    taken: list[Message] = field(default_factory=list)
    aside: list[tuple[Message, str]] = field(default_factory=list)
    trouble: Callable[[Message], None] = lambda message: None

    def take(self, message: Message) -> Answer:
        self.trouble(message)
        self.taken.append(message)
        return Answer("saved", None)

    def keep_aside(self, message: Message, reason: str) -> None:
        self.trouble(message)
        self.aside.append((message, reason))

    @property
    def texts(self) -> list[str]:
        return [message.text for message in self.taken]

    @property
    def reasons(self) -> list[str]:
        return [Reason(reason).name for _, reason in self.aside]


def until(true: Callable[[], object], what: str = "", seconds: float = 30.0) -> None:
    """Wait for something; fails if it does not come."""
    deadline = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < deadline, f"waited {seconds} s in vain{': ' + what if what else ''}"
        time.sleep(0.01)


@contextlib.contextmanager
def watched(settings: MailInSettings, desk: object, now: Callable[[], Instant] = real_now) -> Iterator[Mailbox]:
    """Watch a mailbox until the block ends; then it must come to rest by itself."""
    mailbox = Mailbox(settings, take=desk.take, keep_aside=desk.keep_aside, now=now)  # type: ignore[attr-defined]
    loops: list[tuple[asyncio.AbstractEventLoop, asyncio.Event]] = []
    failed: list[BaseException] = []

    async def run() -> None:
        stop = asyncio.Event()
        loops.append((asyncio.get_running_loop(), stop))
        await mailbox.run(stop)

    def work() -> None:
        try:
            asyncio.run(run())
        except BaseException as why:  # noqa: BLE001 - told when the block ends
            failed.append(why)

    thread = threading.Thread(target=work)
    thread.start()
    try:
        until(lambda: loops or failed)
        yield mailbox
    finally:
        if loops:
            loop, stop = loops[0]
            with contextlib.suppress(RuntimeError):
                loop.call_soon_threadsafe(stop.set)
        thread.join(40)
        assert not thread.is_alive()
        assert not failed, failed
