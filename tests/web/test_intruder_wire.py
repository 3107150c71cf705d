"""Harm done by how a request travels: by drops, twice over, with two lengths, by hundreds. Against the real server."""

from __future__ import annotations

import asyncio
import socket
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import pytest
from starlette.responses import Response

from logbook.bootstrap import house
from logbook.channels.gateway.listening import listen
from logbook.config import Config
from logbook.domain.instants import parse
from logbook.store import sessions
from logbook.web import guard
from logbook.web.app import make_app
from logbook.web.house import House
from logbook.web.tonight import routes as tonight
from logbook.web.who.visitor import begin
from tests.whole.stage import Stage


@dataclass
class Wire:
    """The pages at a port of loopback, talked to octet by octet."""

    stage: Stage
    house: House
    port: int

    def cookie(self, key: str) -> tuple[str, str]:
        """A session of somebody: its id, and the header that carries it."""
        given = Response()
        row = self.house.store.write(lambda c: begin(self.house, c, given, self.stage.person(key), "own", "a test's"))
        return row.id, f"Cookie: {given.headers['set-cookie'].partition(';')[0]}\r\n"

    def open(self) -> socket.socket:
        return socket.create_connection(("127.0.0.1", self.port), timeout=10)

    def ask(self, head: str, body: bytes = b"") -> bytes:
        """Everything that is answered until the other side closes, or says no more for a second."""
        with self.open() as line:
            line.sendall(head.replace("\n", "\r\n").encode("latin-1") + b"\r\n" + body)
            return heard(line)


def heard(line: socket.socket, seconds: float = 1.0, until: bytes = b"") -> bytes:
    line.settimeout(seconds)
    found = b""
    try:
        while more := line.recv(65_536):
            found += more
            if until and until in found:
                break
    except (TimeoutError, ConnectionResetError):
        pass
    return found


@pytest.fixture
def wire(make: Callable[..., Stage]) -> Iterator[Wire]:
    stage = make(at=parse("2026-03-03T12:00:00Z"))
    stands = house(stage.program, Config())
    app, up = make_app(stands), threading.Event()
    known: list[object] = []

    async def run() -> None:
        stop = asyncio.Event()
        known.extend([asyncio.get_running_loop(), stop])

        def ready(port: int) -> None:
            known.append(port)
            up.set()

        await listen(app, "127.0.0.1", 0, stop, ready=ready)

    thread = threading.Thread(target=lambda: asyncio.run(run()))
    thread.start()
    assert up.wait(20)
    loop, stop, port = known
    yield Wire(stage, stands, port)  # type: ignore[arg-type]
    loop.call_soon_threadsafe(stop.set)  # type: ignore[attr-defined]
    thread.join(30)


def test_the_server_says_not_what_it_is_and_believes_no_other_host(wire: Wire) -> None:
    said = wire.ask(
        "GET / HTTP/1.1\nHost: evil.example\nX-Forwarded-Proto: https\nX-Forwarded-Host: evil.example\nConnection: close\n"
    )
    head = said.partition(b"\r\n\r\n")[0].lower()
    assert b"\r\nserver:" not in head
    assert b"location: /en/sign-in" in head
    assert b"evil" not in said


@pytest.mark.parametrize(
    "head",
    [
        "POST /en/sign-in/mail HTTP/1.1\nHost: x\nContent-Length: 5\nContent-Length: 50\n",
        "POST /en/sign-in/mail HTTP/1.1\nHost: x\nContent-Length: 5\nTransfer-Encoding: chunked\n",
        "POST /en/sign-in/mail HTTP/1.1\nHost: x\nTransfer-Encoding: xchunked\n",
        "POST /en/sign-in/mail HTTP/1.1\nHost: x\nContent-Length: -5\n",
        "POST /en/sign-in/mail HTTP/1.1\nHost: x\nContent-Length: +5\n",
        "POST /en/sign-in/mail HTTP/1.1\nHost: x\nContent-Length: 0x5\n",
        "POST /en/sign-in/mail HTTP/1.1\nHost: x\nContent-Length: 99999999999999999999999\n",
        "GET /en/sign-in HTTP/1.1\nHost: x\nX: " + "a" * 200_000 + "\n",
        "GET /" + "a" * 200_000 + " HTTP/1.1\nHost: x\n",
        "GET /en/me\0 HTTP/1.1\nHost: x\n",
    ],
)
def test_a_request_that_two_servers_would_read_differently_smuggles_nothing(wire: Wire, head: str) -> None:
    before = wire.stage.messages()
    said = wire.ask(head, b"0\r\n\r\nGET /en/smuggled HTTP/1.1\r\nHost: x\r\n\r\n")
    # Whatever the first is answered, what came behind it as its body is not answered as a page.
    assert said.count(b"HTTP/1.1 200") == 0
    assert b" 500 " not in said.partition(b"\r\n")[0]
    assert b"smuggled" not in said
    assert wire.stage.messages() == before


def test_a_body_that_comes_by_drops_is_not_waited_for(wire: Wire, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guard, "BODY_WITHIN", 0.4)
    begun = time.monotonic()
    with wire.open() as line:
        line.sendall(
            b"POST /en/sign-in/mail HTTP/1.1\r\nHost: x\r\nSec-Fetch-Site: same-origin\r\n"
            b"Content-Type: application/x-www-form-urlencoded\r\nContent-Length: 5000\r\n\r\nreach="
        )
        for _ in range(3):
            line.sendall(b"a")
            time.sleep(0.1)
        said = heard(line, 5)
    assert said.startswith(b"HTTP/1.1 408")
    assert time.monotonic() - begun < 8


def test_news_end_with_their_session_and_are_only_of_ones_own_sites(wire: Wire) -> None:
    id_, cookie = wire.cookie("lee")
    with wire.open() as line:
        line.sendall(f"GET /en/tonight/live HTTP/1.1\r\nHost: x\r\n{cookie}\r\n".encode())
        first = heard(line, 5, until=b"event: pulse")
        assert b"event: news" in first
        assert b"Harbour" not in first
        assert b"B8F" not in first
        wire.house.store.write(lambda c: sessions.revoke(c, id_, wire.stage.now))
        wire.stage.tell("B7H", "start")
        last = heard(line, 10, until=b"event: over")
    assert b"event: over" in last
    assert b"event: news" not in last


def test_pages_that_listen_leave_room_for_those_who_report(wire: Wire, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tonight, "OPEN_MOST", 5)
    _id, cookie = wire.cookie("lee")
    lines = [wire.open() for _ in range(8)]
    said = []
    for line in lines:
        line.sendall(f"GET /en/tonight/live HTTP/1.1\r\nHost: x\r\n{cookie}\r\n".encode())
        said.append(heard(line, 5, until=b"event: pulse" if len(said) < 5 else b"\r\n\r\n")[:12])
    assert said == [b"HTTP/1.1 200"] * 5 + [b"HTTP/1.1 503"] * 3
    assert wire.ask("GET /en/sign-in HTTP/1.1\nHost: x\nConnection: close\n").startswith(b"HTTP/1.1 200")
    for line in lines:
        line.close()


def test_strangers_hold_no_stream(wire: Wire) -> None:
    said = wire.ask("GET /en/tonight/live HTTP/1.1\nHost: x\nConnection: close\n")
    assert b"event: over" in said
    assert b"event: news" not in said
