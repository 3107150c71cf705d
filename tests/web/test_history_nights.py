"""Nights, noon to noon, worked by hand: what is drawn and what is said, over changes of the clocks and half-hour zones."""

from __future__ import annotations

from datetime import date
from itertools import pairwise
from typing import Any

from logbook.domain.book import MachineBook
from logbook.domain.fleetentries import register_of
from logbook.domain.fleetfile import FleetFile
from logbook.domain.history_rows import Told
from logbook.domain.instants import HOUR, parse
from logbook.domain.reporting import Folded, alarms, fold, judged
from logbook.domain.wallclock import wall, zone
from logbook.web.history import drawing
from logbook.web.history.nights import Night, night_of, nights, noon
from logbook.web.history.saying import Sayer
from logbook.web.history.weeks import WEEKS, year
from logbook.web.pages import words
from tests.whole.stage import FLEET

NIGHTLY = [{"rule": "FREQ=DAILY", "from": "22:00", "to": "06:00"}]
ZONES = {"HX": "America/Halifax", "SJ": "America/St_Johns"}
POLICY = {"filter": False, "squeegee": False, "watering": False, "segments": False}


def told(*lines: tuple[str, str] | tuple[str, str, dict[str, Any]], site: str = "HX") -> list[Told]:
    """(kind, instant, data) of one machine, told as they happened."""
    all_ = [("commissioned", "2026-02-20T16:00:00Z", {"site": site, "battery": "flooded"}), *lines]
    found = []
    for number, (kind, at, *data) in enumerate(all_, 1):
        moment = parse(at)
        found.append(Told(number, f"e{number}", kind, moment, moment, "cleaner", "text", data[0] if data else {}, {}))
    return found


def folded(lines: list[Told], now: str, expected: list[dict[str, str]] | None = None) -> Folded:
    sites = [{"code": code, "name": code, "zone": name, "nights": expected or []} for code, name in ZONES.items()]
    file = {**FLEET, "policy": POLICY, "site": sites, "person": [],
            "machine": [{"code": "B7H", "site": "HX", "battery": "flooded", "commissioned_at": "2026-02-20T16:00:00Z"}]}  # fmt: skip
    register = register_of(FleetFile.model_validate(file), parse("2026-02-01T00:00:00Z"))
    return fold(MachineBook(register, register.by_code["B7H"].uuid), lines, parse(now))


def shown(lines: list[Told], now: str, last: str, how_many: int = 1, expected: Any = None) -> list[Night]:
    known = parse(now)
    all_ = folded(lines, now, expected)
    moves = [(e.occurred_at, e.data["site"]) for e in all_.entries if e.kind in ("commissioned", "moved")]

    def place(at: int) -> str:
        return ZONES[[site for moved, site in moves if moved <= at or moved == moves[0][0]][-1]]

    return nights(
        all_, judged(all_, alarms(lines, known), known), place, zone, known, date.fromisoformat(last), how_many
    )


def said(night: Night, now: str, language: str = "en") -> str:
    return Sayer(words(language, "history"), parse(now)).night(night)


WORK = (("start", "2026-03-04T02:05:00Z"), ("rinse", "2026-03-04T07:00:00Z"), ("charge", "2026-03-04T07:10:00Z"),
        ("put_away", "2026-03-04T07:05:00Z"))  # fmt: skip


def test_an_ordinary_night_in_words_and_bars() -> None:
    (night,) = shown(told(*WORK), "2026-03-04T15:59:00Z", "2026-03-03")
    assert (night.day, night.ends - night.begins) == (date(2026, 3, 3), 24 * HOUR)
    assert [(spell.what, spell.begun, spell.over) for spell in night.spells] == [
        ("work", True, True),
        ("charge", True, False),
    ]
    assert said(night, "2026-03-05T12:00:00Z") == (
        "Worked 22:05 to 03:05, 5 h. 03:00 rinsed; 03:10 put on charge. On charge, as far as is known."
    )
    assert said(night, "2026-03-05T12:00:00Z", "es").startswith("Trabajó de 22:05 a 03:05, 5 h.")
    (line,), _height = drawing.lines([night], drawing.WIDE, lambda each: "", lambda each: "")
    work = line.bars[0]
    assert work.x == round(drawing.WIDE.left + drawing.WIDE.width * (10 * 60 + 5) / 1440, 1)
    assert abs(work.width - drawing.WIDE.width * 300 / 1440) < 0.2


