"""Instants and wall clocks: RFC 3339 in and out, and both kinds of ISO 8601 duration.

It never asks what time it is; a moment is an aware datetime in UTC, a wall-clock time a naive one.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

_EXACT = re.compile(r"PT(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?")
_NOMINAL = re.compile(r"P(?:(\d+)W)?(?:(\d+)D)?")


def parse(text: str) -> datetime:
    """Read an RFC 3339 instant."""
    return datetime.fromisoformat(text).astimezone(UTC)


def show(moment: datetime) -> str:
    """Write an instant in UTC with `Z`, with a fraction only where there is one."""
    stem = moment.strftime("%Y-%m-%dT%H:%M:%S")
    return stem + (f".{moment.microsecond:06d}".rstrip("0") if moment.microsecond else "") + "Z"


def wall(moment: datetime, zone: str) -> datetime:
    """What the clock on the wall shows; which of two equal hours it is, a wall does not show."""
    return moment.astimezone(ZoneInfo(zone)).replace(tzinfo=None, fold=0)


def instant(shown: datetime, zone: str) -> datetime:
    """The instant of a wall-clock time (RFC 5545 section 3.3.5).

    With fold 0, Python reads a skipped time with the offset before the gap and a repeated one as the first
    (PEP 495), which is what the clause asks for.
    """
    return shown.replace(tzinfo=ZoneInfo(zone), fold=0).astimezone(UTC)


def exact(duration: str) -> timedelta:
    """The elapsed time that `PT…` stands for. Raises ValueError for any other form."""
    match = _EXACT.fullmatch(duration)
    if match is None or not any(match.groups()):
        raise ValueError(f"{duration!r} is not an exact duration")
    hours, minutes, seconds = (int(part or 0) for part in match.groups())
    return timedelta(hours=hours, minutes=minutes, seconds=seconds)


def later(moment: datetime, duration: str, zone: str, day_turns: str | bool) -> datetime:
    """`moment` plus a duration: exact, or nominal and then on to the next turn of the day."""
    if duration.startswith("PT"):
        return moment + exact(duration)
    match = _NOMINAL.fullmatch(duration)
    if match is None or not any(match.groups()):
        raise ValueError(f"{duration!r} is no duration, or mixes both forms")
    weeks, days = (int(part or 0) for part in match.groups())
    shown = wall(moment, zone) + timedelta(weeks=weeks, days=days)
    if isinstance(day_turns, str):
        turn = datetime.combine(shown.date(), time.fromisoformat(day_turns))
        shown = turn if turn >= shown else turn + timedelta(days=1)
    return instant(shown, zone)
