"""Two sides in alternating rounds, and the table that says what came of it.

Absolute figures say nothing on a shared machine, so every figure is the ratio of two times taken one right after the
other. Nothing is warmed before the first round that the second would not be too; the garbage collector runs as it
does in the program, and is emptied before each side's turn so that neither pays for the other.
"""

from __future__ import annotations

import gc
import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass, field

Side = Callable[[], float]
"""One round of one side: does its work, and answers with the seconds that counted."""


@dataclass(frozen=True)
class Size:
    """How much is measured. A quick run shows that the programs run, and nothing else."""

    quick: bool = False

    @property
    def rounds(self) -> int:
        return 1 if self.quick else 7

    def of(self, full: int, quick: int) -> int:
        """So many, or so few for a quick run."""
        return quick if self.quick else full


@dataclass
class Row:
    """A line of the table. `ratios` are the peer's time over ours, a round each; `goal` the least median wanted.

    A row without a peer has `figures` instead, in `unit`: the more the better, or the less if `at_most` is set.
    `same` says that both sides have computed the same, and what.
    """

    what: str
    ours: str
    peer: str
    same: str
    ratios: list[float] = field(default_factory=list)
    goal: float | None = None
    figures: list[float] = field(default_factory=list)
    unit: str = "x"
    at_most: bool = False

    @property
    def values(self) -> list[float]:
        return self.ratios or self.figures

    @property
    def median(self) -> float:
        return statistics.median(self.values)

    @property
    def met(self) -> bool | None:
        """Whether the goal is met; None where none was set."""
        if self.goal is None:
            return None
        return self.median <= self.goal if self.at_most else self.median >= self.goal


def timed(work: Callable[[], object]) -> Side:
    """A side whose whole work counts."""

    def side() -> float:
        before = time.perf_counter()
        work()
        return time.perf_counter() - before

    return side


def duel(ours: Side, peer: Side, rounds: int) -> tuple[list[float], str, str]:
    """Alternate, turning about who begins. Answers with the ratios and both sides' median times, written out."""
    ratios, mine, theirs = [], [], []
    for number in range(rounds):
        taken = {}
        for side in (ours, peer) if number % 2 == 0 else (peer, ours):
            gc.collect()
            taken[side] = side()
        mine.append(taken[ours])
        theirs.append(taken[peer])
        ratios.append(taken[peer] / taken[ours])
    return ratios, seconds(statistics.median(mine)), seconds(statistics.median(theirs))


def repeat(side: Side, rounds: int) -> list[float]:
    """The seconds of so many rounds of one side."""
    found = []
    for _ in range(rounds):
        gc.collect()
        found.append(side())
    return found


def seconds(value: float) -> str:
    """A time as people read it."""
    for unit, factor in (("s", 1.0), ("ms", 1e3), ("us", 1e6)):
        if value * factor >= 1:
            return f"{value * factor:.3g} {unit}"
    return f"{value * 1e6:.2g} us"


def show(rows: list[Row]) -> str:
    """The table, in Markdown."""
    lines = ["| row | ours | peer | median (range) | goal | met |", "|---|---|---|---|---|---|"]
    for row in rows:
        low, high = min(row.values), max(row.values)
        bound = "" if row.goal is None else f"{'<=' if row.at_most else '>='} {row.goal:g} {row.unit}"
        met = {True: "yes", False: "NO", None: ""}[row.met]
        figure = f"{row.median:.3g} ({low:.3g} to {high:.3g}) {row.unit}"
        lines.append(f"| {row.what} | {row.ours} | {row.peer} | {figure} | {bound} | {met} |")
    return "\n".join(lines)
