"""A program that is killed after the text was kept and before the gateway is answered: the text is kept once."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import httpx
import pytest

from logbook.store import heard
from tests.channels.gateway.playing import NOW, post_of, signed
from tests.channels.gateway.test_desk import _entries, _fleet, number
from tests.whole.stage import stage as opened

WORKER = """
import asyncio, os, signal, sys
from pathlib import Path
from logbook.bootstrap import program
from logbook.channels.gateway.incoming import make_app
from logbook.channels.gateway.listening import listen
from tests.channels.gateway.playing import NOW, settings

url, told, when = sys.argv[1], Path(sys.argv[2]), sys.argv[3]
one = program(url, now=lambda: NOW)

def take(message):
    if when == "before" and message.id == "gateway:deadly":
        os.kill(os.getpid(), signal.SIGKILL)
    answer = one.desk.take(message)
    if when == "after" and message.id == "gateway:deadly":
        os.kill(os.getpid(), signal.SIGKILL)
    return answer

def up(port):
    told.with_suffix(".new").write_text(str(port))
    told.with_suffix(".new").rename(told)

async def main():
    stop = asyncio.Event()
    asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, stop.set)
    await listen(make_app(settings(), take, now=lambda: NOW), "127.0.0.1", 0, stop, ready=up)

asyncio.run(main())
one.close()
"""


class Worker:
    """A whole process that takes texts; `when` it dies of the message called "deadly"."""

    def __init__(self, url: str, folder: Path, when: str) -> None:
        told = folder / f"port-{when}-{time.monotonic_ns()}"
        self.process = subprocess.Popen(
            [sys.executable, "-c", WORKER, url, str(told), when], cwd=Path(__file__).parents[3], stdin=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[3])},
        )  # fmt: skip
        until = time.monotonic() + 60
        while not told.exists():
            assert self.process.poll() is None, "the worker did not start"
            assert time.monotonic() < until, "the worker took too long"
            time.sleep(0.02)
        self.address = f"http://127.0.0.1:{told.read_text()}/texts"

    def post(self, body: bytes) -> int | None:
        """The status; None where the line went dead without an answer."""
        try:
            return httpx.post(self.address, content=body, headers=signed(body), trust_env=False, timeout=30).status_code
        except httpx.TransportError:
            return None

    def end(self) -> int:
        self.process.terminate()
        return self.process.wait(30)


@pytest.mark.slow
@pytest.mark.parametrize(("when", "kept_by_then"), [("after", 2), ("before", 0)])
def test_killed_beside_the_commit_and_posted_again(make: Any, tmp_path: Path, when: str, kept_by_then: int) -> None:
    made = make(**_fleet(2))
    url = made.program.store.url.render_as_string(hide_password=False)
    made.close()
    body = post_of("deadly", number(0), "B7H rinse, charge")

    def entries() -> tuple[int, int]:
        look = opened(url, NOW)
        try:
            return _entries(look, "B7H") - 1, len(look.read(lambda c: heard.latest(c, None, 99)))
        finally:
            look.close()

    first = Worker(url, tmp_path, when)
    try:
        assert first.post(post_of("m0", number(1), "C4J rinse")) == 200
        assert first.post(body) is None
        assert first.process.wait(30) == -signal.SIGKILL
    finally:
        first.process.kill()
        first.process.wait()
    assert entries() == (kept_by_then, 1 + (kept_by_then > 0))
    second = Worker(url, tmp_path, "never")
    try:
        assert [second.post(body) for _ in range(3)] == [200, 200, 200]
        assert second.end() == 0  # SIGTERM finishes what has begun and lets go
    finally:
        second.process.kill()
        second.process.wait()
    assert entries() == (2, 2)
