"""The delivery worker is killed, without warning, wherever it hurts; every message still arrives, none is altered.

The mail server holds the trigger: it kills the worker at a chosen step of a chosen message, so that each run dies
at the same place: before a message was handed over, when it was and the worker cannot know, and just after it knew.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes
from email.policy import default
from pathlib import Path
from typing import Any

import pytest

from logbook.store import Store, migrate
from tests.channels.mail_out.sending import Keeper, server
from tests.watch.delivering import message, put, states

ROOT = Path(__file__).resolve().parents[2]
MESSAGES = 30

# (step, which message of this life): `taken` is when the message has arrived and the answer has not been given.
KILLS = [("sender", 1), ("recipient", 3), ("taken", 1), ("taken", 4), ("answered", 2), ("answered", 3)]


class Killer(Keeper):
    """A mail server that kills its client."""

    def __init__(self) -> None:
        super().__init__()
        self.process: subprocess.Popen[bytes] | None = None
        self.step, self.countdown = "", 0

    def at(self, step: str) -> bool:
        if self.process is None or step != self.step:
            return False
        self.countdown -= 1
        return self.countdown == 0

    def kill(self) -> None:
        assert self.process is not None
        os.kill(self.process.pid, signal.SIGKILL)

    async def handle_MAIL(self, _server: Any, _session: Any, envelope: Any, address: str, _options: Any) -> str:  # noqa: N802
        if self.at("sender"):
            self.kill()
        envelope.mail_from = address
        return "250 ok"

    async def handle_RCPT(self, server: Any, session: Any, envelope: Any, address: str, options: Any) -> str:  # noqa: N802
        if self.at("recipient"):
            self.kill()
        return await super().handle_RCPT(server, session, envelope, address, options)

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802
        answer = await super().handle_DATA(server, session, envelope)
        if self.at("taken"):
            self.kill()
        if self.at("answered"):
            # The answer is on its way; the worker dies about when it would mark the message.
            threading.Timer(0.001, self.kill).start()
        return answer


@contextmanager
def worker(url: str, port: int) -> Iterator[subprocess.Popen[bytes]]:
    process = subprocess.Popen([sys.executable, "-m", "tests.whole.mail_worker", url, str(port)], cwd=ROOT)
    try:
        yield process
    finally:
        if process.poll() is None:
            process.kill()
        process.wait()


@pytest.mark.slow
def test_a_worker_killed_anywhere_loses_nothing_and_alters_nothing(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'log.sqlite'}"
    migrate.upgrade(url)
    with Store(url) as store:
        put(store, *(message(n, body=f"Number {n}: señal.\n" * 30) for n in range(MESSAGES)))
    killer = Killer()
    with server(killer) as port:
        for step, count in KILLS:
            killer.step, killer.countdown = step, count
            with worker(url, port) as killer.process:
                assert killer.process.wait(30) == -signal.SIGKILL, step
        killer.step = ""
        with worker(url, port) as last, Store(url) as store:
            end = time.monotonic() + 30
            while set(states(store).values()) != {"sent"}:
                assert time.monotonic() < end
                time.sleep(0.05)
            last.send_signal(signal.SIGTERM)
            assert last.wait(10) == 0
    arrived: dict[str, list[bytes]] = {}
    for envelope in killer.envelopes:
        name = str(message_from_bytes(envelope.content, policy=default)["Message-ID"])
        arrived.setdefault(name, []).append(envelope.content)
    assert sorted(arrived) == [f"<m{n:03}@log.ferries.example>" for n in range(MESSAGES)]
    assert all(len(set(copies)) == 1 for copies in arrived.values())
    # Twice where the worker could not know: for certain at `taken`, perhaps at `answered`, never elsewhere.
    twice = Counter(len(copies) for copies in arrived.values())
    assert max(twice) <= 3
    extra = len(killer.envelopes) - MESSAGES
    certain = sum(step == "taken" for step, _ in KILLS)
    assert certain <= extra <= sum(step in ("taken", "answered") for step, _ in KILLS)
