"""A durable append: one entry, and a hundred in one.

Ours is the whole way in: checked against the catalogue and the register, folded, put into bytes and hashed; entry,
head, newest fold and due instant in one transaction; and the answer says what is owed. Theirs is get, command, save.
Both wait for the disk at the commit. How long that takes is the disk's affair and the same for both, so the rows
are given twice: on the disk, where it is most of the time, and in memory (/dev/shm), where only the program counts.
"""

from __future__ import annotations

import tempfile
import time
import uuid
from collections.abc import Iterator
from pathlib import Path

from logbook.domain.instants import MINUTE
from logbook.intake import By, Draft
from tests.bench.harness import Row, Side, Size, duel
from tests.bench.ours import Ours
from tests.bench.peer import SETTINGS, Peer
from tests.bench.tellings import Told, years

BY = By(None, "cleaner", "text")
IN_MEMORY = Path("/dev/shm")
_KINDS = {"prepared", "start", "rinse", "squeegee", "put_away", "charge", "watering", "filter", "segments"}


def run(folder: Path, size: Size) -> list[Row]:
    """The rows of this file."""
    rows = _rows(folder, size, "on disk")
    if IN_MEMORY.is_dir():
        with tempfile.TemporaryDirectory(dir=IN_MEMORY) as name:
            rows += _rows(Path(name), size, "in memory")
    return rows


def _rows(folder: Path, size: Size, where: str) -> list[Row]:
    ours = Ours(folder)
    machines = iter(ours.commission(4))
    rows = []
    for name in ("cache", "best"):
        peer = Peer(folder, SETTINGS[name])
        for at_once, full, goal in ((1, 300, 2.5), (100, 12, 2.5)):
            times = size.of(full, 2)
            mine, theirs = _ours(ours, next(machines), at_once, times), _theirs(peer, at_once, times)
            ratios, own, other = duel(mine, theirs, size.rounds)
            rows.append(
                Row(
                    f"{times} appends of {at_once}, {where}", own, f"{other}, {peer.settings.name}", "entries kept",
                    ratios, goal if name == "cache" else None,
                )
            )  # fmt: skip
    return rows


def _stream(seed: int) -> Iterator[Told]:
    """A machine's life as it is told, one entry after the other, what a cleaner may say only."""
    for one in years(seed, 40_000):
        if one.kind in _KINDS and "corrects" not in one.data:
            yield one


def _ours(ours: Ours, machine: str, at_once: int, times: int) -> Side:
    stream = _stream(1)

    def side() -> float:
        taken = 0.0
        for _ in range(times):
            told = [next(stream) for _ in range(at_once)]
            drafts = [Draft(str(uuid.uuid4()), machine, one.kind, one.data, one.occurred_at) for one in told]
            ours.now = told[-1].recorded_at + MINUTE
            before = time.perf_counter()
            receipt = ours.intake.record(drafts, BY)
            taken += time.perf_counter() - before
            assert len(receipt.entries) == at_once
        return taken

    return side


def _theirs(peer: Peer, at_once: int, times: int) -> Side:
    log = peer.new()
    stream = _stream(1)

    def side() -> float:
        taken = 0.0
        for _ in range(times):
            told = [next(stream) for _ in range(at_once)]
            before = time.perf_counter()
            peer.append(log, told)
            taken += time.perf_counter() - before
        return taken

    return side
