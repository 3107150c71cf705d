"""Times of the clock: how they are written, and which moment of which night they mean.

Promises that a time is asked about wherever it could be another one twelve hours off, and on the nights when the
clocks change: 02:30 may not exist, or exist twice. A time without a date is the latest such one that is past.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from logbook.domain import instants
from logbook.domain.instants import HOUR, MINUTE, Instant

AHEAD = 5 * MINUTE
"""Clocks differ: a time this little ahead is now."""
WINDOW = 14 * HOUR
"""How far back a time without a date reaches: one night's work, and the forgetting of it until noon."""

Day = Literal["", "yesterday", "night"]
_COLON = re.compile(r"([0-9]{1,2}):([0-9]{2})")
_DOTTED = re.compile(r"([0-9]{1,2})\.([0-9]{2})")
_RUN = re.compile("([0-9]{1,2})([0-9]{2})")


class RefusedTime(Exception):
    """A time that cannot be used; `reason` is one of the refusals of a reading."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


@dataclass(frozen=True, slots=True)
class Clock:
    """A time as it was said. `open`: neither am nor pm, and written so that it may be either."""

    hour: int
    minute: int
    open: bool
    half: str = ""  # am, pm, morning, night
    day: Day = ""
    nth: int = 0


@dataclass(frozen=True, slots=True)
class Ago:
    """So long before now, in microseconds."""

    back: int


When = Clock | Ago


def clock(text: str, *, marked: bool) -> Clock | None:
    """Read a number as a time of the clock, or None. `marked`: "at" or the like stands by, so an hour alone will do."""
    match = _COLON.fullmatch(text) or _DOTTED.fullmatch(text) or _RUN.fullmatch(text) if len(text) > 2 else None
    if match is not None:
        hour, minute = int(match[1]), int(match[2])
    elif marked and text.isdigit() and len(text) <= 2:
        hour, minute = int(text), 0
    else:
        return None
    if hour > 23 or minute > 59:
        return None
    return Clock(hour, minute, open=1 <= hour <= 12 and not text.startswith("0"))


def has_leading_zero(text: str) -> bool:
    """Whether a number is written as only a time of the clock is: 0510."""
    return len(text) == 4 and text.startswith("0") and text.isdigit() and clock(text, marked=False) is not None


def resolve(when: When, zone: ZoneInfo, now: Instant) -> Instant:
    """The moment that was meant, never after `now`.

    Raises RefusedTime: `ambiguous_time`, `skipped_time`, `future_time`, `too_old`.
    """
    if isinstance(when, Ago):
        if when.back > WINDOW:
            raise RefusedTime("too_old")
        return now - when.back
    when = _by_half(when)
    if when.day:
        return min(_dated(when, zone, now), now)
    if when.open:
        other = replace(when, hour=0 if when.hour == 12 else when.hour + 12)
        if _latest(other, zone, now) is not None or (when.hour == 12 and _latest(when, zone, now) is not None):
            raise RefusedTime("ambiguous_time")
    found = _latest(when, zone, now)
    if found is None:
        raise RefusedTime(_why_none(when, zone, now))
    if found == "skipped":
        raise RefusedTime("skipped_time")
    return min(_one(found, when, now), now)


def _by_half(when: Clock) -> Clock:
    """Settle am and pm, "de la manana" and "de la noche". Raises RefusedTime where they contradict the hour."""
    hour = when.hour
    if when.half in ("am", "pm"):
        if hour == 0 or hour > 12:
            if when.half == "am" and hour > 12:
                raise RefusedTime("ambiguous_time")
        else:
            hour = hour % 12 + (12 if when.half == "pm" else 0)
        return replace(when, hour=hour, open=False)
    if when.half == "morning":
        if hour >= 12:  # "las doce de la manana" is noon to some
            raise RefusedTime("ambiguous_time")
        return replace(when, open=False)
    if when.half == "night":
        if 1 <= hour <= 6:  # "las tres de la noche": before or after midnight's night?
            raise RefusedTime("ambiguous_time")
        if 7 <= hour <= 12:
            hour = (hour + 12) % 24
        return replace(when, hour=hour, open=False)
    return when


def _on(day: date, when: Clock, zone: ZoneInfo) -> list[Instant]:
    """The moments at which a wall clock shows this time on this day: none, one or two."""
    local = datetime(day.year, day.month, day.day, when.hour, when.minute, tzinfo=zone)
    found: list[Instant] = []
    for fold in (0, 1):
        moment = local.replace(fold=fold).astimezone(UTC)
        if moment.astimezone(zone).replace(tzinfo=None) == local.replace(tzinfo=None):
            instant = instants.from_datetime(moment)
            if instant not in found:
                found.append(instant)
    return found


def _would_be(day: date, when: Clock, zone: ZoneInfo) -> Instant:
    """Where a time that the clocks skipped would lie, by the offset before the gap (RFC 5545, 3.3.5)."""
    return instants.from_datetime(datetime(day.year, day.month, day.day, when.hour, when.minute, tzinfo=zone))


def _today(zone: ZoneInfo, now: Instant) -> date:
    return instants.to_datetime(now).astimezone(zone).date()


def _shows(now: Instant, zone: ZoneInfo) -> tuple[date, int, int]:
    """What the clock on the wall shows."""
    wall = instants.to_datetime(now).astimezone(zone)
    return wall.date(), wall.hour, wall.minute


def _latest(when: Clock, zone: ZoneInfo, now: Instant) -> list[Instant] | Literal["skipped"] | None:
    """All past moments of the latest day that has this time within the window; None if there is no such day."""
    limit, floor = now + AHEAD, now - WINDOW
    last = _today(zone, limit)
    for day in (last, last - timedelta(days=1)):
        moments = _on(day, when, zone)
        # A time that was skipped has passed as soon as the clock on the wall is beyond it.
        if not moments and floor <= _would_be(day, when, zone) and _shows(limit, zone) >= (day, when.hour, when.minute):
            return "skipped"
        if any(floor <= moment <= limit for moment in moments):
            return moments
    return None


def _one(moments: list[Instant], when: Clock, now: Instant) -> Instant:
    """The one that was meant of the moments that the wall clock showed this time."""
    past = [moment for moment in moments if moment <= now + AHEAD]
    if not past:
        raise RefusedTime("future_time")
    if when.nth:
        if len(moments) != 2 or when.nth > len(past):
            raise RefusedTime("ambiguous_time")
        return past[when.nth - 1]
    if len(past) != 1:
        raise RefusedTime("ambiguous_time")
    return past[0]


def _why_none(when: Clock, zone: ZoneInfo, now: Instant) -> str:
    """Whether a time outside the window is rather one to come or one long past: the nearer of the two."""
    today = _today(zone, now)
    near = [_would_be(today + timedelta(days=shift), when, zone) for shift in (-1, 0, 1)]
    ahead = min(moment - now for moment in near if moment > now)
    behind = min(now - moment for moment in near if moment <= now)
    return "future_time" if ahead < behind else "too_old"


def _dated(when: Clock, zone: ZoneInfo, now: Instant) -> Instant:
    """A time of yesterday, or of last night: from 18:00 yesterday to 06:00 today."""
    today = _today(zone, now)
    day = today - timedelta(days=1)
    if when.open:  # yesterday's twelve hours are both past
        raise RefusedTime("ambiguous_time")
    if when.day == "night" and when.hour < 18:
        in_the_small_hours = instants.to_datetime(now).astimezone(zone).hour < 6
        if when.hour >= 6 or in_the_small_hours:  # no night hour; or is "last night" this night or the one before?
            raise RefusedTime("ambiguous_time")
        day = today
    moments = _on(day, when, zone)
    if not moments:
        raise RefusedTime("skipped_time")
    return _one(moments, when, now)
