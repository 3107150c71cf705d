"""The program as it runs on a server, with time in the test's hand: the real service, led from instant to instant.

The scheduler asks the test for the time and sleeps until it is woken, so that a night takes as long as its steps.
Time moves to what comes first: what the clock has set itself to, or what somebody says. What the clock does not set
itself to is missed, for its pulse is a day.
"""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime, tzinfo
from typing import Any, Self

import pytest
from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_EXECUTED, EVENT_JOB_MAX_INSTANCES

from logbook.channels.mail_out import MailRoute, MailSettings
from logbook.domain.instants import DAY, Instant, text, to_datetime
from logbook.store import notices, outbox
from logbook.watch.service import Service
from logbook.watch.step import Stepped
from tests.whole.stage import Stage

PATIENCE = 30.0
"""Seconds of real time after which something that ought to happen has not."""


class FastService:
    """A running service on a stage. `port`: where it sends its mail."""

    def __init__(self, stage: Stage, port: int) -> None:
        self.stage = stage
        self.steps: list[Stepped] = []
        self.messages: dict[str, outbox.Message] = {}
        self.notices: dict[str, list[notices.Notice]] = {}
        """Everything that was ever in the outbox, and what it told: what is old is not kept there."""
        settings = MailSettings(host="127.0.0.1", port=port, security="none", from_address="logbook@kittiwake.example")
        self.delivery = stage.program.delivery([MailRoute(settings)], by="fast", alone=True)
        self.service = Service(
            stage.program.store, stage.program.intake, self._act, self.delivery, lambda: stage.now, pulse=DAY
        )
        self.clock = self.service._clock
        self.scheduler = self.clock._scheduler
        self.scheduler.add_listener(self._struck, EVENT_JOB_EXECUTED | EVENT_JOB_ERROR | EVENT_JOB_MAX_INSTANCES)
        self.lost = 0
        self._rest = threading.Condition()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._thread = threading.Thread(target=self._run)
        self._ready = threading.Event()

    def _run(self) -> None:
        async def run() -> None:
            self._loop = asyncio.get_running_loop()
            await self.service.run(signals=False, ready=self._ready.set)

        asyncio.run(run())

    def __enter__(self) -> Self:
        self._thread.start()
        assert self._ready.wait(PATIENCE)
        self.rest()
        return self

    def __exit__(self, *_: object) -> None:
        if self._loop is not None:
            self._loop.call_soon_threadsafe(self.service.stop)
        self._thread.join(PATIENCE)

    def _act(self, now: Instant) -> Stepped:
        done = self.stage.program.step(now)
        self.steps.append(done)
        return done

    def _struck(self, event: Any) -> None:
        if event.code == EVENT_JOB_MAX_INSTANCES:
            self.lost += 1
        with self._rest:
            self._rest.notify_all()

    # -- time ---------------------------------------------------------------------------------------------------

    def _armed(self) -> Instant | None:
        """What the clock has set itself to, if it has done all that there is to do now."""
        at = self.clock._armed
        busy = self.clock._running or self.scheduler._lookup_executor("default")._instances.get("step")
        return None if busy or at is None or at <= self.stage.now else at

    def rest(self) -> Instant:
        """Wait until the clock has acted and its mail is out; answers with what it has set itself to."""
        until = time.monotonic() + PATIENCE
        with self._rest:
            while (at := self._armed()) is None:
                assert time.monotonic() < until, (
                    f"at {text(self.stage.now)} the clock has not struck; it is set to {self.clock._armed}, "
                    f"{self.lost} strikes were refused"
                )
                self._rest.wait(0.05)
        if self.steps and self.steps[-1].messages:
            while self._waiting():
                assert time.monotonic() < until, f"mail of {text(self.stage.now)} has not gone out"
                time.sleep(0.001)
            with self.stage.program.store.read() as connection:
                for message in outbox.latest(connection):
                    self.messages[message.id] = message
                    if message.id not in self.notices:
                        self.notices[message.id] = notices.in_message(connection, message.id)
        return at

    def _waiting(self) -> int:
        with self.stage.program.store.read() as connection:
            return outbox.counts(connection).get(("mail", "waiting"), 0)

    def until(self, end: Instant) -> None:
        """Move time on as often as the clock has set itself to something, up to and at `end`."""
        while (at := self.rest()) <= end:
            self.stage.now = at
            self.scheduler.wakeup()
        self.stage.now = end

    def say(self, at: Instant, acts: Sequence[Callable[[], None]]) -> None:
        """What is said at one instant is one step: the clock hears of it when all of it was said."""
        self.until(at - 1)
        self.stage.now = at
        intake = self.stage.program.intake
        heard: list[Instant] = []
        woken, intake.woken = intake.woken, heard.append
        try:
            for act in acts:
                act()
        finally:
            intake.woken = woken
        for due in heard:
            woken(due)
        self.scheduler.wakeup()  # the clock may have set itself to this very instant
        self.rest()


@contextmanager
def fast(stage: Stage, port: int, monkeypatch: pytest.MonkeyPatch) -> Iterator[FastService]:
    """A service whose scheduler takes the stage's time for the time."""

    class Given(datetime):
        @classmethod
        def now(cls, tz: tzinfo | None = None) -> datetime:  # type: ignore[override]
            return to_datetime(stage.now).astimezone(tz)

    with monkeypatch.context() as patch:
        patch.setattr("apscheduler.schedulers.base.datetime", Given)
        with FastService(stage, port) as service:
            yield service
