"""Turns: in order a key, a few at a time, and what has begun is finished whoever goes away."""

from __future__ import annotations

import asyncio
import threading
import time

import pytest

from logbook.channels.gateway.turns import FullError, Turns


def test_who_goes_away_does_not_let_the_next_of_the_key_in_too_soon():
    order: list[str] = []
    go_on = threading.Event()

    def first() -> None:
        order.append("first begins")
        assert go_on.wait(10)
        order.append("first ends")

    async def main() -> None:
        turns = Turns(2, 10)
        one = asyncio.create_task(turns.run("ana", first))
        await asyncio.sleep(0.05)
        two = asyncio.create_task(turns.run("ana", lambda: order.append("second")))
        await turns.run("lee", lambda: order.append("another's"))
        one.cancel()
        await asyncio.sleep(0.05)
        assert order == ["first begins", "another's"]
        go_on.set()
        with pytest.raises(asyncio.CancelledError):
            await one
        await two
        await turns.close()
        assert turns._lanes == {}

    asyncio.run(main())
    assert order == ["first begins", "another's", "first ends", "second"]


def test_no_more_waits_than_may_and_a_failure_makes_room():
    async def main() -> None:
        turns = Turns(1, 2)
        waiting = [asyncio.create_task(turns.run(str(n), lambda: time.sleep(0.05))) for n in range(2)]
        await asyncio.sleep(0)
        with pytest.raises(FullError):
            await turns.run("3", lambda: None)
        await asyncio.gather(*waiting)
        for _ in range(5):
            with pytest.raises(ZeroDivisionError):
                await turns.run("x", lambda: 1 // 0)
        assert await turns.run("x", lambda: 7) == 7
        await turns.close()

    asyncio.run(main())
