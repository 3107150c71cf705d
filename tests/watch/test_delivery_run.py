"""Delivery for as long as the program runs: woken, stopped, and not ended by a bad moment."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path

import pytest

from logbook.domain.instants import HOUR, SECOND
from logbook.store import Store, outbox
from logbook.watch.delivery import Delivery
from logbook.watch.routes import Hold, Outgoing
from tests.watch.delivering import Ear, Way, message, opened, put, states


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with opened(tmp_path) as store:
        yield store


def now() -> int:
    return time.time_ns() // 1_000


def running(delivery: Delivery, act: Callable[[], Awaitable[None]], poll: float = 0.05) -> None:
    """Run delivery, do something meanwhile, then stop it and see that it ends."""

    async def run() -> None:
        stop = asyncio.Event()
        task = asyncio.create_task(delivery.run(stop, poll=poll))
        try:
            await act()
        finally:
            stop.set()
            await asyncio.wait_for(task, 5)

    asyncio.run(run())


async def until(true: Callable[[], bool], seconds: float = 5.0) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end
        await asyncio.sleep(0.01)


def test_what_is_queued_meanwhile_goes_out_by_looking_or_by_being_woken(store: Store) -> None:
    way = Way()
    delivery = Delivery(store, [way], Ear(), by="one", now=now)

    async def look() -> None:
        put(store, message(1, ready_at=now()))
        await until(lambda: states(store) == {"m001": "sent"})

    running(delivery, look)

    async def wake() -> None:
        await asyncio.sleep(0.1)  # it sleeps now, and would for a minute
        await asyncio.to_thread(put, store, message(2, ready_at=now()))
        await asyncio.to_thread(delivery.wake)
        await until(lambda: states(store)["m002"] == "sent", 2.0)

    running(delivery, wake, poll=60)
    delivery.wake()  # when nothing runs, nothing happens


def test_what_is_due_later_goes_out_then_and_not_before(store: Store) -> None:
    way = Way()
    at = now() + SECOND // 2
    put(store, message(1, ready_at=at))

    async def wait() -> None:
        await until(lambda: bool(way.tried))
        assert now() >= at
        assert now() < at + 2 * SECOND

    running(Delivery(store, [way], Ear(), by="one", now=now), wait, poll=60)


def test_to_stop_finishes_the_message_in_hand_and_lets_the_rest_go(store: Store) -> None:
    put(store, *(message(n, ready_at=now()) for n in range(5)))
    stop = asyncio.Event()

    async def slow(_message: Outgoing) -> None:
        stop.set()
        await asyncio.sleep(0.1)

    way = Way(before=slow)

    async def run() -> None:
        await asyncio.wait_for(Delivery(store, [way], Ear(), by="one", now=now).run(stop), 5)

    asyncio.run(run())
    assert list(states(store).values()) == ["sent"] + ["waiting"] * 4
    with store.read() as connection:
        assert all(each.lease_by is None for each in outbox.latest(connection))


def test_a_bad_moment_does_not_end_it(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    way = Way()
    delivery = Delivery(store, [way], Ear(), by="one", now=now)
    put(store, message(1, ready_at=now()))
    real, left = store.write, [3]

    def failing(job: Callable[..., object]) -> object:
        if left[0]:
            left[0] -= 1
            raise OSError("the disk went away")
        return real(job)

    monkeypatch.setattr(store, "write", failing)

    async def wait() -> None:
        await until(lambda: states(store) == {"m001": "sent"})

    running(delivery, wait, poll=0.01)
    assert delivery.failures == 3


def test_a_held_route_does_not_make_it_spin(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    put(store, message(1, ready_at=now()))
    way = Way(answers=[Hold("535 wrong")])
    delivery = Delivery(store, [way], Ear(), by="one", now=now)
    passes = 0
    real = delivery.once

    async def counted(at: int) -> object:
        nonlocal passes
        passes += 1
        return await real(at)

    monkeypatch.setattr(delivery, "once", counted)

    async def wait() -> None:
        await until(lambda: bool(way.tried))
        await asyncio.sleep(0.3)

    running(delivery, wait, poll=0.01)
    assert passes <= 2
    assert len(way.tried) == 1


def test_whoever_is_alone_ends_the_leases_of_a_former_life(store: Store) -> None:
    put(store, message(1, ready_at=now()), message(2, ready_at=now()))
    for by in ("me", "other"):
        store.write(lambda c, by=by: outbox.claim(c, now(), by, 1, ["mail"], until=now() + HOUR))  # type: ignore[misc]
    way = Way()

    async def wait() -> None:
        await until(lambda: "sent" in states(store).values())
        await asyncio.sleep(0.1)

    running(Delivery(store, [way], Ear(), by="me", now=now, alone=True), wait)
    assert states(store) == {"m001": "sent", "m002": "waiting"}
