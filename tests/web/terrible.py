"""A terrible night, for looking at pages: twelve machines at five terminals in two zones, and much undone.

Long names, a fault that nobody answers, a machine that must not run, an alert in hand, texts of nobody known, a
newcomer who waits, a correction, a late entry. Only data and the order of things; it judges nothing.
"""

from __future__ import annotations

from itertools import islice
from typing import Any

from logbook.channels.desk import Message
from logbook.domain.codes import every
from logbook.domain.instants import DAY, HOUR, MINUTE, Instant, parse
from logbook.intake import Draft
from tests.whole.stage import Stage

MORNING: Instant = parse("2026-03-17T07:42:00Z")
"""04:42 in Halifax, a Tuesday; nine days after the clocks went forward."""

_SITES = [
    ("harbour-hall", "Harbour Hall, arrivals and departures concourse", "America/Halifax"),
    ("pier-4", "Pier 4", "America/Halifax"),
    ("breakwater", "Breakwater waiting room", "America/Halifax"),
    ("customs-quay", "Customs Quay, lower deck", "America/St_Johns"),
    ("north-slip", "North Slip", "America/St_Johns"),
]
_NIGHTS = [{"rule": "FREQ=DAILY", "from": "22:00", "to": "06:00"}]
CODES = tuple(islice(every(3), 12))


def fleet() -> dict[str, Any]:
    """The fleet's tables, for `make(**fleet())`."""
    sites = [{"code": code, "name": name, "zone": zone, "nights": _NIGHTS} for code, name, zone in _SITES]
    machines = [
        {"code": CODES[number], "site": _SITES[number % 5][0], "battery": "flooded" if number % 4 else "sealed",
         "commissioned_at": "2026-02-01T12:00:00Z", "serial": f"SN-{4200 + number}",
         "segments": {"part": "metal 30/40", "heads": 3, "new_um": 12_000}}
        for number in range(12)
    ]  # fmt: skip
    all_sites = [code for code, _name, _zone in _SITES]
    people = [
        {"key": "ana", "name": "Ana Silva", "role": "cleaner", "phone": "+19025550111", "sites": all_sites[:2]},
        {"key": "luis", "name": "Luis Ortega y Villanueva", "role": "cleaner", "language": "es",
         "phone": "+19025550112", "sites": all_sites[2:]},
        {"key": "kay", "name": "Kay Bright", "role": "keeper", "email": "kay@ferry.example", "sites": all_sites[:1]},
        {"key": "lee", "name": "Lee Shaw", "role": "supervisor", "email": "lee@ferry.example", "sites": all_sites,
         "quiet": "21:00-04:00"},
        {"key": "sol", "name": "Sol Peña", "role": "supervisor", "language": "es", "email": "sol@ferry.example",
         "sites": all_sites[:3]},
        {"key": "own", "name": "Jo Marsh", "role": "owner", "email": "jo@ferry.example"},
    ]  # fmt: skip
    return {"site": sites, "machine": machines, "person": people, "policy": {}, "at": parse("2026-03-02T12:00:00Z")}


def play(stage: Stage) -> list[str]:
    """Two weeks of ordinary nights, then a bad one; leaves the clock at MORNING. Answers with the plates in order."""
    codes = sorted(stage.register.by_code)
    for week in range(2):
        for code in codes:
            stage.tell(code, "segments", who="own", left_um=[9_500 - 900 * week, 9_000 - 700 * week, 8_500])
        for night in range(7):
            evening = parse("2026-03-02T23:00:00Z") + (7 * week + night) * DAY
            for number, code in enumerate(codes):
                _ordinary(stage, code, evening + number * 4 * MINUTE, number, night)
    _bad_night(stage, codes)
    return codes


def _ordinary(stage: Stage, code: str, evening: Instant, number: int, night: int) -> None:
    morning = evening + 6 * HOUR
    stage.now = max(stage.now, morning + 20 * MINUTE)
    told: list[tuple[str, Instant, dict[str, Any]]] = [("start", evening, {}), ("fill", evening + MINUTE, {})]
    if (number + night) % 7:
        told.append(("rinse", morning, {}))
    told += [("squeegee", morning + MINUTE, {}), ("charge", morning + 2 * MINUTE, {})]
    if night == number % 7 and number != 4:
        told += [("watering", morning - HOUR, {"water_ml": 1_900 + 50 * number}), ("filter", morning - HOUR, {})]
    told.append(("put_away", morning + 3 * MINUTE, {"charge_pct": 20 + 5 * number}))
    stage.program.intake.record([stage.draft(code, kind, at, **data) for kind, at, data in told], stage.by("ana"))


def _bad_night(stage: Stage, codes: list[str]) -> None:
    """Everything that can be forgotten, in one night."""
    stage.until("2026-03-17T01:00:00Z")
    for code in codes:
        stage.tell(code, "start", "2026-03-17T01:00:00Z")
    stage.until("2026-03-17T05:20:00Z")
    a, b, c, d, e, f, g, h = codes[:8]
    stage.tell(a, "put_away", charge_pct=20)  # nothing else
    stage.tell(b, "empty")
    stage.tell(b, "charge")
    stage.tell(b, "put_away", charge_pct=40)  # emptied, not rinsed
    stage.until("2026-03-17T05:40:00Z")
    stage.tell(c, "fault", note="left head knocks <b>loudly</b> & the squeegee leaves a stripe all along the wall")
    stage.tell(c, "held", who="own", why="until the head was looked at")
    stage.tell(d, "rinse")
    stage.tell(d, "squeegee")
    stage.tell(d, "put_away", charge_pct=70)  # uncharged
    stage.tell(e, "segments", left_um=[5_900, 6_100, 5_200])
    stage.until("2026-03-17T06:40:00Z")
    stage.tell(f, "rinse")
    stage.tell(f, "charge")
    stage.tell(f, "squeegee")
    stage.tell(f, "put_away", charge_pct=55)
    stage.tell(g, "start", who="luis")
    _hand(stage, d, "charge")
    _correct(stage, h)
    _strangers(stage)
    stage.until(MORNING)


def _hand(stage: Stage, code: str, duty: str) -> None:
    alert = stage.alert(code, duty)
    data = {"duty": duty, "opened_by": alert.opened_by, "number": alert.number, "until": "2026-03-17T13:00:00Z"}
    stage.tell(code, "acknowledged", who="lee", **data)


def _correct(stage: Stage, code: str) -> None:
    wrong = stage.tell(code, "hours", meter_s=3_600 * 4_200).entries[0].id
    stage.program.intake.record(
        [
            stage.draft(code, "void", entry=wrong, why="a digit too many"),
            stage.draft(code, "hours", meter_s=3_600 * 420, corrects=wrong),
        ],
        stage.by("ana"),
    )


def _strangers(stage: Stage) -> None:
    for number, words in enumerate(("machine by the gate makes smoke call me please", "hola soy Marta la nueva")):
        stage.program.desk.take(Message(f"stranger-{number}", "text", f"+1902555016{number}", words, stage.now))
    fleet_log = stage.read(stage.program.registry.fleet)
    word = {"site": "north-slip", "word": "gannet"}
    stage.program.intake.record([Draft(stage.ids(), fleet_log, "join_word", word)], stage.by("own"))
    stage.program.desk.take(Message("joins", "text", "+19025550165", "JOIN gannet Marta", stage.now))
