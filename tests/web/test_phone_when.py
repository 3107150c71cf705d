"""When it happened: minutes ago, the latest such clock time, and the two nights a year that have no plain answer."""

from __future__ import annotations

import pytest

from logbook.domain.instants import MINUTE, parse, text
from logbook.web.phone.when import NO_TIME, SKIPPED, TOO_FAR, TWICE, NoSuchTime, moment, repeats

HALIFAX = "America/Halifax"
NOW = parse("2026-03-03T09:12:00Z")  # 05:12 in Halifax


def test_now_and_minutes_ago() -> None:
    assert moment("", "", HALIFAX, NOW) is None
    assert moment("0", "", HALIFAX, NOW) is None
    assert moment("15", "", HALIFAX, NOW) == NOW - 15 * MINUTE


@pytest.mark.parametrize(
    ("at", "meant"),
    [
        ("05:10", "2026-03-03T09:10:00Z"),
        ("23:30", "2026-03-03T03:30:00Z"),  # last night
        ("05:15", "2026-03-03T09:12:00Z"),  # a clock that is three minutes fast
        ("15:12", "2026-03-02T19:12:00Z"),  # 14 hours ago to the minute
    ],
)
def test_a_clock_time_is_the_latest_such_time(at: str, meant: str) -> None:
    found = moment("30", at, HALIFAX, NOW)
    assert found is not None
    assert text(found) == meant


def test_just_before_midnight_a_fast_clock_is_already_in_tomorrow() -> None:
    now = parse("2026-03-03T03:58:00Z")  # 23:58
    assert moment("", "00:01", HALIFAX, now) == now


@pytest.mark.parametrize(
    ("ago", "at", "now", "sentence"),
    [
        ("", "05:18", "2026-03-03T09:12:00Z", TOO_FAR),
        ("", "15:11", "2026-03-03T09:12:00Z", TOO_FAR),
        ("", "25:00", "2026-03-03T09:12:00Z", NO_TIME),
        ("", "'; drop", "2026-03-03T09:12:00Z", NO_TIME),
        ("7", "", "2026-03-03T09:12:00Z", NO_TIME),
        ("-5", "", "2026-03-03T09:12:00Z", NO_TIME),
        ("", "02:30", "2026-03-08T09:00:00Z", SKIPPED),
        ("", "01:30", "2026-11-01T09:00:00Z", TWICE),
    ],
)
def test_what_names_no_time_is_said_to(ago: str, at: str, now: str, sentence: str) -> None:
    with pytest.raises(NoSuchTime) as refused:
        moment(ago, at, HALIFAX, parse(now))
    assert refused.value.sentence == sentence


def test_of_a_repeated_hour_the_one_that_has_come_is_meant() -> None:
    # 1 November 2026: 01:10 came at 04:10Z, and comes again at 05:10Z.
    assert moment("", "01:10", HALIFAX, parse("2026-11-01T04:30:00Z")) == parse("2026-11-01T04:10:00Z")


def test_of_a_time_that_came_twice_the_one_that_was_chosen_is_meant() -> None:
    # 01:30 came at 04:30Z and at 05:30Z.
    now = parse("2026-11-01T09:00:00Z")
    assert moment("", "01:30", HALIFAX, now, "1") == parse("2026-11-01T04:30:00Z")
    assert moment("", "01:30", HALIFAX, now, "2") == parse("2026-11-01T05:30:00Z")
    assert moment("", "03:30", HALIFAX, now, "1") == parse("2026-11-01T07:30:00Z")  # came once: nothing to choose
    with pytest.raises(NoSuchTime):
        moment("", "01:30", HALIFAX, now, "3")


@pytest.mark.parametrize(
    ("now", "asked"),
    [
        ("2026-11-01T00:00:00Z", True),  # 21:00 before it: the page is kept on the phone from then on
        ("2026-11-01T09:00:00Z", True),
        ("2026-11-02T00:00:00Z", False),
        ("2026-03-08T09:00:00Z", False),  # the spring night skips, and repeats nothing
    ],
)
def test_which_of_two_is_asked_on_that_night_alone(now: str, asked: bool) -> None:
    assert repeats(HALIFAX, parse(now)) is asked
