"""Items, reminders and letters to put into words: one invented night at a ferry terminal."""

from __future__ import annotations

from typing import Any

from logbook.domain.instants import parse
from logbook.domain.telling.items import Act, Item, Letter, Reminder, Week

NOW = parse("2026-03-10T09:40:00Z")  # 06:40 in Halifax, 07:10 in St. John's
PUT_AWAY = Act(parse("2026-03-10T08:42:00Z"), "cleaner")
STARTED = Act(parse("2026-03-10T01:05:00Z"), "cleaner")

# What each duty's item may hold at its worst and longest.
DETAILS: dict[str, dict[str, Any]] = {
    "rinse": {"emptied": True, "last": {"start": STARTED, "put_away": PUT_AWAY, "empty": PUT_AWAY}},
    "charge": {"charge_pct": 7, "next_night": parse("2026-03-11T01:00:00Z"), "last": {"start": STARTED}},
    "watering": {"last": {"watering": Act(parse("2026-03-01T09:00:00Z"), "keeper")}},
    "segments_low": {"least_um": 5_300, "head": 2},
    "segments_gone": {"least_um": 0, "head": 11, "tell": "urgent", "last": {"start": STARTED}},
    "fault": {"note": "squeegee hose leaks, charged, B7H", "tell": "urgent", "last": {"fault": PUT_AWAY}},
    "repair": {"note": "no prende", "last": {"repair_requested": Act(parse("2026-03-02T14:00:00Z"), "supervisor")}},
    "held_start": {"tell": "urgent", "last": {"start": STARTED}},
    "night": {
        "opened_by": "north-slip/2026-03-09", "nights": 3, "along": ["rinse", "squeegee", "charge"], "tell": "urgent",
        "last": {"put_away": Act(parse("2026-03-07T09:00:00Z"), "cleaner")},
    },
}  # fmt: skip


def item(duty: str, **given: Any) -> Item:
    """An item as the alerts' engine makes it, with what the test gives put in its place."""
    facts: dict[str, Any] = {
        "duty": duty, "opened_by": "0192d5c8-0000-7000-8000-000000000001", "machine": "m-1", "code": "B7H",
        "site": "north-slip", "site_name": "North Slip", "zone": "America/Halifax",
        "opened_at": STARTED.at, "due_at": parse("2026-03-10T09:12:00Z"), "raised_at": NOW, "tell": "now", "serial": 41,
    }  # fmt: skip
    return Item(**{**facts, **given})


def worst(duty: str, **given: Any) -> Item:
    """The same with everything set that this duty can have."""
    return item(duty, **{**DETAILS.get(duty, {}), **given})


def reminder(*duties: str, **given: Any) -> Reminder:
    facts: dict[str, Any] = {
        "machine": "m-1", "code": "B7H", "site": "north-slip", "site_name": "North Slip", "zone": "America/Halifax",
        "duties": list(duties), "due_at": parse("2026-03-10T10:12:00Z"),
    }  # fmt: skip
    return Reminder(**{**facts, **given})


def week() -> Week:
    return Week(
        3, 1, 8, 12,
        repeats=[("B7H", "rinse", 3)],
        thirsty=[("B7H", 3_200, 1_100)],
        low=[
            ("B7H", "North Slip", "DS-40", 3, "4471", "orders@parts.example"),
            ("C4K", "North Slip", None, None, None, None),
        ],
        faults=[("C4K", 0, None), ("B7H", 6, "squeegee hose leaks")],
        visits=[("North Slip", ["rinse", "charge"], 5)],
    )  # fmt: skip


def letter(*items: Item, **given: Any) -> Letter:
    facts: dict[str, Any] = {
        "date": "2026-03-10", "items": list(items), "nights_expected": 12, "nights_told": 12,
        "quiet_sites": ["Harbour Hall", "West Pier"],
    }  # fmt: skip
    return Letter(**{**facts, **given})
