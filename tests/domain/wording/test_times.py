"""Wall-clock words, summer time included. Sources beside the checks where there are some."""

from __future__ import annotations

import pytest

from logbook.domain.instants import DAY, HOUR, MINUTE, Instant, parse
from logbook.domain.wording import times

ST_JOHNS = "America/St_Johns"
NOON = parse("2026-03-10T14:30:00Z")  # 12:00 in St. John's, after the change of 8 March


def test_a_day_and_its_clock_in_both_languages() -> None:
    assert times.day_clock(NOON, ST_JOHNS, "en") == "Tue 10 Mar 12:00"
    assert times.day_clock(NOON, ST_JOHNS, "es") == "mar 10 mar 12:00"


def test_two_zones_half_an_hour_apart() -> None:
    assert times.clock(NOON, "America/Halifax", "en") == "11:30"
    assert times.clock(NOON, ST_JOHNS, "en") == "12:00"


@pytest.mark.parametrize(
    ("at", "shown"),
    [
        # IANA tzdata: St. John's is at -03:30 in winter, at -02:30 from 2026-03-08 02:00 to 2026-11-01 02:00.
        ("2026-03-08T05:29:00Z", "01:59"),
        ("2026-03-08T05:30:00Z", "03:00"),
        ("2026-11-01T03:29:00Z", "00:59"),
        ("2026-11-01T03:45:00Z", "01:15 (first)"),
        ("2026-11-01T04:45:00Z", "01:15 (second)"),
        ("2026-11-01T05:30:00Z", "02:00"),
    ],
)
def test_the_hour_that_is_skipped_and_the_one_that_comes_twice(at: str, shown: str) -> None:
    assert times.clock(parse(at), ST_JOHNS, "en") == shown


def test_which_of_two_hours_in_spanish() -> None:
    assert times.clock(parse("2026-11-01T04:45:00Z"), ST_JOHNS, "es") == "01:15 (segunda vez)"


def test_today_needs_no_day_and_another_day_does() -> None:
    now = parse("2026-03-10T09:40:00Z")  # 06:40 on the 10th in Halifax
    halifax = "America/Halifax"
    assert times.moment(parse("2026-03-10T08:42:00Z"), halifax, "en", now) == "05:42"
    assert times.moment(parse("2026-03-10T02:59:00Z"), halifax, "en", now) == "Mon 9 Mar 23:59"
    assert times.moment(parse("2026-03-10T03:00:00Z"), halifax, "en", now) == "00:00"
    assert times.moment(parse("2025-12-31T12:00:00Z"), halifax, "en", now) == "Wed 31 Dec 2025 08:00"
    assert times.moment(parse("2025-12-31T12:00:00Z"), halifax, "es", now) == "mié 31 dic 2025 08:00"


def test_since() -> None:
    now, at = parse("2026-03-10T09:40:00Z"), parse("2026-03-10T08:42:00Z")
    assert times.since(at, "America/Halifax", "en", now) == "since 05:42"
    assert times.since(at, "America/Halifax", "es", now) == "desde 05:42"


def test_the_day_of_a_night() -> None:
    assert times.day("2026-03-07", "en") == "Sat 7 Mar"
    assert times.day("2026-03-07", "es") == "sáb 7 mar"
    with pytest.raises(ValueError, match="7 March"):
        times.day("7 March", "en")


@pytest.mark.parametrize(
    ("micros", "en", "es"),
    [
        (-MINUTE, "0 min", "0 min"),
        (59 * MINUTE + 59_999_999, "59 min", "59 min"),
        (HOUR, "1 h", "1 h"),
        (9 * HOUR + 20 * MINUTE, "9 h 20 min", "9 h 20 min"),
        (47 * HOUR + 5 * MINUTE, "47 h 5 min", "47 h 5 min"),
        (2 * DAY, "2 days", "2 días"),
        (3 * DAY + 4 * HOUR + 59 * MINUTE, "3 days 4 h", "3 días 4 h"),
    ],
)
def test_elapsed_time(micros: Instant, en: str, es: str) -> None:
    assert (times.span(micros, "en"), times.span(micros, "es")) == (en, es)


def test_a_time_of_no_site_is_utc_and_says_so() -> None:
    assert times.utc(NOON) == "2026-03-10 14:30 UTC"


def test_a_zone_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="Atlantis"):
        times.clock(NOON, "America/Atlantis", "en")
