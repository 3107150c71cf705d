"""The calendar: ISO 8601 durations, the way from a moment to a later one, and the nights that are expected.

Promises the arithmetic of RFC 5545 section 3.3.6: an exact duration (`PT…`) is elapsed time, a nominal one (`P…D`,
`P…W`) is the same wall-clock time that many local days later, because a day is not always 24 hours.
It never asks what time it is, and never mixes the two. Clocks on walls are read in `logbook.domain.wallclock`,
recurring nights in `logbook.domain.nights`; both are offered here again, so that one import is enough.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import timedelta
from zoneinfo import ZoneInfo

from logbook.domain.instants import HOUR, MINUTE, SECOND, Instant
from logbook.domain.nights import Night, Nights
from logbook.domain.wallclock import instant_of, minutes_of_day, show_minutes, wall, zone

__all__ = [
    "Duration", "Night", "Nights", "after", "instant_of", "minutes_of_day", "parse_duration", "show_minutes", "wall",
    "zone",
]  # fmt: skip

_EXACT = re.compile(r"PT(?:(\d{1,9})H)?(?:(\d{1,9})M)?(?:(\d{1,9})S)?", re.ASCII)
_NOMINAL = re.compile(r"P(?:(\d{1,9})W)?(?:(\d{1,9})D)?", re.ASCII)
_LONGEST_DAYS = 36_525
_INSTEAD = "write elapsed time like PT30M or PT1H30M, or whole local days like P7D or P2W"


@dataclass(frozen=True, slots=True)
class Duration:
    """A length of time: exact, in `micros`, or nominal, in local `days`; never both."""

    micros: int = 0
    days: int = 0

    @property
    def exact(self) -> bool:
        """Whether it is elapsed time, the same everywhere and on every day of the year."""
        return self.days == 0

    @property
    def text(self) -> str:
        """The one canonical way of writing it: `PT1H30M`, `P14D`, `PT0S`. Hours are never gathered into days."""
        if self.days:
            return f"P{self.days}D"
        hours, rest = divmod(self.micros // SECOND, 3600)
        minutes, seconds = divmod(rest, 60)
        parts = ((hours, "H"), (minutes, "M"), (seconds, "S"))
        return "PT" + ("".join(f"{number}{unit}" for number, unit in parts if number) or "0S")


def parse_duration(text: str) -> Duration:
    """Read an ISO 8601 duration: `PT30M`, `PT1H30M`, `PT10H`, `P7D`, `P2W` (a week is seven days).

    Raises ValueError, with a sentence that says why, for months and years (their length is nobody's agreement),
    for a mix of days and hours, for fractions, signs, nothing at all, and more than a hundred years.
    """
    if match := _EXACT.fullmatch(text):
        if any(match.groups()):
            hours, minutes, seconds = (int(part or 0) for part in match.groups())
            micros = hours * HOUR + minutes * MINUTE + seconds * SECOND
            if micros <= _LONGEST_DAYS * 24 * HOUR:
                return Duration(micros=micros)
            raise ValueError(f"{text!r} is longer than a hundred years")
    elif (match := _NOMINAL.fullmatch(text)) and any(match.groups()):
        weeks, days = (int(part or 0) for part in match.groups())
        if weeks * 7 + days <= _LONGEST_DAYS:
            return Duration(days=weeks * 7 + days)
        raise ValueError(f"{text!r} is longer than a hundred years")
    raise ValueError(f"{text!r} {_why_not(text)}; {_INSTEAD}")


def _why_not(text: str) -> str:
    """What is wrong with a text that is no duration we take."""
    date, clock, _time = text.partition("T")
    if text.startswith(("-", "+")):
        return "has a sign, and a duration here has none"
    if not text.startswith("P"):
        return "is not an ISO 8601 duration"
    if re.search(r"\d[YM]", date):
        return "counts months or years, which are not always the same length"
    if clock and re.search(r"\d", date):
        return "mixes local days with elapsed time"
    if re.search(r"\d[.,]\d", text):
        return "has a fraction"
    return "is not an ISO 8601 duration"


def after(at: Instant, duration: Duration, zone: ZoneInfo, day_turns: int | None) -> Instant:
    """The instant that lies a duration after `at`.

    Exact: that much elapsed time. Nominal: the same wall-clock time that many local days later and, unless
    `day_turns` is None, then on to the next turn of the day (minutes of the local day) at or after it: a night's
    work belongs to one day, whether it was done at 23:30 or at 05:10.
    """
    if not duration.days:
        return at + duration.micros
    shown = wall(at, zone) + timedelta(days=duration.days)
    if day_turns is not None:
        turn = shown.replace(hour=day_turns // 60, minute=day_turns % 60, second=0, microsecond=0)
        shown = turn if turn >= shown else turn + timedelta(days=1)
    return instant_of(shown, zone)
