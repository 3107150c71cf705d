"""Each of a report's words, worked by hand; and the counts of random histories against the slow reading of the rules."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest

from logbook.domain.book import MachineBook
from logbook.domain.fleetentries import register_of
from logbook.domain.fleetfile import FleetFile
from logbook.domain.history_rows import Told
from logbook.domain.instants import from_datetime, parse
from logbook.domain.machine import FOREVER
from logbook.domain.reporting import Judged, alarms, count, fold, judged
from tests.whole import oracle
from tests.whole.histories import history
from tests.whole.stage import FLEET

SITES = [{"code": "HX", "name": "North Slip", "zone": "America/Halifax"}]
OFF = {f"{duty}": False for duty in ("filter", "squeegee", "watering", "segments", "night")}


def line(place: int, kind: str, at: str, recorded: str | None = None, **data: Any) -> dict[str, Any]:
    return {
        "id": f"e{place}", "machine": "B7H", "kind": kind, "occurred_at": f"2026-03-{at}Z",
        "recorded_at": f"2026-03-{recorded or at}Z", "data": data,
    }  # fmt: skip


BEGUN = line(0, "commissioned", "01T12:00:00", site="HX", battery="flooded")


def told_of(entries: list[dict[str, Any]], machine: str = "B7H") -> list[Told]:
    own = [each for each in entries if each["machine"] == machine]
    seen: set[str] = set()
    found: list[Told] = []
    for each in own:
        if each["id"] in seen:  # the door answers it as the first time, and adds nothing
            continue
        seen.add(each["id"])
        recorded = parse(each["recorded_at"])
        at = min(parse(each["occurred_at"]), recorded)
        found.append(Told(len(found) + 1, each["id"], each["kind"], at, recorded, "cleaner", "text", each["data"], {}))
    return found


def report(entries: list[dict[str, Any]], until: str, policy: dict[str, Any] | None = None) -> list[Judged]:
    file = {**FLEET, "policy": {**OFF, **(policy or {})}, "site": SITES, "person": [],
            "machine": [{"code": "B7H", "site": "HX", "battery": "flooded", "commissioned_at": "2026-03-01T12:00:00Z"}]}  # fmt: skip
    register = register_of(FleetFile.model_validate(file), -FOREVER)
    book = MachineBook(register, register.by_code["B7H"].uuid)
    told, known_at = told_of(entries), parse(f"2026-03-{until}Z")
    return judged(fold(book, told, known_at), alarms(told, known_at), known_at)


def said(found: list[Judged]) -> list[tuple[str, str]]:
    return sorted((each.duty.duty, each.word) for each in found)


NIGHT = [BEGUN, line(1, "start", "02T22:00:00"), line(2, "put_away", "03T03:00:00")]


def test_done_before_it_was_due_is_kept() -> None:
    entries = [*NIGHT, line(3, "rinse", "03T03:10:00"), line(4, "charge", "03T03:30:00")]  # due 03:30, which is in time
    assert said(report(entries, "03T12:00:00")) == [("charge", "kept"), ("rinse", "kept")]


def test_an_instant_after_it_was_due_is_late_and_not_done_is_missed() -> None:
    entries = [*NIGHT, line(3, "rinse", "03T03:30:01")]
    found = report(entries, "03T12:00:00")
    assert said(found) == [("charge", "missed"), ("rinse", "late")]
    assert {each.at for each in found} == {parse("2026-03-03T03:30:00Z")}  # by the instant they were due


def test_before_it_is_due_it_is_not_due_yet() -> None:
    assert said(report(NIGHT, "03T03:29:59")) == [("charge", "not_due"), ("rinse", "not_due")]
    assert said(report(NIGHT, "03T03:30:00")) == [("charge", "missed"), ("rinse", "missed")]


def test_in_time_but_told_after_an_alert_is_told_late() -> None:
    raised = line(5, "alert_raised", "03T03:30:00", duty="rinse", opened_by="e1", number=1,
                  due_at="2026-03-03T03:30:00Z", serial=7)  # fmt: skip
    entries = [*NIGHT, raised, line(6, "rinse", "03T03:05:00", "03T08:00:00"), line(7, "charge", "03T03:06:00",
               "03T08:00:00")]  # fmt: skip
    assert said(report(entries, "03T07:59:59")) == [("charge", "missed"), ("rinse", "missed")]  # so it was known then
    found = report(entries, "03T12:00:00")
    assert said(found) == [("charge", "kept"), ("rinse", "told_late")]
    (rinse,) = [each for each in found if each.duty.duty == "rinse"]
    assert [(alarm.number, alarm.serial, alarm.cleared_at) for alarm in rinse.alarms] == [(1, 7, None)]


def test_an_alert_that_the_log_took_back_is_as_if_it_had_not_been() -> None:
    about = {"duty": "charge", "opened_by": "e1", "number": 1, "due_at": "2026-03-03T03:30:00Z"}
    entries = [
        *NIGHT,
        {**line(3, "alert_raised", "03T03:30:00"), "data": about},
        line(4, "void", "03T03:40:00", entry="e2"),
        {**line(5, "alert_cleared", "03T03:40:00"), "data": {**about, "outcome": "not_due"}},
        line(6, "put_away", "03T05:00:00"), line(7, "charge", "03T05:01:00"), line(8, "rinse", "03T05:02:00"),
    ]  # fmt: skip
    assert said(report(entries, "03T12:00:00")) == [("charge", "kept"), ("rinse", "kept")]


def test_excused_is_never_kept_and_is_judged_at_the_excuse() -> None:
    entries = [
        *NIGHT,
        line(3, "charge", "03T03:20:00"),
        line(4, "excused", "03T03:25:00", duty="rinse", opened_by="e1"),
    ]
    found = report(entries, "03T12:00:00")
    assert said(found) == [("charge", "kept"), ("rinse", "excused")]
    assert [each.at for each in found] == [parse("2026-03-03T03:20:00Z"), parse("2026-03-03T03:25:00Z")]


def test_overtaken_after_it_was_due_is_missed_and_before_is_left_out_unless_it_had_an_alert() -> None:
    again = [line(3, "start", "03T03:20:00"), line(4, "rinse", "03T03:10:00")]
    assert said(report([*NIGHT, *again], "03T03:25:00")) == [
        ("charge", "not_due"),
        ("rinse", "kept"),
        ("rinse", "not_due"),
    ]
    raised = line(5, "alert_raised", "03T03:30:00", duty="charge", opened_by="e1", number=1,
                  due_at="2026-03-03T03:30:00Z")  # fmt: skip
    with_alert = report([*NIGHT, raised, *again], "03T03:40:00")
    assert ("charge", "missed") in said(with_alert)
    after = [line(3, "start", "03T03:40:00"), line(4, "rinse", "03T03:10:00")]
    assert ("charge", "missed") in said(report([*NIGHT, *after], "03T03:45:00"))


def test_what_was_struck_does_not_count_from_then_on() -> None:
    entries = [*NIGHT, line(3, "rinse", "03T03:10:00"), line(4, "charge", "03T03:12:00"),
               line(5, "void", "03T09:00:00", entry="e3")]  # fmt: skip
    assert said(report(entries, "03T08:59:59")) == [("charge", "kept"), ("rinse", "kept")]
    assert said(report(entries, "03T09:00:00")) == [("charge", "kept"), ("rinse", "missed")]


def test_a_correction_keeps_the_name_of_its_duty() -> None:
    entries = [BEGUN, line(1, "put_away", "03T03:00:00"), line(2, "void", "03T04:00:00", entry="e1"),
               line(3, "put_away", "03T02:00:00", "03T04:00:00", corrects="e1")]  # fmt: skip
    found = report(entries, "03T12:00:00")
    assert {(each.duty.opened_by, each.at) for each in found} == {("e1", parse("2026-03-03T02:30:00Z"))}


def test_what_came_with_the_closing_card_is_counted_apart() -> None:
    entries = [*NIGHT, line(3, "rinse", "03T03:00:00", told="card"), line(4, "charge", "03T03:10:00")]
    assert {each.duty.duty: each.card for each in report(entries, "03T12:00:00")} == {"rinse": True, "charge": False}


def test_a_week_over_the_change_of_the_clocks_is_due_by_the_wall_clock() -> None:
    # Halifax goes forward on 8 March 2026: watered Tuesday 3 March 05:10 (UTC-4), due Tuesday 10 March 12:00 (UTC-3).
    entries = [BEGUN, line(1, "watering", "03T09:10:00"), line(2, "watering", "10T15:00:00")]
    policy = {"watering": True}
    words = [each.word for each in report(entries, "10T15:00:00", policy) if each.duty.opened_by == "e1"]
    assert words == ["kept"]
    late = [BEGUN, line(1, "watering", "03T09:10:00"), line(2, "watering", "10T15:00:01")]
    assert [e.word for e in report(late, "10T16:00:00", policy) if e.duty.opened_by == "e1"] == ["late"]


@pytest.mark.parametrize("seed", range(40))
def test_counts_agree_with_the_slow_reading_of_random_histories(seed: int) -> None:
    story = history(seed)
    until = parse(story.until)
    register = register_of(FleetFile.model_validate(story.fleet), -FOREVER)
    written = oracle.replay(story.fleet, story.entries, story.until)
    for machine in {each["machine"] for each in story.entries}:
        raised = [w for w in written if w["machine"] == machine and w["kind"] == "alert_raised"]
        taken_back = {
            (w["duty"], w["opened_by"], w["number"])
            for w in written
            if w["machine"] == machine and w["outcome"] in ("not_due", "withdrawn")
        }
        had = {
            (w["duty"], w["opened_by"]) for w in raised if (w["duty"], w["opened_by"], w["number"]) not in taken_back
        }
        ought: Counter[tuple[str, str]] = Counter()
        for duty in oracle.known_duties(story.fleet, story.entries, machine, story.until):
            due, ended = from_datetime(duty.due), duty.ended
            if ended is None:
                # The slow reading names nights to come; those have not begun.
                if duty.name != "night" or due <= until:
                    ought[(duty.name, "missed" if due <= until else "not_due")] += 1
                continue
            at, how = from_datetime(ended[0]), ended[1]
            if duty.name == "night" and due > until:
                continue
            if how == "excused":
                ought[(duty.name, "excused")] += 1
            elif how == "overtaken":
                if at > due or duty.identity in had:
                    ought[(duty.name, "missed")] += 1
            elif at > due:
                ought[(duty.name, "late")] += 1
            else:
                ought[(duty.name, "told_late" if duty.identity in had else "kept")] += 1
        clocks = [
            {**w, "id": f"w{n}", "recorded_at": w["at"], "occurred_at": w["at"],
             "data": {k: w[k] for k in ("duty", "opened_by", "number", "due_at", "outcome")}}
            for n, w in enumerate(written) if w["machine"] == machine
        ]  # fmt: skip
        lines = [each for each in story.entries if each["machine"] == machine] + clocks
        lines.sort(key=lambda each: parse(each["recorded_at"]))
        told = told_of(lines, machine)
        book = MachineBook(register, register.by_code[machine].uuid)
        found = judged(fold(book, told, until), alarms(told, until), until)
        seen = Counter((e.duty.duty, e.word) for e in found if not (e.duty.duty == "night" and e.duty.due > until))
        assert seen == ought, machine
        assert sum(count(found).values()) == len(found)
