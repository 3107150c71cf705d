"""Whoever kills: starts workers on one database, ends them with SIGKILL, remembers every answer they gave.

It takes their mail too, so that what was received outlives them. Chance comes from a seed; what a kill cuts off is
chance all the same, so what was cut off is counted.
"""

from __future__ import annotations

import asyncio
import email
import email.policy
import hashlib
import json
import os
import random
import signal
import socket
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from aiosmtpd.controller import Controller

from tests.whole.kills.worker import POSTERS, SENDING, SIZE, STEP

ROOT = Path(__file__).parents[3]
PHASES = ("posting", "step", "delivery")


class Sink:
    """A mail server that keeps what it is handed, and is not always quick to say that it has."""

    def __init__(self, seed: int) -> None:
        self.rng = random.Random(f"sink {seed}")
        self.copies: list[tuple[str, str, str]] = []

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:  # noqa: N802 - aiosmtpd's name
        message = email.message_from_bytes(envelope.content, policy=email.policy.default)
        body = hashlib.sha256(message.get_content().encode()).hexdigest()
        self.copies.append((str(message["Message-ID"]), envelope.rcpt_tos[0], f"{message['Subject']} {body}"))
        await asyncio.sleep(self.rng.random() * 0.004)
        return "250 kept"


@contextmanager
def sink(seed: int) -> Iterator[tuple[Sink, int]]:
    """A running sink and its port."""
    box = Sink(seed)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    controller = Controller(box, hostname="127.0.0.1", port=port)
    controller.start()
    try:
        yield box, port
    finally:
        controller.stop()


class Life:
    """One worker process."""

    def __init__(self, name: str, folder: Path) -> None:
        self.name = name
        self.place = ""
        self.marks = folder / f"{name}.marks"
        self.marks.write_bytes(bytes(SIZE))
        self.errors = (folder / "stderr").open("ab")
        self.lines: list[dict[str, Any]] = []
        self.heard = threading.Condition()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.whole.kills.worker"], cwd=ROOT, stdin=subprocess.PIPE,
            stdout=subprocess.PIPE, stderr=self.errors,
        )  # fmt: skip
        self.reader = threading.Thread(target=self._read, daemon=True)
        self.reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if not line.endswith(b"\n"):
                break  # cut off in the middle: it was not said
            with self.heard:
                self.lines.append(json.loads(line))
                self.heard.notify_all()

    def order(self, what: Any) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(json.dumps(what).encode() + b"\n")
        self.process.stdin.flush()

    def wait_for(self, key: str, seconds: float = 60) -> dict[str, Any]:
        """The first line that has this key."""
        until, seen = time.monotonic() + seconds, 0
        with self.heard:
            while True:
                for line in self.lines[seen:]:
                    if key in line:
                        return line
                seen = len(self.lines)
                assert time.monotonic() < until, f"the worker never said {key}"
                gone = self.process.poll() is not None and not self.reader.is_alive()
                assert not gone, f"the worker ended, and never said {key}"
                self.heard.wait(0.5)

    def busy(self) -> set[str]:
        """What it is in the middle of, or was when it was killed."""
        marks = self.marks.read_bytes()
        return {
            phase for phase, on in zip(PHASES, (any(marks[:POSTERS]), marks[STEP], marks[SENDING]), strict=True) if on
        }

    def kill(self) -> set[str]:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        found = self.busy()
        self._close()
        return found

    def end(self) -> None:
        """Let it finish, and wait for that."""
        assert self.process.stdin is not None
        self.process.stdin.close()
        self.process.wait(60)
        self._close()

    def _close(self) -> None:
        self.reader.join(10)
        for pipe in (self.process.stdin, self.process.stdout, self.errors):
            assert pipe is not None
            with suppress(BrokenPipeError):
                pipe.close()


