"""What reports say of the made-up nights against the truth of which they were made: each departure, and no other."""

from __future__ import annotations

from collections import Counter

import pytest

from logbook.domain.book import MachineBook
from logbook.domain.fleetentries import register_of
from logbook.domain.fleetfile import FleetFile
from logbook.domain.history_rows import Told
from logbook.domain.instants import parse
from logbook.domain.machine import FOREVER
from logbook.domain.reporting import Alarm, fold, judged
from scenario.generate import entries, make
from scenario.walls import rfc3339

WORDS = {"late": "late", "overtaken": "missed", None: "missed", "excused": "excused", "told_late": "told_late"}


@pytest.mark.parametrize("seed", [7, 11])
def test_every_departure_of_the_made_up_nights_is_reported_and_no_other(seed: int) -> None:
    made = make(seed, 90)
    until = parse(rfc3339(made.until))
    register = register_of(FleetFile.model_validate(made.fleet.raw), -FOREVER)
    lines = list(entries(made))
    departed = 0
    for code in sorted({line["machine"] for line in lines}):
        told: list[Told] = []
        for line in lines:
            if line["machine"] == code:
                recorded = parse(line["recorded_at"])
                at = min(parse(line["occurred_at"]), recorded)
                told.append(
                    Told(len(told) + 1, line["id"], line["kind"], at, recorded, "cleaner", "text", line["data"], {})
                )
        ought: Counter[tuple[str, str, str]] = Counter()
        alerts: dict[tuple[str, str], list[Alarm]] = {}
        for alert in made.truth:
            if alert["machine"] == code:
                key = (alert["duty"], alert["opened_by"])
                own = alerts.setdefault(key, [])
                own.append(Alarm(len(own) + 1, None, parse(alert["raised_at"]), None, alert["outcome"], ()))
        for (duty, opened_by), own in alerts.items():
            if own[-1].outcome in WORDS:
                ought[duty, opened_by, WORDS[own[-1].outcome]] += 1
        book = MachineBook(register, register.by_code[code].uuid)
        found = judged(fold(book, told, until), alerts, until)
        # The truth tells of alerts; what was excused before it was due had none.
        seen = Counter(
            (each.duty.duty, each.duty.opened_by, each.word)
            for each in found
            if each.word not in ("kept", "not_due") and not (each.word == "excused" and not each.alarms)
        )
        assert seen == ought, code
        departed += sum(seen.values())
    assert departed > 60
