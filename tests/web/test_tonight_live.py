"""News as it comes: one listener for all pages, one look for a piece of news, and streams that end."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import AsyncIterator, Callable
from typing import Any

from logbook.store.bell import Bell
from logbook.web.tonight import live
from logbook.web.tonight.live import Newsroom, stream
from logbook.web.tonight.reading import Boards, version
from tests.web.conftest import Pages
from tests.web.test_tonight_board import uncharged


async def _next(events: AsyncIterator[dict[str, Any]], name: str) -> dict[str, Any]:
    async with asyncio.timeout(5):
        async for event in events:
            if event["event"] == name:
                return event
    raise AssertionError(f"the stream ended without {name}")


def test_a_hundred_open_pages_look_at_the_fleet_once(pages: Callable[..., Pages]) -> None:
    one, stage = uncharged(pages)
    boards = Boards(one.house)

    def look() -> tuple[str, int]:
        return version(boards.look(None, "en")), 0

    async def night() -> tuple[int, set[str], set[str]]:
        news = Newsroom(one.house.store.bell)
        streams = [stream(news, look) for _each in range(100)]
        first = await asyncio.gather(*(_next(each, "news") for each in streams))
        waiting = [asyncio.create_task(_next(each, "news")) for each in streams]
        await asyncio.sleep(0.05)
        assert news.open == 100
        before = boards.looked
        await asyncio.to_thread(stage.tell, "B7H", "charge")
        second = await asyncio.gather(*waiting)
        for each in streams:
            await each.aclose()  # type: ignore[attr-defined]
        assert news.open == 0
        return boards.looked - before, {each["data"] for each in first}, {each["data"] for each in second}

    looks, first, second = asyncio.run(night())
    assert looks == 1
    assert len(first) == len(second) == 1
    assert first != second


def test_what_comes_together_is_heard_together() -> None:
    bell, heard = Bell(), []

    def look() -> tuple[str, int]:
        heard.append(threading.get_ident())
        return str(len(heard)), 0

    async def burst() -> None:
        news = Newsroom(bell)
        events = stream(news, look)
        await _next(events, "news")
        reading = asyncio.create_task(_drain(events))
        await asyncio.sleep(0.05)
        for _each in range(50):
            bell.ring()
            await asyncio.sleep(0.002)
        await asyncio.sleep(live.GATHER + 0.2)
        reading.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await reading

    asyncio.run(burst())
    assert 2 <= len(heard) <= 4


async def _drain(events: AsyncIterator[dict[str, Any]]) -> None:
    async for _event in events:
        pass


def test_whoever_is_signed_out_hears_that_and_nothing_more() -> None:
    answers: list[tuple[str, int] | None] = [("one", 1), None]

    async def heard() -> list[str]:
        bell = Bell()
        found = []
        async for event in stream(Newsroom(bell), lambda: answers.pop(0)):
            found.append(event["event"])
            bell.ring()
        return found

    assert asyncio.run(_bounded(heard)) == ["news", "pulse", "over"]


async def _bounded(what: Callable[[], Any]) -> Any:
    async with asyncio.timeout(5):
        return await what()


def test_a_server_that_stops_ends_every_stream() -> None:
    async def stopped() -> int:
        news = Newsroom(Bell())
        events = stream(news, lambda: ("one", 1))
        await _next(events, "pulse")
        rest = asyncio.create_task(_drain(events))
        await asyncio.sleep(0.01)
        news.close()
        async with asyncio.timeout(1):
            await rest
        return news.open

    assert asyncio.run(stopped()) == 0