def test_a_night_is_by_noon_and_the_same_wall_clock_where_a_zone_is_half_an_hour_off() -> None:
    assert night_of(parse("2026-03-04T15:59:59Z"), zone("America/Halifax")) == date(2026, 3, 3)
    assert night_of(parse("2026-03-04T16:00:00Z"), zone("America/Halifax")) == date(2026, 3, 4)
    # St John's is half an hour before Halifax: noon there is 15:30 UTC.
    assert noon(date(2026, 3, 4), zone("America/St_Johns")) == parse("2026-03-04T15:30:00Z")
    lines = told(("start", "2026-03-04T01:35:00Z"), ("put_away", "2026-03-04T06:35:00Z"), site="SJ")
    (night,) = shown(lines, "2026-03-04T15:00:00Z", "2026-03-03")
    assert said(night, "2026-03-04T15:00:00Z").startswith("Worked 22:05 to 03:05, 5 h.")
    assert said(night, "2026-03-04T15:00:00Z").endswith("Battery charge missed. Tank rinse missed.")


def test_the_night_on_which_the_clocks_go_forward_is_23_hours_and_says_so() -> None:
    # 8 March 2026, 02:00 in Halifax becomes 03:00: 01:30 is 05:30 UTC, 03:30 is 06:30 UTC.
    lines = told(("start", "2026-03-08T05:30:00Z"), ("put_away", "2026-03-08T06:30:00Z"))
    (night,) = shown(lines, "2026-03-08T18:00:00Z", "2026-03-07")
    assert night.ends - night.begins == 23 * HOUR
    text = said(night, "2026-03-08T18:00:00Z")
    assert text.startswith("Worked 01:30 to 03:30, 1 h.")
    assert text.endswith("The clocks went forward.")


def test_the_night_on_which_they_go_back_tells_the_two_equal_hours_apart() -> None:
    # 1 November 2026, 02:00 in Halifax becomes 01:00: 01:30 comes at 04:30 and at 05:30 UTC.
    lines = told(("start", "2026-11-01T04:30:00Z"), ("put_away", "2026-11-01T05:30:00Z"))
    (night,) = shown(lines, "2026-11-01T17:00:00Z", "2026-10-31")
    assert night.ends - night.begins == 25 * HOUR
    text = said(night, "2026-11-01T17:00:00Z")
    assert text.startswith("Worked 01:30 (first) to 01:30 (second), 1 h.")
    assert text.endswith("The clocks went back.")


def test_what_was_not_told_is_left_open() -> None:
    (night,) = shown(told(("put_away", "2026-03-04T07:00:00Z")), "2026-03-04T15:00:00Z", "2026-03-03")
    assert said(night, "2026-03-04T15:00:00Z").startswith("Put away 03:00; its start was not told.")
    (line,), _height = drawing.lines([night], drawing.WIDE, lambda each: "", lambda each: "")
    assert line.bars[0].open == "left"
    out = told(("start", "2026-03-04T02:00:00Z"))
    (night,) = shown(out, "2026-03-04T05:00:00Z", "2026-03-03")
    assert said(night, "2026-03-04T05:00:00Z") == "Out since 22:00."
    (night,) = shown(out, "2026-03-04T13:00:00Z", "2026-03-03")
    assert said(night, "2026-03-04T13:00:00Z").startswith("Started 22:00; nobody said that it was put away.")


def test_a_silent_night_says_whether_a_word_was_expected() -> None:
    now = "2026-03-06T20:00:00Z"
    assert said(shown(told(), now, "2026-03-03")[0], now) == "No night expected."
    (night,) = shown(told(), now, "2026-03-03", expected=NIGHTLY)
    assert said(night, now) == "Nothing told. Word of the night missed."
    assert [each.duty.duty for each in night.departures] == ["night"]
    (tonight,) = shown(told(), now, "2026-03-06", expected=NIGHTLY)
    assert said(tonight, now) == "Nothing told yet."


def test_nights_before_it_was_in_the_fleet_and_after_the_moment_known_are_not_there() -> None:
    found = shown(told(), "2026-02-22T20:00:00Z", "2026-02-25", 30)
    assert [night.day for night in found] == [date(2026, 2, 20), date(2026, 2, 21), date(2026, 2, 22)]


