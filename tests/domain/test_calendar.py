"""Durations and wall clocks, against published numbers.

S: seen in a published page. C: computed from the IANA time zone database with Python's zoneinfo.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.domain import instants
from logbook.domain.calendar import (
    Duration,
    after,
    instant_of,
    minutes_of_day,
    parse_duration,
    show_minutes,
    wall,
    zone,
)
from logbook.domain.instants import DAY, HOUR, MINUTE, SECOND

NOON = 12 * 60
ZONES = ["America/Halifax", "America/St_Johns", "Australia/Lord_Howe", "Europe/London", "UTC"]
moments = st.integers(instants.parse("2000-01-01T00:00:00Z"), instants.parse("2040-01-01T00:00:00Z"))


def at(text: str, name: str) -> int:
    return instant_of(datetime.fromisoformat(text), zone(name))


# -- durations --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("PT30M", Duration(micros=30 * MINUTE)),
        ("PT1H30M", Duration(micros=90 * MINUTE)),
        ("PT10H", Duration(micros=10 * HOUR)),
        ("PT15S", Duration(micros=15 * SECOND)),
        ("PT24H", Duration(micros=24 * HOUR)),
        ("PT0S", Duration()),
        ("P7D", Duration(days=7)),
        ("P2W", Duration(days=14)),
        ("P15D", Duration(days=15)),
        ("P7W", Duration(days=49)),  # RFC 5545 section 3.3.6, its second example (S)
    ],
)
def test_durations_are_read(text: str, expected: Duration) -> None:
    assert parse_duration(text) == expected


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("P1M", "months or years"),
        ("P1Y", "months or years"),
        ("P1Y2D", "months or years"),
        ("P1DT2H", "mixes"),
        ("P15DT5H0M20S", "mixes"),  # RFC 5545's first example: legal there, and refused here by our own rule
        ("-PT5M", "sign"),
        ("+P1D", "sign"),
        ("PT1.5H", "fraction"),
        ("", "not an ISO 8601"),
        ("P", "not an ISO 8601"),
        ("PT", "not an ISO 8601"),
        ("7 days", "not an ISO 8601"),
        ("pt30m", "not an ISO 8601"),
        ("PT30M ", "not an ISO 8601"),
        ("PT٣M", "not an ISO 8601"),
        ("PT9999999H", "hundred years"),
        ("P40000D", "hundred years"),
    ],
)
def test_other_durations_are_refused_with_the_reason(text: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        parse_duration(text)


@given(
    st.one_of(
        st.builds(Duration, days=st.integers(1, 36_000)),
        st.builds(lambda s: Duration(micros=s * SECOND), st.integers(0, 10**9)),
    )
)
def test_a_duration_is_read_back_as_it_was_written(duration: Duration) -> None:
    assert parse_duration(duration.text) == duration


def test_a_day_is_not_twenty_four_hours() -> None:
    assert parse_duration("PT24H") != parse_duration("P1D")
    assert parse_duration("PT24H").exact
    assert not parse_duration("P1D").exact


# -- from one moment to a later one ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "day", "hours"),
    [
        ("America/New_York", "2026-03-05", 167),
        ("America/New_York", "2026-10-29", 169),
        ("Europe/London", "2026-03-26", 167),
        ("Europe/London", "2026-10-22", 169),
        ("Australia/Lord_Howe", "2026-04-01", 168.5),
        ("America/Phoenix", "2026-03-05", 168),
        ("America/Phoenix", "2026-10-29", 168),
    ],
)
def test_seven_days_at_ten_in_the_evening(name: str, day: str, hours: float) -> None:
    """RFC 5545 section 3.3.6: a nominal day is not always 24 hours (S); hours per zone (C)."""
    begun = at(f"{day}T22:00", name)
    assert (after(begun, Duration(days=7), zone(name), None) - begun) / HOUR == hours


@pytest.mark.parametrize(
    ("done", "due"),
    [
        # 2026-03-03 is a Tuesday; the clocks go forward on Sunday the 8th. The two examples of the rules.
        ("2026-03-03T05:10", "2026-03-10T12:00"),
        ("2026-03-02T23:30", "2026-03-10T12:00"),
        ("2026-03-03T12:00", "2026-03-10T12:00"),
        ("2026-03-03T12:01", "2026-03-11T12:00"),
        ("2026-03-03T00:00", "2026-03-10T12:00"),
    ],
)
@pytest.mark.parametrize("name", ["America/Halifax", "America/St_Johns"])
def test_what_is_due_in_days_is_due_when_the_day_turns(done: str, due: str, name: str) -> None:
    assert after(at(done, name), Duration(days=7), zone(name), NOON) == at(due, name)


def test_without_a_turn_it_is_due_at_the_same_time_of_the_day() -> None:
    halifax = zone("America/Halifax")
    done = at("2026-03-02T23:30:15", "America/Halifax")
    assert after(done, Duration(days=7), halifax, None) == at("2026-03-09T23:30:15", "America/Halifax")


def test_elapsed_time_knows_no_wall_clock() -> None:
    begun = at("2026-03-07T23:00", "America/Halifax")
    assert after(begun, parse_duration("PT10H"), zone("America/Halifax"), NOON) == begun + 10 * HOUR


@given(moments, st.integers(1, 60), st.sampled_from(ZONES))
def test_a_turn_comes_at_noon_and_within_a_day(begun: int, days: int, name: str) -> None:
    plain = after(begun, Duration(days=days), zone(name), None)
    turned = after(begun, Duration(days=days), zone(name), NOON)
    assert plain <= turned < plain + DAY + HOUR
    assert wall(turned, zone(name)).strftime("%H:%M:%S.%f") == "12:00:00.000000"


# -- clocks that change -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "shown", "instant"),
    [
        # skipped: read with the offset before the gap (RFC 5545 section 3.3.5, S)
        ("America/Halifax", "2026-03-08T02:30", "2026-03-08T06:30:00Z"),
        ("America/St_Johns", "2026-03-08T02:30", "2026-03-08T06:00:00Z"),
        ("Australia/Lord_Howe", "2026-10-04T02:15", "2026-10-03T15:45:00Z"),
        # repeated: read as the first (same section)
        ("America/Halifax", "2026-11-01T01:30", "2026-11-01T04:30:00Z"),
        ("America/St_Johns", "2026-11-01T01:30", "2026-11-01T04:00:00Z"),
        ("Australia/Lord_Howe", "2026-04-05T01:45", "2026-04-04T14:45:00Z"),
        # RFC 5545 section 3.3.5 itself: New York, 11 March 2007, 02:30 is 03:30 EDT; 4 November 2007, 01:30 is EDT
        ("America/New_York", "2007-03-11T02:30", "2007-03-11T07:30:00Z"),
        ("America/New_York", "2007-11-04T01:30", "2007-11-04T05:30:00Z"),
    ],
)
def test_skipped_and_repeated_times(name: str, shown: str, instant: str) -> None:
    assert at(shown, name) == instants.parse(instant)


def test_a_skipped_time_shows_as_the_one_after_the_gap() -> None:
    halifax = zone("America/Halifax")
    assert wall(at("2026-03-08T02:30", "America/Halifax"), halifax) == datetime.fromisoformat("2026-03-08T03:30")


@given(moments, st.sampled_from(ZONES))
def test_the_wall_gives_back_the_moment_or_the_first_of_two(moment: int, name: str) -> None:
    back = instant_of(wall(moment, zone(name)), zone(name))
    assert back == moment or 0 < moment - back <= HOUR
    assert wall(back, zone(name)) == wall(moment, zone(name))


@given(st.datetimes(datetime.fromisoformat("2000-01-01"), datetime.fromisoformat("2040-01-01")), st.sampled_from(ZONES))
def test_a_wall_clock_time_that_exists_comes_back(shown: datetime, name: str) -> None:
    back = wall(instant_of(shown, zone(name)), zone(name))
    assert back == shown or timedelta(0) < back - shown <= timedelta(hours=1)


def test_the_example_of_rfc_3339() -> None:
    """RFC 3339 section 5.8: 1996-12-19T16:39:57-08:00 is 1996-12-20T00:39:57Z (S)."""
    moment = instants.parse("1996-12-19T16:39:57-08:00")
    assert instants.text(moment) == "1996-12-20T00:39:57Z"
    assert wall(moment, zone("America/Los_Angeles")) == datetime.fromisoformat("1996-12-19T16:39:57")


# -- zones and times of the day -----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["Halifax", "America/Nowhere", "", "America", "../UTC", "/etc/localtime", "America/"])
def test_an_unknown_zone_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match="not a time zone"):
        zone(name)


def test_a_zone_is_one_object_with_its_name() -> None:
    assert zone("America/Halifax") is zone("America/Halifax")
    assert zone("America/Halifax").key == "America/Halifax"


@given(st.integers(0, 24 * 60 - 1))
def test_times_of_the_day_come_back(minutes: int) -> None:
    assert minutes_of_day(show_minutes(minutes)) == minutes


@pytest.mark.parametrize("text", ["24:00", "12:60", "1200", "9:00", "12:0", "ab:cd", "", "-1:00", "12:00:00", "٠١:٠٠"])
def test_other_times_of_the_day_are_refused(text: str) -> None:
    with pytest.raises(ValueError, match="time of the day"):
        minutes_of_day(text)
