"""The notation of the hand-worked examples: entries and expected alert lines, short enough to check by eye.

Stamps are `DD/HH:MM` UTC in the month of the case. A machine B7H stands at HX (America/Halifax, UTC-4, from
8 March 2026 UTC-3) with flooded cells since `01/12:00`, entry `c`, and only the duties named are switched on.
Every expected line is `at what duty opened_by number due`, where `what` is `raised` or an outcome.
"""

from __future__ import annotations

import json
import uuid
from dataclasses import dataclass
from typing import Any

DUTIES = (
    "rinse", "charge", "squeegee", "watering", "filter", "prepared",
    "segments", "segments_low", "segments_gone", "fault", "repair", "held_start", "delivery", "night",
)  # fmt: skip
PEOPLE = [
    {"key": "ana", "name": "Ana Silva", "role": "cleaner", "language": "es", "phone": "+19025550111"},
    {"key": "sup", "name": "Lee Shaw", "role": "supervisor", "language": "en", "email": "lee@ferry.example"},
]
SITES = [
    {"code": "HX", "name": "North slip", "zone": "America/Halifax"},
    {"code": "SJ", "name": "Harbour hall", "zone": "America/St_Johns"},
    {"code": "LH", "name": "Island pier", "zone": "Australia/Lord_Howe"},
]
LEADERS = {
    "commissioned", "moved", "battery_fitted", "out_of_service", "in_service", "held", "released", "retired",
    "excused", "repair_requested",
}  # fmt: skip


@dataclass(frozen=True)
class Case:
    """One example: what is recorded, until when the clock runs, what it must have written."""

    name: str
    fleet: dict[str, Any]
    entries: list[dict[str, Any]]
    until: str
    expected: list[dict[str, Any]]


def ident(name: str) -> str:
    """The UUID that stands for a short name; a night's identity is its own."""
    return name if "/" in name else str(uuid.uuid5(uuid.NAMESPACE_OID, name))


def stamp(text: str, month: str) -> str:
    """`10/03:00` in `2026-03` is `2026-03-10T03:00:00Z`; another month is written `04-10/03:00`."""
    day, clock = text.split("/")
    date = f"{month}-{day}" if len(day) == 2 else f"{month[:4]}-{day}"
    return f"{date}T{clock}:00Z"


def e(name: str, kind: str, at: str, told: str | None = None, **data: Any) -> dict[str, Any]:
    """One entry, told at once unless `told` says when. A value `@x` stands for the id of entry x."""
    for key, value in data.items():
        if isinstance(value, str) and value.startswith("@"):
            data[key] = ident(value[1:])
    reporter = "sup" if kind in LEADERS else "ana"
    return {
        "id": ident(name), "machine": "B7H", "kind": kind, "occurred_at": at, "recorded_at": told or at,
        "reporter": reporter, "channel": "form", "data": data,
    }  # fmt: skip


def fleet(on: tuple[str, ...], policy: dict[str, Any], **levels: Any) -> dict[str, Any]:
    """A fleet of one machine; `levels`: what HX, SJ, LH and machine hold besides."""
    switches: dict[str, Any] = {duty: duty in on for duty in DUTIES}
    machine = {"code": "B7H", "site": "HX", "battery": "flooded", "commissioned_at": "2026-03-01T12:00:00Z"}
    return {
        "fleet": {"name": "Ferry", "origin": "ferry.example/log", "language": "en"},
        "policy": {**switches, **policy},
        "site": [{**site, **levels.get(site["code"], {})} for site in SITES],
        "machine": [{**machine, **levels.get("machine", {})}],
        "person": PEOPLE,
    }


def case(
    name: str,
    on: str,
    entries: list[dict[str, Any]],
    until: str,
    expected: list[str],
    *,
    month: str = "2026-03",
    policy: dict[str, Any] | None = None,
    commissioned: str = "01/12:00",
    battery: str = "flooded",
    site: str = "HX",
    **levels: Any,
) -> Case:
    """Build one example from the notation."""
    first = e("c", "commissioned", commissioned, site=site, battery=battery)
    lines = json.loads(json.dumps([first, *entries]))
    for line in lines:
        line["occurred_at"] = stamp(line["occurred_at"], month)
        line["recorded_at"] = stamp(line["recorded_at"], month)
    wanted = []
    for row in expected:
        at, what, duty, opened_by, number, due = row.split()
        wanted.append({
            "at": stamp(at, month), "kind": "alert_raised" if what == "raised" else "alert_cleared",
            "machine": "B7H", "duty": duty, "opened_by": ident(opened_by), "number": int(number),
            "due_at": stamp(due, month), "outcome": None if what == "raised" else what,
        })  # fmt: skip
    wanted.sort(key=lambda line: (line["at"], line["duty"], line["opened_by"], line["outcome"] is not None))
    plan = fleet(tuple(on.split()), policy or {}, **levels)
    return Case(name, plan, lines, stamp(until, month), wanted)