def test_a_charge_ends_where_it_is_taken_off_or_goes_out_again() -> None:
    lines = told(("charge", "2026-03-03T12:00:00Z"), ("unplug", "2026-03-03T20:00:00Z"), ("charge", "2026-03-03T21:00:00Z"),
                 ("charge", "2026-03-03T22:00:00Z"), ("start", "2026-03-04T02:00:00Z"))  # fmt: skip
    (night,) = shown(lines, "2026-03-04T03:00:00Z", "2026-03-03")
    spells = [(s.begins, s.ends, s.begun) for s in night.spells if s.what == "charge"]
    assert spells == [
        (parse("2026-03-03T16:00:00Z"), parse("2026-03-03T20:00:00Z"), False),
        (parse("2026-03-03T21:00:00Z"), parse("2026-03-04T02:00:00Z"), True),
    ]


def test_a_machine_that_moved_keeps_each_nights_own_clock() -> None:
    lines = told(*WORK, ("moved", "2026-03-04T18:00:00Z", {"site": "SJ"}), ("start", "2026-03-05T01:30:00Z"))
    before, after = shown(lines, "2026-03-05T02:00:00Z", "2026-03-04", 2)
    assert (before.zone, after.zone) == ("America/Halifax", "America/Halifax")  # by where it stood at noon
    after_that = shown(lines, "2026-03-06T02:00:00Z", "2026-03-05")[0]
    assert after_that.zone == "America/St_Johns"


def test_no_two_marks_of_a_line_lie_on_each_other_and_none_falls_out() -> None:
    crowd = [(kind, f"2026-03-04T15:5{number % 10}:00Z") for number, kind in
             enumerate(("empty", "rinse", "watering", "segment_change", "fault", "empty", "rinse"))]  # fmt: skip
    lines = told(*[(kind, at, {}) for kind, at in crowd])
    (night,) = shown(lines, "2026-03-04T15:59:30Z", "2026-03-03")
    for plan in (drawing.WIDE, drawing.NARROW):
        (line,), _height = drawing.lines([night], plan, lambda each: "x" * 300, lambda each: "")
        places = [mark.x for mark in line.marks]
        assert len(places) == 7
        assert all(after - before >= plan.gap - 0.2 for before, after in pairwise(places))
        assert plan.left <= places[0]
        assert places[-1] <= plan.left + plan.width
        assert line.said_x >= plan.left


def test_weeks_turn_on_monday_noon_and_show_the_worst_word() -> None:
    # Sunday night belongs to the week that began on Monday the 2nd; Monday 9 March 12:00 begins the next.
    lines = told(
        ("start", "2026-03-09T02:00:00Z"), ("put_away", "2026-03-09T05:00:00Z"), ("rinse", "2026-03-09T05:40:00Z"),
        ("charge", "2026-03-09T05:10:00Z"), ("start", "2026-03-10T02:00:00Z"), ("put_away", "2026-03-10T05:00:00Z"),
        ("rinse", "2026-03-10T05:10:00Z"), ("start", "2026-03-11T02:00:00Z"),
    )  # fmt: skip
    all_ = folded(lines, "2026-03-11T03:00:00Z")
    known = parse("2026-03-11T03:00:00Z")
    found = year(judged(all_, alarms(lines, known), known), zone("America/Halifax"), known)
    assert (len(found.mondays), found.mondays[-1]) == (WEEKS, date(2026, 3, 9))
    assert {row.duty: [(cell.week, cell.worst) for cell in row.cells] for row in found.rows} == {
        "rinse": [(50, "late"), (51, "kept")],
        "charge": [(50, "kept"), (51, "missed")],
    }
    # Of the last use nothing is due yet: 22:00 or so, and ten hours and a half to go.
    assert {row.duty: (row.on_time, row.all, row.counts["not_due"]) for row in found.rows} == {
        "rinse": (1, 2, 1), "charge": (1, 2, 1),
    }  # fmt: skip
    assert (found.on_time, found.all, found.standing) == (2, 4, 0)
    assert [each.word for each in found.departures] == ["missed", "late"]
    assert wall(found.begins, zone("America/Halifax")).hour == 12
