"""A strike that is asked for while the last one is on its way back is not lost."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Iterator

import pytest

from logbook.bootstrap import real_now
from logbook.domain.instants import MINUTE, Instant
from logbook.watch.clock import AlarmClock
from logbook.watch.step import Stepped


class _Slow(logging.Handler):
    def emit(self, record: logging.LogRecord) -> None:
        time.sleep(0.02)


@pytest.fixture
def slow_scheduler() -> Iterator[None]:
    """The scheduler writes a log line between a strike's end and its being counted as ended; that takes a while."""
    logger, handler = logging.getLogger("apscheduler.executors"), _Slow()
    before = logger.level
    logger.addHandler(handler)
    logger.setLevel(logging.INFO)
    yield
    logger.removeHandler(handler)
    logger.setLevel(before)


def ticks(wanted: int, when: str) -> int:
    """Strikes within five seconds, each asked for during the one before, or just behind it."""
    struck: list[Instant] = []
    enough = threading.Event()

    def act(now: Instant) -> Stepped:
        struck.append(now)
        if len(struck) >= wanted:
            enough.set()
        elif when == "during the step":
            clock.wake(real_now())
        else:
            threading.Timer(0.005, lambda: clock.wake(real_now())).start()
        return Stepped(now)

    clock = AlarmClock(act, real_now, pulse=MINUTE)
    clock.start()
    try:
        enough.wait(5)
    finally:
        clock.stop()
    return len(struck)


@pytest.mark.parametrize("when", ["during the step", "just behind it"])
@pytest.mark.usefixtures("slow_scheduler")
def test_an_append_during_a_step_is_looked_at_at_once(when: str) -> None:
    assert ticks(10, when) >= 10


def test_a_step_that_takes_longer_than_the_pulse_is_one_step() -> None:
    inside, most, steps = 0, 0, 0
    counting = threading.Lock()
    enough = threading.Event()

    def act(now: Instant) -> Stepped:
        nonlocal inside, most, steps
        with counting:
            inside, steps = inside + 1, steps + 1
            most = max(most, inside)
        time.sleep(0.15)
        with counting:
            inside -= 1
            if steps == 3:
                enough.set()
        return Stepped(now)

    clock = AlarmClock(act, real_now, pulse=20_000)
    clock.start()
    try:
        assert enough.wait(10)
    finally:
        clock.stop()
    assert most == 1
