"""Three weeks before the demo's night, so that its pages have a past: ordinary nights, now and then something forgotten.

Every act goes through the door and every alert is the clock's own; only the time is not the real one. What is
forgotten, and when, follows a fixed pattern: the demo is the same each time.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

from logbook.command.demo_night import EVENING
from logbook.domain.instants import DAY, HOUR, MINUTE, Instant
from logbook.intake import By, Draft

if TYPE_CHECKING:
    from logbook.bootstrap import Program

NIGHTS = 21
FIRST: Instant = EVENING - NIGHTS * DAY

Act = tuple[Instant, str, str, str, dict[str, Any]]
"""When it is told, by whom, of which machine, what, and with which data."""


def past(night: int, code: str, who: str, number: int) -> Iterator[Act]:
    """One machine's night. Forgotten in turn: the rinse, the charge, the squeegee; made good in the morning, or never."""
    begins = FIRST + night * DAY + 40 * MINUTE + number * 7 * MINUTE
    ends = begins + 6 * HOUR + 20 * MINUTE
    yield begins, who, code, "start", {}
    yield begins + 5 * MINUTE, who, code, "fill", {"water_ml": 60_000}
    turn = (3 * night + 2 * number) % 11
    if turn not in (0, 7) or (turn == 7 and night >= NIGHTS - 2):
        yield ends, who, code, "rinse", {}
    if turn != 4 or night >= NIGHTS - 2:
        yield ends + 2 * MINUTE, who, code, "squeegee", {}
    yield ends + 4 * MINUTE, who, code, "put_away", {"charge_pct": 35 + (7 * night + 11 * number) % 40}
    if turn != 2:
        yield ends + 6 * MINUTE, who, code, "charge", {}
    if turn in (0, 2):
        yield ends + 90 * MINUTE, who, code, "rinse" if turn == 0 else "charge", {}


def weekly(night: int, code: str, who: str, number: int) -> Iterator[Act]:
    """What is done once a week; the last of it a few days before the demo's night, so that none of it falls due then."""
    at = FIRST + night * DAY + 5 * HOUR + number * 11 * MINUTE
    if night % 6 == number % 3 or night == NIGHTS - 3:
        yield at, who, code, "watering", {"water_ml": 1_700 + 150 * number + 40 * night}
        yield at + 4 * MINUTE, who, code, "filter", {}
    if night % 7 == 5:
        worn = 11_600 - (150 + 40 * number) * night
        yield at + 9 * MINUTE, "jo", code, "segments", {"left_um": [worn, worn - 180, worn - 420]}
        yield at + 10 * MINUTE, who, code, "hours", {"meter_s": 3_600 * (310 + 6 * night)}


def acts(codes: dict[str, str]) -> list[Act]:
    """Everything of the three weeks, in order. `codes`: machine to the cleaner who works with it."""
    found: list[Act] = []
    for number, (code, who) in enumerate(codes.items()):
        for night in range(NIGHTS):
            found += [*past(night, code, who, number), *weekly(night, code, who, number)]
    fault = FIRST + 9 * DAY + 4 * HOUR
    found += [
        (fault, "luis", "C4J", "fault", {"note": "the left head knocks when it turns"}),
        (fault + 9 * HOUR, "jo", "C4J", "repair_requested", {"note": "the workshop comes on Thursday"}),
        (fault + 60 * HOUR, "jo", "C4J", "repaired", {"note": "head bearing replaced"}),
        (FIRST + 12 * DAY, "jo", "C4J", "trained", {"topic": "battery watering", "by": "supervisor"}),
        (FIRST + 17 * DAY, "kit", "B7H", "counted", {"part": "metal 30/40", "qty": 3}),
        (FIRST + 17 * DAY + MINUTE, "kit", "C4J", "ordered", {"part": "metal 30/40", "qty": 6}),
        (EVENING - 20 * MINUTE, "kit", "B7H", "key_out", {}),
    ]
    return sorted(found, key=lambda act: act[0])


def play(logbook: Program, set_now: Callable[[Instant], None], quiet: Callable[[], None]) -> int:
    """Live through the three weeks. `quiet`: takes away what waits to be sent, once a day. Returns how many acts."""
    with logbook.store.read() as connection:
        register = logbook.registry.current(connection)
        people = {person.key: person for person in register.people.values()}
        machines = {code: machine.uuid for code, machine in register.by_code.items()}
    told = acts({"B7H": "ana", "C4J": "luis", "D2J": "mia"})
    now, day = FIRST - HOUR, FIRST
    for number, (at, who, code, kind, data) in enumerate(told):
        now = _steps(logbook, set_now, now, at)
        person = people[who]
        channel = "text" if person.role == "cleaner" else "form"
        id_ = str(uuid.uuid5(uuid.NAMESPACE_URL, f"demo past {number}"))
        logbook.intake.record([Draft(id_, machines[code], kind, data)], By(person.uuid, person.role, channel))
        if at >= day + DAY:
            day += DAY
            quiet()
    _steps(logbook, set_now, now, EVENING)
    quiet()
    return len(told)


def _steps(logbook: Program, set_now: Callable[[Instant], None], now: Instant, until: Instant) -> Instant:
    """The clock wakes whenever something is due, up to an instant."""
    while True:
        set_now(now)
        following = logbook.step(now).next_at
        if following is None or following >= until:
            break
        now = max(following, now + 1)
    set_now(until)
    return until