@dataclass
class Told:
    """All that was said to the logbook, and what it answered."""

    asked: dict[str, dict[str, Any]] = field(default_factory=dict)
    answers: dict[str, tuple[str, tuple[str, ...]]] = field(default_factory=dict)
    changed: list[str] = field(default_factory=list)
    steps: list[tuple[int, int]] = field(default_factory=list)
    troubles: list[str] = field(default_factory=list)
    lives: int = 0

    def note(self, life: Life) -> None:
        """Take in what one worker said, after its end."""
        self.lives += 1
        for line in life.lines:
            if "ask" in line:
                self.asked[line["ask"]["id"]] = line["ask"]
            elif "answer" in line:
                given = (line["outcome"], tuple(line["entries"]))
                before = self.answers.setdefault(line["answer"], given)
                if before != given:
                    self.changed.append(f"{line['answer']}: answered {before}, then {given}")
            elif "step" in line:
                self.steps.append((line["step"], line["ended"]))
            elif "trouble" in line:
                self.troubles.append(line["trouble"])

    def unanswered(self) -> list[dict[str, Any]]:
        return [what for id_, what in self.asked.items() if id_ not in self.answers]


class Killer:
    """Runs `workers` at once on a database, and kills one after another, so many times."""

    def __init__(self, url: str, folder: Path, port: int, seed: int, workers: int = 1) -> None:
        self.url, self.folder, self.port, self.seed = url, folder, port, seed
        self.rng = random.Random(f"killer {seed}")
        self.told = Told()
        self.cut_off: Counter[str] = Counter()
        self.kills = 0
        self.number = 0
        self.running: list[Life] = []
        self.workers = workers
        self.spare = self._spawn()

    def _spawn(self) -> Life:
        self.number += 1
        return Life(f"w{self.number}", self.folder)

    def start(self, place: str, *, post: bool = True) -> Life:
        """Send the spare one to work at a place, by the name of who worked there; the next one waits at the door."""
        life, waiting = self.spare, self.told.unanswered()
        life.wait_for("imported")
        answered = list(self.told.answers)
        repeats = [self.told.asked[id_] for id_ in self.rng.sample(answered[-40:], min(3, len(answered)))]
        life.order({
            "url": self.url, "marks": str(life.marks), "port": self.port, "name": place, "rest": 0.06,
            "seed": f"{self.seed} {self.number}", "post": post, "again": waiting + repeats,
        })  # fmt: skip
        life.place = place
        self.running.append(life)
        life.wait_for("ready")
        if post:
            self.spare = self._spawn()
        return life

    def run(self, kills: int) -> None:
        for number in range(self.workers):
            self.start(f"place {number}")
        for _ in range(kills):
            life = self.rng.choice(self.running)
            wanted = self.rng.choice(PHASES)
            self._wait(life, self.rng.uniform(0.02, 0.6), wanted)
            self._ended(life, life.kill())
            self.kills += 1
            self.start(life.place)

    def _wait(self, life: Life, seconds: float, wanted: str) -> None:
        """So long; then until it is in the middle of what is to be cut off, and a moment more."""
        time.sleep(seconds)
        until = time.monotonic() + 1.0
        while wanted not in life.busy() and time.monotonic() < until:
            time.sleep(0.0002)
        time.sleep(self.rng.random() * 0.003)

    def _ended(self, life: Life, busy: set[str]) -> None:
        self.running.remove(life)
        self.told.note(life)
        self.cut_off.update(busy or {"nothing"})

    def finish(self, quiet: float = 5.0) -> None:
        """Let whoever lives finish: everything asked is answered, everything due is done, all mail is out."""
        for life in list(self.running):
            life.order("quiet")
            life.wait_for("quiet")
            life.end()
            self._ended_well(life)
        last = self.start("place 0", post=False)
        last.order("quiet")
        last.wait_for("quiet")
        time.sleep(quiet)
        last.end()
        self._ended_well(last)

    def _ended_well(self, life: Life) -> None:
        assert life.process.returncode == 0, f"a worker ended with {life.process.returncode}"
        ended = [line for line in life.lines if "clock_failures" in line]
        assert ended
        assert ended[0]["clock_failures"] == 0
        assert ended[0]["mail_failures"] == 0
        self.running.remove(life)
        self.told.note(life)

    def close(self) -> None:
        """Leave no process behind."""
        for life in [*self.running, self.spare]:
            if life.process.poll() is None:
                os.kill(life.process.pid, signal.SIGKILL)
                life.process.wait()

    def errors(self) -> str:
        return (self.folder / "stderr").read_text(errors="replace")
