"""Posts through HTTP, each on the disk before it is answered: those that came together in one commit, or a commit each.

Both sides are the same server, a process of its own as `logbook serve` runs it, asked by the same sixteen clients of
another process over connections that are kept; they differ in how many jobs may share a commit, and in nothing else.
What a commit waits for is the disk's affair: on a disk that answers at once there is little to share. So the rows are
given twice: on the disk as it is, and on one whose every commit takes a while longer, as most servers' disks do.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import sqlite3
import statistics
import subprocess
import sys
import threading
import time
import uuid
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from logbook.domain.fleetfile import FleetFile
from logbook.domain.instants import DAY
from logbook.domain.keyring import Key, token_hash, token_of
from logbook.intake.fleet import apply
from logbook.store import api_keys
from tests.bench.harness import Row, Side, Size, duel, seconds
from tests.bench.ours import Ours
from tests.bench.tellings import FLEET, SITE

CLIENTS = 16
SLOW_MS = 4.0
_KINDS = ("start", "rinse", "squeegee", "put_away", "charge")
_PERSON = {"key": "ana", "name": "A", "role": "cleaner", "phone": "+19025550111", "sites": [SITE]}


def run(folder: Path, size: Size) -> list[Row]:
    """Two rows a disk: the ratio, and how long the slowest of a hundred waits."""
    rows = []
    for where, slow in (("this disk", 0.0), (f"a commit {SLOW_MS:g} ms longer", SLOW_MS)):
        with _server(folder, 256, slow) as ours, _server(folder, 1, slow) as alone:
            each = size.of(60, 2)
            for side in (ours, alone):  # what is made at the first request is not counted
                _posted(side, 2)
            ours.waits.clear()
            alone.waits.clear()
            ratios, mine, theirs = duel(_side(ours, each), _side(alone, each), size.rounds)
            what = f"{CLIENTS * each} posts, {CLIENTS} clients, {where}"
            rows.append(Row(what, mine, f"{theirs}, a commit each", "entries kept", ratios, 4.0))
            p99 = [_of(round_, 0.99) * 1e3 for round_ in ours.waits]
            p50 = seconds(statistics.median(_of(round_, 0.5) for round_ in ours.waits))
            other = seconds(statistics.median(_of(round_, 0.99) for round_ in alone.waits))
            rows.append(Row(f"p99 of these (p50 {p50})", "", f"p99 {other}", "", figures=p99, goal=50.0, unit="ms",
                            at_most=True))  # fmt: skip
            for side in (ours, alone):
                assert side.kept() == side.answered, "an entry that was answered is not there, or there twice"
    for row in rows:
        row.same = row.same or "entries kept"
    return rows


@dataclass
class _Served:
    """A server of its own, and what it has answered. `waits`: a list a round, of each request's seconds."""

    url: str
    port: int
    token: str
    codes: list[str]
    waits: list[list[float]] = field(default_factory=list)
    answered: int = 0

    def kept(self) -> int:
        """How many entries of ours stand in the log."""
        with contextlib.closing(sqlite3.connect(self.url.removeprefix("sqlite:///"))) as database:
            return sum(b'"channel":"api"' in row[0] for row in database.execute("select bytes from entry"))


def _of(waits: list[float], part: float) -> float:
    return sorted(waits)[min(len(waits) - 1, int(len(waits) * part))]


@contextlib.contextmanager
def _server(folder: Path, group: int, slow_ms: float) -> Iterator[_Served]:
    place = folder / f"{group}-{slow_ms}"
    place.mkdir()
    ours = Ours(place, now=time.time_ns() // 1_000 - DAY)
    machines = ours.commission(CLIENTS)
    with ours.store.read() as connection:
        register = ours.intake.registry.current(connection)
    apply(ours.intake, FleetFile.model_validate({**FLEET, "person": [_PERSON]}))
    codes = [register.machines[each].code for each in machines]
    token = token_of(uuid.uuid4().bytes * 2)
    key = Key("k", token_hash(token), "bench", frozenset({"post"}), (), None, None, ours.now)
    ours.store.write(lambda c: api_keys.add(c, key))
    url = f"sqlite:///{place / 'ours.sqlite'}"
    ours.store.close()
    command = [sys.executable, "-m", "tests.bench.posting", url, str(group), str(slow_ms)]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, stdin=subprocess.PIPE, text=True)
    try:
        assert server.stdout is not None
        port = int(server.stdout.readline())
        yield _Served(url, port, token, codes)
    finally:
        server.communicate("", timeout=30)


def _side(served: _Served, each: int) -> Side:
    def side() -> float:
        taken, waits = _posted(served, each)
        served.waits.append(waits)
        return taken

    return side


def _posted(served: _Served, each: int) -> tuple[float, list[float]]:
    waits: list[float] = []

    async def client(number: int) -> None:
        reader, writer = await asyncio.open_connection("127.0.0.1", served.port)
        for turn in range(each):
            entry = {"id": str(uuid.uuid4()), "machine": served.codes[number], "kind": _KINDS[turn % len(_KINDS)]}
            body = json.dumps({"reporter": "ana", "entries": [entry]}).encode()
            head = (
                f"POST /api/v1/entries HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer {served.token}\r\n"
                f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n"
            ).encode()
            before = time.perf_counter()
            writer.write(head + body)
            answer = await reader.readuntil(b"\r\n\r\n")
            length = int(answer.lower().split(b"content-length:")[1].split(b"\r\n")[0])
            await reader.readexactly(length)
            waits.append(time.perf_counter() - before)
            assert answer.startswith(b"HTTP/1.1 201"), answer
        writer.close()

    async def all_of_them() -> float:
        before = time.perf_counter()
        await asyncio.gather(*(client(number) for number in range(CLIENTS)))
        return time.perf_counter() - before

    taken = asyncio.run(all_of_them())
    served.answered += len(waits)
    return taken, waits


def _slow(store: Any, more_ms: float) -> None:
    """Have every commit take so much longer."""
    commit = type(store._writer)._commit

    def slowly(self: Any, group: Any) -> None:
        commit(self, group)
        time.sleep(more_ms / 1e3)

    type(store._writer)._commit = slowly


def _set(app: Any, group: int) -> None:
    """So many posts may share a commit. How often a key may ask is not what is measured."""
    api = app.state.api
    api.state.limits.most = 10**9
    if group == 1:
        api.state.together.most = 1


def _serve(url: str, group: int, slow_ms: float) -> None:
    """The other process: serves until its stdin ends."""
    from logbook.bootstrap import house, program
    from logbook.channels.gateway.listening import listen
    from logbook.config import Config
    from logbook.store import writer
    from logbook.web.app import make_app
    from logbook.web.settings import WebSettings

    writer.GROUP = group
    made = program(url)
    if slow_ms:
        _slow(made.store, slow_ms)
    app: Any = make_app(house(made, Config(web=WebSettings())))
    _set(app, group)
    stop = asyncio.Event()

    async def serve() -> None:
        loop = asyncio.get_running_loop()
        threading.Thread(target=lambda: (sys.stdin.read(), loop.call_soon_threadsafe(stop.set)), daemon=True).start()
        await listen(app, "127.0.0.1", 0, stop, ready=lambda port: print(port, flush=True))

    asyncio.run(serve())
    made.close()


if __name__ == "__main__":
    _serve(sys.argv[1], int(sys.argv[2]), float(sys.argv[3]))
