"""The alarm clock: strikes when something is due, and never less often than its pulse. In real, short times."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from logbook.bootstrap import real_now
from logbook.domain.instants import MINUTE, Instant
from logbook.watch.clock import AlarmClock
from logbook.watch.step import Stepped

MS = 1_000


class Struck:
    """What a clock did: when it struck. `answer` gives the next due instant."""

    def __init__(self, answer: Callable[[int, Instant], Instant | None] = lambda _n, _now: None) -> None:
        self.at: list[Instant] = []
        self.answer = answer
        self.heard = threading.Condition()

    def __call__(self, now: Instant) -> Stepped:
        with self.heard:
            self.at.append(now)
            self.heard.notify_all()
        return Stepped(now, next_at=self.answer(len(self.at), now))

    def times(self, count: int, within: float = 5.0) -> bool:
        """Whether it has struck so often within so many seconds."""
        with self.heard:
            return self.heard.wait_for(lambda: len(self.at) >= count, within)


@contextmanager
def ticking(act: Callable[[Instant], Stepped], pulse: Instant) -> Iterator[AlarmClock]:
    clock = AlarmClock(act, real_now, pulse=pulse)
    clock.start()
    try:
        yield clock
    finally:
        clock.stop()


def test_it_strikes_at_once_and_then_every_pulse() -> None:
    struck = Struck()
    with ticking(struck, 50 * MS):
        assert struck.times(5)
    gaps = [later - earlier for earlier, later in zip(struck.at, struck.at[1:], strict=False)]
    assert min(gaps) >= 40 * MS


def test_it_wakes_at_the_instant_that_the_step_named() -> None:
    named: list[Instant] = []

    def answer(count: int, now: Instant) -> Instant | None:
        named.append(now + 80 * MS)
        return named[-1] if count == 1 else None

    struck = Struck(answer)
    with ticking(struck, MINUTE):
        assert struck.times(2)
        assert not struck.times(3, within=0.2)
    assert named[0] <= struck.at[1] < named[0] + 2_000 * MS


def test_an_instant_that_is_past_is_now() -> None:
    struck = Struck(lambda count, now: now - MINUTE if count < 4 else None)
    with ticking(struck, MINUTE):
        assert struck.times(4)


def test_wake_brings_the_next_strike_forward_and_never_puts_it_off() -> None:
    struck = Struck()
    with ticking(struck, MINUTE) as clock:
        assert struck.times(1)
        time.sleep(0.05)  # the step is over
        asked = real_now()
        clock.wake(asked)
        assert struck.times(2)
        time.sleep(0.05)
        clock.wake(real_now() + 100 * MS)
        clock.wake(real_now() + MINUTE)
        assert struck.times(3)
    assert asked <= struck.at[1] < asked + 2_000 * MS


def test_a_wake_during_a_step_is_followed_by_another_step() -> None:
    struck, inside, go_on = Struck(), threading.Event(), threading.Event()

    def slow(now: Instant) -> Stepped:
        done = struck(now)
        if len(struck.at) == 1:
            inside.set()
            assert go_on.wait(5)
        return done

    with ticking(slow, MINUTE) as clock:
        assert inside.wait(5)
        clock.wake(real_now())
        go_on.set()
        assert struck.times(2)
        assert not struck.times(3, within=0.2)


def test_a_wake_during_a_step_for_later_is_not_for_now() -> None:
    """Texts come while the clock is at work; what they make due in half an hour needs no step of its own."""
    struck, inside, go_on = Struck(), threading.Event(), threading.Event()

    def slow(now: Instant) -> Stepped:
        done = struck(now)
        if len(struck.at) == 1:
            inside.set()
            assert go_on.wait(5)
        return done

    with ticking(slow, MINUTE) as clock:
        assert inside.wait(5)
        clock.wake(real_now() + 30 * MINUTE)
        due = real_now() + 400 * MS
        clock.wake(due)
        clock.wake(real_now() + 20 * MINUTE)
        go_on.set()
        assert not struck.times(2, within=0.15)
        assert struck.times(2)
    assert struck.at[1] >= due


def test_a_failed_step_is_tried_again_at_the_next_pulse() -> None:
    struck = Struck()

    def failing(now: Instant) -> Stepped:
        done = struck(now)
        if len(struck.at) in (2, 3):
            raise RuntimeError("the disk is full")
        return done

    with ticking(failing, 40 * MS) as clock:
        assert struck.times(6)
        assert clock.failures == 2


def test_what_follows_a_step_may_fail_too() -> None:
    struck = Struck()
    clock = AlarmClock(struck, real_now, pulse=40 * MS, after=lambda _stepped: 1 / 0)  # type: ignore[arg-type]
    clock.start()
    try:
        assert struck.times(3)
    finally:
        clock.stop()
    assert clock.failures >= 2


def test_stopping_waits_for_the_step_that_is_being_taken() -> None:
    struck, inside = Struck(), threading.Event()
    over: list[Instant] = []

    def slow(now: Instant) -> Stepped:
        done = struck(now)
        inside.set()
        time.sleep(0.3)
        over.append(real_now())
        return done

    clock = AlarmClock(slow, real_now, pulse=MINUTE)
    clock.start()
    assert inside.wait(5)
    stopping = threading.Thread(target=clock.stop, daemon=True)
    stopping.start()
    stopping.join(5)
    assert not stopping.is_alive(), "the step and whoever stops the clock wait for each other"
    assert len(over) == 1
    clock.wake(real_now())  # too late, and harmless
    assert not struck.times(2, within=0.1)


def test_a_wake_before_the_start_is_harmless() -> None:
    struck = Struck()
    clock = AlarmClock(struck, real_now, pulse=MINUTE)
    clock.wake(real_now())
    clock.start()
    try:
        assert struck.times(1)
    finally:
        clock.stop()


def test_a_step_that_would_never_come_to_rest_leaves_the_machine_some_air() -> None:
    """Something due that no step settles (a row that another process holds) must not become a busy loop."""
    struck = Struck(lambda _count, now: now - MINUTE)
    with ticking(struck, 10 * MINUTE):
        assert struck.times(2)
        time.sleep(0.5)
    assert len(struck.at) < 60
