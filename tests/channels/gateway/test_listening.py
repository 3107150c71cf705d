"""Listening inside a loop that others run in too: it stops in order, and raises where it cannot begin."""

from __future__ import annotations

import asyncio
import signal
import socket
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from logbook.channels.gateway.incoming import make_app
from logbook.channels.gateway.listening import ListenError, listen
from tests.channels.gateway.playing import NOW, post_of, settings, signed


def test_what_has_begun_is_finished_and_answered_before_it_ends():
    begun, go_on, kept = threading.Event(), threading.Event(), []

    def take(message: Any) -> None:
        begun.set()
        assert go_on.wait(20)
        kept.append(message.id)

    async def main() -> int:
        stop, up = asyncio.Event(), asyncio.get_running_loop().create_future()
        app = make_app(settings(), take, now=lambda: NOW)
        serving = asyncio.create_task(listen(app, "127.0.0.1", 0, stop, ready=up.set_result))
        port, body = await up, post_of()
        async with httpx.AsyncClient(trust_env=False, timeout=20) as client:
            posting = asyncio.create_task(
                client.post(f"http://127.0.0.1:{port}/texts", content=body, headers=signed(body))
            )
            await asyncio.to_thread(begun.wait, 20)
            stop.set()
            await asyncio.sleep(0.3)
            assert not serving.done()
            go_on.set()
            answered = await posting
            await serving
            with pytest.raises(httpx.ConnectError):
                await client.post(f"http://127.0.0.1:{port}/texts", content=body, headers=signed(body))
        return answered.status_code

    before = signal.getsignal(signal.SIGTERM), signal.getsignal(signal.SIGINT)
    assert asyncio.run(main()) == 200
    assert kept == ["gateway:m1"]
    assert before == (signal.getsignal(signal.SIGTERM), signal.getsignal(signal.SIGINT))
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("gateway")]


def test_a_port_that_is_taken_is_told():
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(ListenError, match=rf"^127.0.0.1 port {port} cannot be listened at .*\.$"):
            asyncio.run(listen(FastAPI(), "127.0.0.1", port, asyncio.Event()))


def test_a_stop_before_the_beginning():
    async def main() -> None:
        stop = asyncio.Event()
        stop.set()
        await asyncio.wait_for(listen(FastAPI(), "127.0.0.1", 0, stop), 10)

    asyncio.run(main())


def test_an_app_that_cannot_begin_ends_it():
    @asynccontextmanager
    async def life(_app: FastAPI) -> AsyncIterator[None]:
        raise RuntimeError("not today")
        yield

    async def main() -> None:
        with pytest.raises(ListenError, match="could not begin"):
            await asyncio.wait_for(listen(FastAPI(lifespan=life), "127.0.0.1", 0, asyncio.Event()), 10)

    asyncio.run(main())


def test_an_address_of_the_newer_internet():
    async def main() -> int:
        stop, up = asyncio.Event(), asyncio.get_running_loop().create_future()
        app = make_app(settings(), lambda message: None, now=lambda: NOW)
        serving = asyncio.create_task(listen(app, "::1", 0, stop, ready=up.set_result))
        body = post_of()
        async with httpx.AsyncClient(trust_env=False) as client:
            answered = await client.post(f"http://[::1]:{await up}/texts", content=body, headers=signed(body))
        stop.set()
        await serving
        return answered.status_code

    try:
        with socket.socket(socket.AF_INET6) as tried:
            tried.bind(("::1", 0))
    except OSError:
        pytest.skip("this machine has no IPv6")
    assert asyncio.run(main()) == 200
