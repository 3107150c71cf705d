"""Which story is told on which night of which machine, drawn from the seed before the first night begins.

Stories never touch: between two of one machine lies at least one ordinary night whose start is told, so that what one
leaves open is closed by that night and by nothing else. That is what makes the truth certain.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from scenario import faults, misses
from scenario.fleet import Fleet
from scenario.shift import Shift

Story = Callable[[Shift], None]


@dataclass(frozen=True)
class Plant:
    """A story, how often it comes in 120 nights of the fleet, and how many nights of a machine it takes."""

    name: str
    often: int
    span: int = 1
    only: frozenset[str] = frozenset()
    apart: int = 0  # nights between two of the same group on one machine
    group: str = ""


_LAST_OF_SITE = frozenset({"C5H", "B8F", "N2G", "W3F", "R4X"})
_LOOKED_OVER = frozenset({"M4G", "N2G"})

PLANTS: tuple[Plant, ...] = (
    Plant("rinse_forgotten", 6), Plant("rinse_late", 3), Plant("rinse_told_late", 3),
    Plant("closing_without_rinse_kept", 3), Plant("rinse_late_while_settling", 2),
    Plant("squeegee_forgotten", 4), Plant("squeegee_late", 2),
    Plant("charge_forgotten", 6), Plant("charge_late", 3), Plant("charge_told_late", 3), Plant("unplugged", 2),
    Plant("silent", 6), Plant("silent_and_excused", 3), Plant("silent_run", 2, span=3), Plant("night_told_late", 4),
    Plant("started_then_silent", 4), Plant("closing_told_at_noon", 3),
    # Only where the machine is the last that its cleaner sees to: what is taken back must be the last text sent.
    Plant("went_out_again", 2, only=_LAST_OF_SITE),
    Plant("excused_rinse", 3), Plant("excused_in_time", 2), Plant("wrong_plate", 3), Plant("not_used", 14),
    Plant("unprepared", 3, only=_LOOKED_OVER), Plant("unprepared_and_excused", 2, only=_LOOKED_OVER),
    Plant("fault_answered", 6, apart=16, group="fault"), Plant("fault_mended_by_text", 4, apart=16, group="fault"),
    Plant("fault_unanswered", 3, apart=16, group="fault"), Plant("repair_overdue", 3, apart=16, group="fault"),
    Plant("part_ordered", 4), Plant("delivery_late", 2),
    Plant("out_of_service", 4, span=4), Plant("held", 3, span=3), Plant("held_start", 3, span=3),
    Plant("segments_gone", 3, span=2),
)  # fmt: skip
"""`out_of_service`, `held`, `held_start`, `silent_run` and `segments_gone` take several nights: see `generate`."""

SLIPS = (("watering", 5), ("filter", 6), ("segments", 5), ("watering_told_late", 3))
"""Weekly and fortnightly rounds that are let slip, how often in 120 nights."""

STORIES: Mapping[str, Story] = {
    plant.name: getattr(room, plant.name) for plant in PLANTS for room in (misses, faults) if hasattr(room, plant.name)
}


@dataclass
class Calendar:
    """One machine's nights: the dates, and what is to happen on some of them."""

    dates: list[date]
    stories: dict[date, tuple[str, int]] = field(default_factory=dict)  # name, and which night of it
    plain: set[date] = field(default_factory=set)
    slips: list[tuple[date, str]] = field(default_factory=list)
    events: dict[date, list[str]] = field(default_factory=dict)

    def free(self, first: int, count: int) -> bool:
        """Whether those nights are ordinary, and the one before them."""
        window = self.dates[max(0, first - 1) : first + count]
        return not any(day in self.stories or day in self.plain or day in self.events for day in window)


def draw(rng: random.Random, fleet: Fleet, calendars: Mapping[str, Calendar], nights: int) -> None:
    """Lay the stories out over the calendars. What finds no room in a short period is left out."""
    codes = [machine.code for machine in fleet.machines]
    groups: dict[tuple[str, str], list[int]] = {}
    # The hardest to place first: those that take several nights, or few machines.
    for plant in sorted(PLANTS, key=lambda plant: (-plant.span, bool(plant.only) is False)):
        allowed = [code for code in codes if not plant.only or code in plant.only]
        for _ in range(max(1, round(plant.often * nights / 120))):
            _place(rng, plant, allowed, calendars, groups)
    for duty, often in SLIPS:
        _let_slip(rng, fleet, calendars, duty, max(1, round(often * nights / 120)))


def _place(
    rng: random.Random, plant: Plant, allowed: Sequence[str], calendars: Mapping[str, Calendar],
    groups: dict[tuple[str, str], list[int]],
) -> None:  # fmt: skip
    for _attempt in range(300):
        code = rng.choice(allowed)
        calendar = calendars[code]
        room = len(calendar.dates) - 3 - plant.span
        if room <= 4:
            return
        first = rng.randrange(4, room)
        others = groups.setdefault((plant.group, code), [])
        if not calendar.free(first, plant.span + 1):
            continue
        if plant.group and any(abs(first - other) < plant.apart for other in others):
            continue
        others.append(first)
        for number in range(plant.span):
            calendar.stories[calendar.dates[first + number]] = (plant.name, number)
        calendar.plain.add(calendar.dates[first + plant.span])
        return


def _let_slip(rng: random.Random, fleet: Fleet, calendars: Mapping[str, Calendar], duty: str, count: int) -> None:
    allowed = [
        machine.code for machine in fleet.machines if not duty.startswith("watering") or machine.battery == "flooded"
    ]
    # A new battery starts the watering anew, so nothing is let slip on those machines.
    allowed = [code for code in allowed if not (duty.startswith("watering") and any(
        "battery" in event for events in calendars[code].events.values() for event in events))]  # fmt: skip
    for _ in range(count):
        calendar = calendars[rng.choice(allowed)]
        calendar.slips.append((calendar.dates[rng.randrange(1, max(2, len(calendar.dates) - 8))], duty))
