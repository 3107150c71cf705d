"""Texts as people write them, read and understood. No peer: the goal is a time."""

from __future__ import annotations

from pathlib import Path
from zoneinfo import ZoneInfo

from logbook.channels.text import Fleet, read
from logbook.domain import instants
from tests.bench.harness import Row, Size, repeat, timed

NOW = instants.parse("2026-11-25T09:12:00Z")
TEXTS = (
    "B7H away rinsed charging",
    "b7h put away at 5:10 am, rinsed, charging",
    "C4J watered 2.1 l",
    "B7H guardada enjuagada cargando",
    "C5H segments 6 7 5 mm",
    "B8F fault pulls left and the vacuum is weak",
)


def run(folder: Path, size: Size) -> list[Row]:
    """The row of this file."""
    halifax = ZoneInfo("America/Halifax")
    fleet = Fleet(
        codes=frozenset({"B7H", "C4J", "C5H", "B8F"}), zone_of=lambda _code: halifax, lone_machine=None, language="en",
        zone=halifax,
    )  # fmt: skip
    understood = [len(read(text, fleet, NOW).drafts) for text in TEXTS]
    assert min(understood) > 0, dict(zip(TEXTS, understood, strict=True))
    many = size.of(300, 1)
    taken = repeat(timed(lambda: [read(text, fleet, NOW) for _ in range(many) for text in TEXTS]), size.rounds)
    figures = [each / many / len(TEXTS) * 1e6 for each in taken]
    return [
        Row(
            "a text read", f"{len(TEXTS)} texts, {many} times", "", "drafts", figures=figures, goal=200.0, unit="us",
            at_most=True,
        )
    ]  # fmt: skip
