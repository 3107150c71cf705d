"""Expected nights: RFC 5545 recurrences on local dates.

S: seen in RFC 5545. C: computed from the IANA time zone database with Python's zoneinfo.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

import pytest
from dateutil.rrule import rrulestr
from hypothesis import given
from hypothesis import strategies as st

from logbook.domain import instants
from logbook.domain.calendar import Nights, instant_of, wall, zone
from logbook.domain.entries.fleet import NightRule
from logbook.domain.instants import DAY, HOUR, parse

FOREVER = 2**62


def rule(text: str, begins: str = "22:00", ends: str = "06:00", left_out: list[str] | None = None) -> NightRule:
    said: dict[str, Any] = {"rule": text, "from": begins, "to": ends, "except": left_out or []}
    return NightRule.model_validate(said)


def nights(*rules: NightRule, name: str = "America/Halifax") -> Nights:
    return Nights(rules, zone(name))


def dates(calendar: Nights, first: str, last: str) -> list[str]:
    found = calendar.between(parse(f"{first}T00:00:00Z") - DAY, parse(f"{last}T00:00:00Z") + 2 * DAY)
    return [night.date for night in found if first <= night.date <= last]


@pytest.mark.parametrize(
    ("date_", "hours"), [("2026-03-06", 8), ("2026-03-07", 7), ("2026-10-31", 9), ("2026-11-01", 8)]
)
def test_a_night_is_as_long_as_the_clock_change_makes_it(date_: str, hours: int) -> None:
    """22:00 to 06:00 in New York on 7 March 2026 is 7 h, on 31 October 9 h (C)."""
    (night,) = [n for n in nights(rule("FREQ=DAILY"), name="America/New_York").between(
        parse("2026-01-01T00:00:00Z"), parse("2026-12-31T00:00:00Z")) if n.date == date_]  # fmt: skip
    assert (night.ends - night.begins) / HOUR == hours


def test_the_daily_example_of_rfc_5545() -> None:
    """Section 3.8.5.3, daily until 24 December 1997, from 2 September 1997 09:00 New York: 113 events (S, C)."""
    until = "FREQ=DAILY;UNTIL=19971224T000000Z"
    with_start = nights(rule(f"DTSTART:19970902\nRRULE:{until}", "09:00", "10:00"), name="America/New_York")
    found = with_start.between(parse("1990-01-01T00:00:00Z"), parse("2030-01-01T00:00:00Z"))
    assert len(found) == 113
    assert (found[0].date, found[-1].date) == ("1997-09-02", "1997-12-23")
    without = nights(rule(until, "09:00", "10:00"), name="America/New_York")
    assert without.between(parse("1997-09-02T00:00:00Z"), parse("2030-01-01T00:00:00Z")) == found


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # RFC 5545 section 3.8.5.3 (S); all begin on 2 September 1997, 09:00
        ("FREQ=DAILY;INTERVAL=10;COUNT=5", ["1997-09-02", "1997-09-12", "1997-09-22", "1997-10-02", "1997-10-12"]),
        ("FREQ=WEEKLY;INTERVAL=2;WKST=SU;COUNT=4", ["1997-09-02", "1997-09-16", "1997-09-30", "1997-10-14"]),
        ("FREQ=WEEKLY;COUNT=4;WKST=SU;BYDAY=TU,TH", ["1997-09-02", "1997-09-04", "1997-09-09", "1997-09-11"]),
        ("FREQ=MONTHLY;COUNT=3;BYDAY=TU,WE,TH;BYSETPOS=3", ["1997-09-04", "1997-10-07", "1997-11-06"]),
        ("FREQ=MONTHLY;COUNT=4;BYMONTHDAY=2,15", ["1997-09-02", "1997-09-15", "1997-10-02", "1997-10-15"]),
        ("FREQ=YEARLY;INTERVAL=3;COUNT=3;BYYEARDAY=1,100,200", ["2000-01-01", "2000-04-09", "2000-07-18"]),
    ],
)
def test_other_examples_of_rfc_5545(text: str, expected: list[str]) -> None:
    calendar = nights(rule(f"DTSTART:19970902\nRRULE:{text}", "09:00", "10:00"), name="America/New_York")
    found = calendar.between(parse("1997-01-01T00:00:00Z"), parse("2009-01-01T00:00:00Z"))
    assert [night.date for night in found][: len(expected)] == expected


@pytest.mark.parametrize(
    ("text", "first", "last", "expected"),
    [
        ("FREQ=WEEKLY;BYDAY=MO,WE,FR", "2026-03-01", "2026-03-08", ["2026-03-02", "2026-03-04", "2026-03-06"]),
        # What DTSTART would say is taken from 2001-01-01: a Monday, the first of its month and year.
        ("FREQ=WEEKLY", "2026-03-01", "2026-03-15", ["2026-03-02", "2026-03-09"]),
        ("FREQ=MONTHLY", "2026-03-01", "2026-04-30", ["2026-03-01", "2026-04-01"]),
        ("FREQ=YEARLY", "2025-06-01", "2027-06-01", ["2026-01-01", "2027-01-01"]),
        ("FREQ=YEARLY;BYMONTH=7", "2025-06-01", "2027-06-01", ["2025-07-01", "2026-07-01"]),
        ("RRULE:FREQ=MONTHLY;BYDAY=-1FR", "2026-01-01", "2026-03-31", ["2026-01-30", "2026-02-27", "2026-03-27"]),
        ("FREQ=DAILY;BYMONTH=2;BYMONTHDAY=29", "2023-01-01", "2029-01-01", ["2024-02-29", "2028-02-29"]),
        ("FREQ=DAILY;UNTIL=20260302", "2026-02-28", "2026-03-05", ["2026-02-28", "2026-03-01", "2026-03-02"]),
        ("FREQ=DAILY;UNTIL=20260302T210000", "2026-03-01", "2026-03-05", ["2026-03-01"]),
        # Every second week from the week of 2001-01-01: 2026-03-02 lies 1313 weeks later, an odd number.
        ("FREQ=WEEKLY;INTERVAL=2;BYDAY=MO", "2026-03-01", "2026-03-30", ["2026-03-09", "2026-03-23"]),
        ("dtstart:20260302\nfreq=weekly;interval=2;byday=mo", "2026-02-01", "2026-03-20", ["2026-03-02", "2026-03-16"]),
        # A set of days in a week that the new year cuts in two is still one set.
        (
            "FREQ=WEEKLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-1", "2026-12-25", "2027-01-09",
            ["2026-12-25", "2027-01-01", "2027-01-08"],
        ),
    ],
)  # fmt: skip
def test_rules_are_read(text: str, first: str, last: str, expected: list[str]) -> None:
    assert dates(nights(rule(text)), first, last) == expected


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("FREQ=HOURLY", "needs FREQ"),
        ("BYDAY=MO", "needs FREQ"),
        ("FREQ=DAILY;BYHOUR=3", "BYHOUR"),
        ("FREQ=DAILY;BYEASTER=0", "BYEASTER"),
        ("FREQ=DAILY;COUNT=3", "DTSTART"),
        ("DTSTART:20260302\nFREQ=DAILY;COUNT=3;UNTIL=20260401", "keep one"),
        ("FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30", "do not have"),
        ("FREQ=MONTHLY;BYMONTHDAY=31;BYMONTH=4,6", "do not have"),
        ("FREQ=WEEKLY;BYMONTHDAY=3", "does not go"),
        ("FREQ=WEEKLY;BYDAY=1MO", "numbered"),
        ("FREQ=MONTHLY;BYWEEKNO=3", "does not go"),
        ("FREQ=DAILY;INTERVAL=0", "below 1"),
        ("FREQ=DAILY;INTERVAL=99999", "ten thousand"),
        ("FREQ=DAILY;INTERVAL=x", "no number"),
        ("FREQ=YEARLY;BYMONTH=13", "no year has"),
        ("FREQ=YEARLY;BYMONTH=-1", "below 1"),
        ("FREQ=WEEKLY;BYDAY=XX", "cannot be read"),
        ("FREQ=DAILY;FREQ=DAILY", "twice"),
        ("FREQ=DAILY;UNTIL=tomorrow", "UNTIL"),
        ("FREQ=DAILY;UNTIL=20261340", "UNTIL"),
        ("DTSTART:20261340\nFREQ=DAILY", "not a date"),
        ("EXDATE:20260302\nFREQ=DAILY", "one line before"),
        ("FREQ=YEARLY;INTERVAL=4;BYMONTH=2;BYMONTHDAY=29", "no night at all"),  # 2001, 2005, … never leap
        ("every day", "no recurrence"),
    ],
)
def test_bad_rules_are_refused_with_a_sentence(text: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        nights(rule(text))


def test_bad_exceptions_are_refused() -> None:
    with pytest.raises(ValueError, match="2026-02-30"):
        nights(rule("FREQ=DAILY", left_out=["2026-02-30"]))


def test_exceptions_leave_out_their_night() -> None:
    calendar = nights(rule("FREQ=DAILY", left_out=["2026-12-25"]))
    assert dates(calendar, "2026-12-24", "2026-12-26") == ["2026-12-24", "2026-12-26"]


def test_a_night_within_one_day_ends_on_it() -> None:
    calendar = nights(rule("FREQ=DAILY", "01:00", "05:00"))
    (night,) = calendar.between(parse("2026-06-01T03:59:59Z"), parse("2026-06-01T04:00:00Z"))
    assert night.date == "2026-06-01"
    assert night.ends - night.begins == 4 * HOUR


def test_equal_ends_are_a_whole_day() -> None:
    night = nights(rule("FREQ=DAILY", "06:00", "06:00")).first_after(parse("2026-06-01T00:00:00Z"))
    assert night is not None
    assert night.ends - night.begins == DAY


def test_a_date_named_twice_is_one_night_from_the_earliest_to_the_latest() -> None:
    both = nights(rule("FREQ=DAILY", "22:00", "04:00"), rule("FREQ=WEEKLY;BYDAY=FR", "23:00", "06:00"))
    found = both.between(parse("2026-06-05T00:00:00Z"), parse("2026-06-06T02:00:00Z"))
    halifax = zone("America/Halifax")
    assert [(n.date, wall(n.begins, halifax).hour, wall(n.ends, halifax).hour) for n in found] == [
        ("2026-06-04", 22, 4),
        ("2026-06-05", 22, 6),
    ]


def test_a_night_in_a_skipped_hour_never_ends_before_it_begins() -> None:
    night = nights(rule("FREQ=DAILY", "02:30", "03:00")).first_after(parse("2026-03-08T04:00:00Z"))
    assert night is not None
    assert night.date == "2026-03-08"
    assert night.ends == night.begins


# -- asking -----------------------------------------------------------------------------------------------------------

DAILY = nights(rule("FREQ=DAILY"))
BEGINS = parse("2026-06-02T01:00:00Z")  # 22:00 in Halifax on 1 June


def test_first_after_is_strictly_after() -> None:
    before, at = DAILY.first_after(BEGINS - 1), DAILY.first_after(BEGINS)
    assert before is not None
    assert at is not None
    assert (before.date, at.date) == ("2026-06-01", "2026-06-02")


def test_between_leaves_out_its_beginning_and_takes_its_end() -> None:
    assert [night.date for night in DAILY.between(BEGINS, BEGINS + DAY)] == ["2026-06-02"]
    assert DAILY.between(BEGINS, BEGINS) == []


def test_around_is_the_night_going_on() -> None:
    going_on = DAILY.around(BEGINS)
    assert going_on is not None
    assert going_on.date == "2026-06-01"
    assert DAILY.around(BEGINS - 1) is None
    assert DAILY.around(BEGINS + 8 * HOUR - 1) == going_on
    assert DAILY.around(BEGINS + 8 * HOUR) is None


def test_around_takes_the_later_of_two_that_overlap() -> None:
    both = nights(rule("FREQ=WEEKLY;BYDAY=MO", "20:00", "12:00"), rule("FREQ=WEEKLY;BYDAY=TU", "01:00", "05:00"))
    inside = both.around(parse("2026-06-02T05:00:00Z"))
    later = both.around(parse("2026-06-02T12:00:00Z"))
    assert inside is not None
    assert later is not None
    assert (inside.date, later.date) == ("2026-06-02", "2026-06-01")


def test_a_rule_that_is_over_has_no_next_night() -> None:
    over = nights(rule("FREQ=DAILY;UNTIL=20260301"))
    assert over.first_after(parse("2026-06-01T00:00:00Z")) is None
    counted = nights(rule("DTSTART:20260302\nFREQ=DAILY;COUNT=3"))
    assert counted.first_after(parse("2026-06-01T00:00:00Z")) is None


def test_instants_without_end_are_answered() -> None:
    assert DAILY.first_after(-FOREVER) is not None
    assert nights(rule("FREQ=DAILY;UNTIL=20260301")).first_after(FOREVER) is None


RULES = ["FREQ=DAILY", "FREQ=WEEKLY;BYDAY=SA,SU", "FREQ=MONTHLY;BYDAY=2TU", "FREQ=WEEKLY;INTERVAL=3;BYDAY=MO,TH"]


@given(
    st.integers(parse("2010-01-01T00:00:00Z"), parse("2035-01-01T00:00:00Z")),
    st.sampled_from(RULES),
    st.sampled_from(["America/Halifax", "America/St_Johns", "Australia/Lord_Howe"]),
)
def test_the_three_questions_agree(at: int, text: str, name: str) -> None:
    calendar = nights(rule(text, "23:30", "07:15"), name=name)
    following = calendar.first_after(at)
    assert following is not None
    assert following.begins > at
    assert calendar.between(at, following.begins) == [following]
    assert calendar.around(following.begins) == following
    assert wall(following.begins, zone(name)).date().isoformat() == following.date


@given(st.dates(date(2005, 1, 1), date(2035, 1, 1)), st.sampled_from(RULES))
def test_years_worked_out_one_by_one_name_the_dates_of_the_whole(day: date, text: str) -> None:
    """The same dates as python-dateutil counts from 2001-01-01 in one go."""
    midnight = datetime.fromisoformat(day.isoformat())
    whole = rrulestr(text, dtstart=datetime.fromisoformat("2001-01-01"))
    named = bool(whole.between(midnight, midnight, inc=True))
    begins = instant_of(midnight + timedelta(hours=22), zone("America/Halifax"))
    assert bool(nights(rule(text)).between(begins - 1, begins)) is named


def test_instants_are_what_they_seem() -> None:
    assert instants.text(BEGINS) == "2026-06-02T01:00:00Z"
