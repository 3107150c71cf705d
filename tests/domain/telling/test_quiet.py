"""Quiet hours and mornings, by the wall clock of whoever is meant; both changes of the clocks, half-hour zones."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.domain.instants import DAY, HOUR, MINUTE, Instant, parse
from logbook.domain.telling.quiet import Span, is_quiet, letter_of, next_letter, span_of
from logbook.domain.wallclock import wall

HALIFAX, ST_JOHNS, LORD_HOWE = (ZoneInfo(n) for n in ("America/Halifax", "America/St_Johns", "Australia/Lord_Howe"))
USUAL = span_of("21:00-06:30")

ZONES = st.sampled_from([HALIFAX, ST_JOHNS, LORD_HOWE, ZoneInfo("UTC")])
SPANS = st.tuples(st.integers(0, 1439), st.integers(0, 1439))
YEAR = st.integers(0, 365 * DAY // MINUTE).map(lambda minute: parse("2026-01-01T00:00:00Z") + minute * MINUTE)


@pytest.mark.parametrize(
    ("zone", "at", "quiet"),
    [
        (HALIFAX, "2026-03-03T00:59:59Z", False),
        (HALIFAX, "2026-03-03T01:00:00Z", True),
        (HALIFAX, "2026-03-03T10:29:59Z", True),
        (HALIFAX, "2026-03-03T10:30:00Z", False),  # the end itself is not quiet
        (ST_JOHNS, "2026-03-03T00:29:59Z", False),  # UTC-3:30
        (ST_JOHNS, "2026-03-03T00:30:00Z", True),
        (ST_JOHNS, "2026-03-03T10:00:00Z", False),
        (HALIFAX, "2026-03-08T09:30:00Z", False),  # summer time since two in the morning
        (HALIFAX, "2026-03-08T09:29:59Z", True),
    ],
)
def test_quiet_hours(zone: ZoneInfo, at: str, quiet: bool) -> None:
    assert is_quiet(USUAL, zone, parse(at)) is quiet


def test_a_span_within_one_day_and_none_at_all() -> None:
    siesta = span_of("13:00-15:00")
    noon = parse("2026-03-03T12:00:00Z")
    assert [is_quiet(siesta, ZoneInfo("UTC"), noon + h * HOUR) for h in (0, 1, 2, 3)] == [False, True, True, False]
    assert not any(is_quiet((0, 0), HALIFAX, noon + h * HOUR) for h in range(24))


@given(SPANS, ZONES, YEAR)
def test_letters_follow_each_other_a_morning_each(span: Span, zone: ZoneInfo, now: Instant) -> None:
    day, due = letter_of(span, zone, now)
    following = next_letter(span, zone, now)
    assert due <= now < following
    assert 22 * HOUR <= following - due <= 26 * HOUR
    assert letter_of(span, zone, following - 1) == (day, due)
    next_day, next_due = letter_of(span, zone, following)
    assert next_due == following
    assert next_day > day
    assert wall(due + DAY // 2, zone).date().isoformat() >= day


@given(SPANS.filter(lambda span: span[0] != span[1]), ZONES, YEAR)
def test_the_letter_comes_when_quiet_ends(span: Span, zone: ZoneInfo, now: Instant) -> None:
    """But where a change of the clocks skips that very minute, or has it twice."""
    due = next_letter(span, zone, now)
    shown = wall(due, zone)
    if shown.hour * 60 + shown.minute == span[1]:
        assert not is_quiet(span, zone, due)
