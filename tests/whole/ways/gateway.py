"""A gateway of the tests' own on loopback: it takes our texts as JSON, well or badly, and posts texts and receipts."""

from __future__ import annotations

import contextlib
import json
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import httpx

from logbook.bootstrap import real_now
from tests.channels.gateway.playing import IN, closed_port, post_of, receipt_of, signed
from tests.whole.ways.running import until

OUT = """
[gateway.out]
url = "http://localhost:{port}/messages"
headers = {{ Idempotency-Key = "{{id}}", Authorization = "Bearer {{token}}" }}
token = "a token of the tests"
body = {{ to = "{{to}}", text = "{{text}}" }}
reference = "id"
confirms = true
timeout = 1.0
"""


@dataclass
class Taken:
    """A text that was taken over: our name for it, the gateway's, whom to, its words."""

    ours: str
    name: str
    to: str
    text: str
    at: int


@dataclass
class Gateway:
    """`status`: what it answers; `word`: the receipt it posts of each text by itself, None for none; `early`: it
    posts that before it answers; `silent`: it takes nothing, and says so only after we have lost patience."""

    port: int = field(default_factory=closed_port)
    ours: int = field(default_factory=closed_port)
    status: int = 201
    word: str | None = "delivered"
    early: bool = False
    silent: bool = False
    asked: int = 0
    taken: list[Taken] = field(default_factory=list)
    answers: list[int] = field(default_factory=list)
    name: str = "gateway"

    @property
    def settings(self) -> str:
        """The tables of the settings file that describe it."""
        inward = IN.replace("[gateway]", f'[gateway]\nname = "{self.name}"\nlisten = "127.0.0.1:{self.ours}"')
        return inward + OUT.format(port=self.port)

    def texts(self, to: str) -> list[str]:
        return [each.text for each in self.taken if each.to == to]

    # -- what it posts ------------------------------------------------------------------------------------------

    def post(self, body: bytes, path: str = "/texts") -> int | None:
        """One signed post; the status, or None where nobody answered."""
        address = f"http://127.0.0.1:{self.ours}{path}"
        try:
            found = httpx.post(address, content=body, headers=signed(body, real_now()), trust_env=False, timeout=20)
        except httpx.TransportError:
            return None
        return found.status_code

    def send(self, text: str, sender: str, id: str = "m1") -> None:
        """A text comes in, and is posted until it is taken over, as a gateway does."""
        until(lambda: self.post(post_of(id, sender, text)) == 200, "the text was not taken over")

    def report(self, taken: Taken, word: str) -> None:
        """A receipt."""
        self.answers.append(self.post(receipt_of(taken.name, word), "/receipts") or 0)

    # -- what it takes ------------------------------------------------------------------------------------------

    def take(self, key: str, said: dict[str, Any]) -> tuple[int, dict[str, str]]:
        self.asked += 1
        if self.silent:
            time.sleep(2)  # longer than `timeout`
            return 503, {}
        if self.status != 201:
            return self.status, {}
        before = next((each for each in self.taken if each.ours == key), None)
        if before is not None:
            return 201, {"id": before.name}
        one = Taken(key, f"g-{len(self.taken) + 1}", said["to"], said["text"], real_now())
        if not one.to:
            return 422, {}
        self.taken.append(one)
        if self.word is not None:
            reporting = threading.Thread(target=self.report, args=(one, self.word), daemon=True)
            reporting.start()
            if self.early:
                time.sleep(0.5)
        return 201, {"id": one.name}

    @contextlib.contextmanager
    def open(self) -> Iterator[None]:
        """Let it be there."""
        gateway = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"
            timeout = 5

            def do_POST(self) -> None:
                said = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
                status, answer = gateway.take(self.headers["Idempotency-Key"], said)
                body = json.dumps(answer).encode()
                with contextlib.suppress(OSError):  # who asked may have lost patience
                    self.send_response(status)
                    self.send_header("Content-Length", str(len(body)))
                    self.end_headers()
                    self.wfile.write(body)

            def log_message(self, format: str, *args: object) -> None: ...

        server = ThreadingHTTPServer(("127.0.0.1", self.port), Handler)
        serving = threading.Thread(target=server.serve_forever, args=(0.05,))
        serving.start()
        try:
            yield
        finally:
            server.shutdown()
            serving.join()
            server.server_close()
