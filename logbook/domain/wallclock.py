"""From a moment to the clock on the wall and back.

Promises RFC 5545 section 3.3.5: a wall-clock time that a spring change skips is read with the offset before the
gap, one that an autumn change repeats as the first. It never asks what time it is, and never guesses a zone.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from importlib.resources import files
from zoneinfo import ZoneInfo

from logbook.domain.instants import Instant

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)


_NAME = re.compile(r"[A-Za-z0-9_+-]+(?:/[A-Za-z0-9_+-]+)*", re.ASCII)


@lru_cache(maxsize=1024)
def zone(name: str) -> ZoneInfo:
    """The zone of an IANA name such as `America/Halifax`. Raises ValueError for a name that is none.

    Read from the tzdata package, never from the machine's own zone files: two servers that disagree about a zone
    would disagree about what is overdue.
    """
    if _NAME.fullmatch(name):
        try:
            with files("tzdata.zoneinfo").joinpath(*name.split("/")).open("rb") as data:
                return ZoneInfo.from_file(data, key=name)
        except (OSError, ValueError):
            pass
    raise ValueError(f"{name!r} is not a time zone of the IANA database; write one such as America/Halifax")


def wall(at: Instant, zone: ZoneInfo) -> datetime:
    """What the clock on the wall shows, as a naive datetime. Which of two equal hours it is, a wall does not show."""
    return (_EPOCH + timedelta(microseconds=at)).astimezone(zone).replace(tzinfo=None, fold=0)


def instant_of(wall: datetime, zone: ZoneInfo) -> Instant:
    """The instant of a naive wall-clock time; skipped and repeated times as the module says.

    With fold 0, Python reads a skipped time with the offset before the gap and a repeated one as the first
    (PEP 495), which is what RFC 5545 section 3.3.5 asks for.
    """
    return (wall.replace(tzinfo=zone, fold=0) - _EPOCH) // _MICROSECOND


def minutes_of_day(text: str) -> int:
    """Read `22:00` as minutes of the day. Raises ValueError for anything that is no such time."""
    hours, colon, minutes = text.partition(":")
    if colon and len(hours) == 2 and len(minutes) == 2 and (hours + minutes).isascii() and (hours + minutes).isdigit():
        read = int(hours) * 60 + int(minutes)
        if int(minutes) < 60 and read < 24 * 60:
            return read
    raise ValueError(f"{text!r} is not a time of the day; write it like 06:30 or 22:00")


def show_minutes(minutes: int) -> str:
    """Write minutes of the day as `22:00`."""
    return f"{minutes // 60:02d}:{minutes % 60:02d}"
