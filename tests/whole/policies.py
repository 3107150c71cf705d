"""Random fleets for the random histories: sites, calendars, machines, and odd numbers at all three levels."""

from __future__ import annotations

import random
from datetime import datetime, timedelta
from typing import Any

from tests.whole.worked import PEOPLE, SITES

GRACE = ["PT30M", "PT5M", "PT45M", "PT1S", "PT2H30M", "P1D"]
EVERY = ["P7D", "P2D", "P1D", "P1W", "PT26H", "PT50H30M"]
CHOICES: dict[str, list[Any]] = {
    "rinse.grace": GRACE, "charge.grace": GRACE, "squeegee.grace": GRACE, "prepared.grace": ["PT15M", "PT1M"],
    "watering.every": EVERY, "filter.every": EVERY, "segments.every": ["P14D", "P3D", "PT40H"],
    "fault.answer_within": ["PT4H", "PT35M", "P1D"], "repair.within": ["P5D", "P1D", "PT3H"],
    "delivery.within": ["P10D", "P2D", "PT20H"], "night.grace": ["PT1H", "PT10M", "PT3H", "P1D"],
    "settle": ["PT10M", "PT1M", "PT3H", "PT15M"], "longest_use": ["PT10H", "PT3H", "PT45M", "PT6H30M"],
    "closing": ["PT2H", "PT30M", "PT20M", "PT3H"], "day_turns": [False, False, "06:00", "23:30"],
    "prepared": [True], "rinse": [False], "charge": [False], "squeegee": [False], "watering": [False],
    "filter": [False], "segments": [False], "segments_low": [False], "segments_gone": [False],
    "fault": [False], "repair": [False], "held_start": [False], "delivery": [False], "night": [False],
}  # fmt: skip
SWITCHES = {key for key, values in CHOICES.items() if values in ([True], [False])}
RULES = (
    "FREQ=DAILY",
    "FREQ=DAILY",
    "FREQ=WEEKLY;BYDAY=MO,WE,FR,SU",
    "FREQ=WEEKLY;BYDAY=SA,SU",
    "FREQ=MONTHLY;BYMONTHDAY=1,5,8",
)
CODES = ("B7H", "B8F", "C2N")


def numbers(rng: random.Random, chance: float) -> dict[str, Any]:
    """A policy table that sets each number with that chance, and each switch seldom."""
    return {
        key: rng.choice(values)
        for key, values in CHOICES.items()
        if rng.random() < (chance / 6 if key in SWITCHES and key != "prepared" else chance)
    }


def calendar(rng: random.Random, eve: datetime) -> list[dict[str, Any]]:
    """One rule, some of them beginning at a time that the spring change skips; or two that share no day."""
    hours = {"from": rng.choice(["22:00", "20:30"]), "to": rng.choice(["06:00", "02:15", "01:45", "02:45"])}
    if rng.random() < 0.4:
        hours = {
            "from": rng.choice(["23:30", "02:15", "01:45"]),
            "to": rng.choice(["06:00", "05:15", "04:00"]),
        }
    if rng.random() < 0.2:
        other = {"from": "21:00", "to": "00:00"}
        return [{"rule": "FREQ=WEEKLY;BYDAY=SA", **hours}, {"rule": "FREQ=WEEKLY;BYDAY=SU,MO,TH", **other}]
    left_out = [(eve + timedelta(days=rng.randint(0, 7))).date().isoformat() for _ in range(rng.randint(0, 2))]
    return [{"rule": rng.choice(RULES), **hours, "except": left_out}]


def make_fleet(rng: random.Random, eve: datetime) -> dict[str, Any]:
    """One to three machines at three sites in three zones, commissioned at most ten days before `eve`."""
    sites: list[dict[str, Any]] = []
    for site in SITES:
        nights = {"nights": calendar(rng, eve)} if rng.random() < 0.7 else {}
        sites.append({**site, **nights, "policy": numbers(rng, 0.12)})
    machines: list[dict[str, Any]] = []
    for code in CODES[: rng.choice([1, 2, 2, 3])]:
        began = eve - rng.choice(
            [timedelta(0), timedelta(hours=rng.randint(1, 240)), timedelta(minutes=rng.randint(1, 9999))]
        )
        machine: dict[str, Any] = {
            "code": code, "site": rng.choice(SITES)["code"],
            "battery": rng.choice(["flooded", "flooded", "sealed", "lithium"]),
            "commissioned_at": began.strftime("%Y-%m-%dT%H:%M:%SZ"), "policy": numbers(rng, 0.12),
        }  # fmt: skip
        if rng.random() < 0.3:
            machine["nights"] = calendar(rng, eve)
        if rng.random() < 0.5:
            machine["segments"] = {"part": "DS-3", "heads": 3, "new_um": 10000}
        machines.append(machine)
    return {
        "fleet": {"name": "Ferry", "origin": "ferry.example/log", "language": "en"},
        "policy": numbers(rng, 0.25),
        "site": sites,
        "machine": machines,
        "person": PEOPLE,
    }  # fmt: skip
