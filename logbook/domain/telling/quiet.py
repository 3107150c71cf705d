"""Quiet hours: when a person is not rung for what can wait, and when their morning letter comes."""

from __future__ import annotations

from datetime import timedelta
from zoneinfo import ZoneInfo

from logbook.domain.calendar import instant_of, minutes_of_day, wall
from logbook.domain.instants import Instant

Span = tuple[int, int]
"""From and to, in minutes of the local day; to before from runs over midnight; equal means never quiet."""


def span_of(text: str) -> Span:
    """Read "21:00-06:30"."""
    first, last = text.split("-")
    return minutes_of_day(first), minutes_of_day(last)


def is_quiet(span: Span, zone: ZoneInfo, now: Instant) -> bool:
    """Whether it is quiet for somebody with this span in this zone. The end itself is not quiet any more."""
    first, last = span
    clock = wall(now, zone)
    minute = clock.hour * 60 + clock.minute
    return first <= minute < last if first <= last else minute >= first or minute < last


def letter_of(span: Span, zone: ZoneInfo, now: Instant) -> tuple[str, Instant]:
    """The latest morning whose letter is due by `now`: its local date, and the instant at which it was due."""
    today = wall(now, zone).replace(hour=0, minute=0, second=0, microsecond=0)
    for day in (today, today - timedelta(days=1)):
        due = instant_of(day + timedelta(minutes=span[1]), zone)
        if due <= now:
            return day.date().isoformat(), due
    raise AssertionError("yesterday's morning is always past")


def next_letter(span: Span, zone: ZoneInfo, now: Instant) -> Instant:
    """When the next morning's letter is due, after `now`."""
    today = wall(now, zone).replace(hour=0, minute=0, second=0, microsecond=0)
    for days in range(3):
        due = instant_of(today + timedelta(days=days, minutes=span[1]), zone)
        if due > now:
            return due
    raise AssertionError("a morning comes within two days")
