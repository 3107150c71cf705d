"""The other side of a gateway: it signs and posts texts and receipts, and it takes texts over, well or badly."""

from __future__ import annotations

import asyncio
import base64
import contextlib
import hashlib
import hmac
import json
import socket
import ssl
import threading
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

import httpx

from logbook.channels.gateway.listening import listen
from logbook.channels.gateway.settings import GatewaySettings, read
from logbook.domain.instants import SECOND, Instant, parse

SECRET = "a secret of the tests, and of nothing else"
NOW = parse("2026-11-25T09:12:00Z")  # 05:12 at the terminals
IN = """
[gateway]
secret = "a secret of the tests, and of nothing else"

[gateway.in]
id = "message.id"
sender = "message.from"
text = "message.text"
at = "message.received_at"

[gateway.receipt]
id = "message.id"
state = "message.status"
detail = "message.why"
arrived = ["delivered"]
failed = ["failed", "expired"]
"""


def settings(more: str = "", *, base: str = IN) -> GatewaySettings:
    return read(base + more)


def seconds(instant: Instant) -> str:
    return str(instant // SECOND)


def sign(body: bytes, timestamp: str, secret: bytes = SECRET.encode()) -> str:
    """The signature of RFC 2104, worked out here and not by the program."""
    return hmac.new(secret, timestamp.encode() + b"." + body, hashlib.sha256).hexdigest()


def post_of(id: str = "m1", sender: str = "+19025550111", text: str = "B7H rinse", **more: Any) -> bytes:
    return json.dumps({"message": {"id": id, "from": sender, "text": text, **more}}).encode()


def receipt_of(id: str = "r1", status: str = "delivered", **more: Any) -> bytes:
    return json.dumps({"message": {"id": id, "status": status, **more}}).encode()


def signed(body: bytes, at: Instant = NOW, **more: str) -> dict[str, str]:
    """Headers of a post that is as it should be, or with some of them replaced."""
    timestamp = seconds(at)
    return {"X-Timestamp": timestamp, "X-Signature": sign(body, timestamp), **more}


@contextlib.contextmanager
def serving(app: Any) -> Iterator[int]:
    """The app at a port of this machine, in a thread with a loop of its own."""
    up: list[int] = []
    there, box = threading.Event(), {}

    def told(port: int) -> None:
        up.append(port)
        there.set()

    async def main() -> None:
        box["loop"], box["stop"] = asyncio.get_running_loop(), asyncio.Event()
        await listen(app, "127.0.0.1", 0, box["stop"], ready=told)

    def run() -> None:
        try:
            asyncio.run(main())
        finally:
            there.set()

    thread = threading.Thread(target=run)
    thread.start()
    assert there.wait(20)
    assert up, "the app did not start"
    try:
        yield up[0]
    finally:
        box["loop"].call_soon_threadsafe(box["stop"].set)
        thread.join(30)
        assert not thread.is_alive()


@contextlib.contextmanager
def poster(port: int) -> Iterator[Callable[..., httpx.Response]]:
    """`post(body)`, `post(body, "/receipts", headers={...})`: one signed post, answered."""
    with httpx.Client(base_url=f"http://127.0.0.1:{port}", trust_env=False, timeout=30) as client:

        def post(body: bytes, path: str = "/texts", *, headers: dict[str, str] | None = None) -> httpx.Response:
            return client.post(path, content=body, headers=signed(body) if headers is None else headers)

        yield post


def raw(body: bytes, headers: dict[str, str], path: str = "/texts") -> bytes:
    """A whole request as octets."""
    lines = [f"POST {path} HTTP/1.1", "Host: localhost", f"Content-Length: {len(body)}"]
    lines += [f"{name}: {value}" for name, value in headers.items()]
    return "\r\n".join([*lines, "", ""]).encode() + body


async def burst(port: int, requests: Iterable[bytes], connections: int) -> list[int]:
    """All the requests over so many connections at once; answers with the statuses, in no order."""
    waiting, statuses = iter(requests), []

    async def one() -> None:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        try:
            for request in waiting:
                writer.write(request)
                head = await reader.readuntil(b"\r\n\r\n")
                length = next(
                    (int(line[15:]) for line in head.split(b"\r\n") if line.lower().startswith(b"content-length:")), 0
                )
                await reader.readexactly(length)
                statuses.append(int(head.split(b" ", 2)[1]))
        finally:
            writer.close()
            with contextlib.suppress(OSError):
                await writer.wait_closed()

    await asyncio.gather(*(one() for _ in range(connections)))
    return statuses


# -- a gateway that takes texts over ------------------------------------------------------------------------------


@dataclass
class Asked:
    """A request that came in at the playing gateway."""

    method: str
    target: str
    headers: dict[str, str]
    body: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.body)


def answer(status: int = 201, body: bytes = b'{"id": "g-1"}', **headers: str) -> bytes:
    lines = [f"HTTP/1.1 {status} So", f"Content-Length: {len(body)}"]
    lines += [f"{name.replace('_', '-')}: {value}" for name, value in headers.items()]
    return "\r\n".join([*lines, "", ""]).encode() + body


SILENT = b"silent"
"""Reads the request and never answers."""
HANG_UP = b""
"""Reads the request and hangs up."""


@dataclass
class Carrier:
    """Answers each request with the next of `answers`, and with the last of them for ever."""

    answers: list[bytes] = field(default_factory=lambda: [answer()])
    asked: list[Asked] = field(default_factory=list)
    connections: int = 0

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.connections += 1
        try:
            while True:
                head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1").split("\r\n")
                headers = {k.lower(): v.strip() for k, _, v in (line.partition(":") for line in head[1:] if line)}
                body = await reader.readexactly(int(headers.get("content-length", "0")))
                method, target, _ = head[0].split(" ")
                self.asked.append(Asked(method, target, headers, body))
                reply = self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]
                if reply == SILENT:
                    await reader.read()
                if reply in (SILENT, HANG_UP):
                    return
                writer.write(reply)
                await writer.drain()
        except (asyncio.IncompleteReadError, asyncio.CancelledError, OSError):
            return  # it has hung up, or the test is over
        finally:
            writer.close()

    @contextlib.asynccontextmanager
    async def open(self, tls: ssl.SSLContext | None = None) -> Any:
        """Yields the port."""
        server = await asyncio.start_server(self.serve, "127.0.0.1", 0, ssl=tls)
        try:
            yield server.sockets[0].getsockname()[1]
        finally:
            server.close()


def closed_port() -> int:
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        return int(asked.getsockname()[1])


def base64_sign(body: bytes, timestamp: str, secret: bytes) -> str:
    return base64.b64encode(hmac.new(secret, timestamp.encode() + b":" + body, hashlib.sha256).digest()).decode()
