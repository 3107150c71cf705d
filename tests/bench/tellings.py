"""What a machine's log holds after years of nights: the same for both sides of every benchmark.

A night is six entries; every seventh day the battery is watered and the filter cleaned, every fourteenth the
segments are measured. As people do, some nights a rinse is left out, some things are told hours later, a few were
told wrongly and are struck. The same seed gives the same log. It says nothing of how fast anything is.
"""

from __future__ import annotations

import random
import uuid
from collections.abc import Iterator
from typing import Any, NamedTuple

from logbook.domain.instants import DAY, HOUR, MINUTE, Instant, parse

BEGAN: Instant = parse("2022-01-03T12:00:00Z")
SITE = "HX"

FLEET: dict[str, Any] = {
    "fleet": {"name": "Ferry terminals", "origin": "ferry.example/floors", "language": "en"},
    # Every duty is on, the look-over before a start too.
    "policy": {"prepared": True},
    "site": [
        {
            "code": SITE, "name": "North slip", "zone": "America/Halifax",
            "nights": [{"rule": "FREQ=DAILY", "from": "22:00", "to": "06:00", "except": []}],
        }
    ],
    "machine": [],
    "person": [],
}  # fmt: skip


class Told(NamedTuple):
    """One thing told: its id, kind, when it happened, when it was recorded, and what it says."""

    id: str
    kind: str
    occurred_at: Instant
    recorded_at: Instant
    data: dict[str, Any]


def years(seed: int, count: int) -> list[Told]:
    """The first `count` entries of one machine's log, in order of recording."""
    rng = random.Random(seed)
    told = list(_commissioned(rng))
    night = 0
    while len(told) < count + 20:
        told += _night(rng, BEGAN + night * DAY, night)
        night += 1
    told.sort(key=lambda one: one.recorded_at)
    return told[:count]


def _id(rng: random.Random) -> str:
    return str(uuid.UUID(int=rng.getrandbits(128), version=4))


def _commissioned(rng: random.Random) -> Iterator[Told]:
    data = {"site": SITE, "battery": "flooded"}
    yield Told(_id(rng), "commissioned", BEGAN, BEGAN, data)


def _night(rng: random.Random, day: Instant, number: int) -> Iterator[Told]:
    """From noon to noon. Out at about 22:30 by the wall clock, away some hours later."""
    out = day + 14 * HOUR + rng.randrange(90) * MINUTE
    away = out + 4 * HOUR + rng.randrange(120) * MINUTE
    late = rng.random() < 0.02  # what a phone out of reach kept until the morning
    acts: list[tuple[str, Instant, dict[str, Any]]] = [
        ("prepared", out - 5 * MINUTE, {}),
        ("start", out, {}),
        ("rinse", away - 20 * MINUTE, {}),
        ("squeegee", away - 10 * MINUTE, {}),
        ("put_away", away, {}),
        ("charge", away + 5 * MINUTE, {}),
    ]
    if rng.random() < 0.03:
        del acts[2]
    if number % 7 == 3 and rng.random() < 0.9:
        acts += [("watering", away + 20 * MINUTE, {"water_ml": 2100}), ("filter", away + 25 * MINUTE, {})]
    if number % 14 == 5:
        left = 10_000 - number % 350 * 20
        acts.append(("segments", away + 30 * MINUTE, {"left_um": [left, left, left]}))
    if number % 350 == 349:
        acts.append(("segment_change", away + 40 * MINUTE, {}))
    for index, (kind, at, data) in enumerate(acts):
        heard = away + 5 * HOUR if late else at + 30 * 1_000_000
        one = Told(_id(rng), kind, at, heard + index, data)
        yield one
        if rng.random() < 0.002:
            struck = {"entry": one.id, "why": "slip"}
            yield Told(_id(rng), "void", heard + MINUTE, heard + MINUTE, struck)
            yield Told(_id(rng), kind, at, heard + MINUTE, {**data, "corrects": one.id})
