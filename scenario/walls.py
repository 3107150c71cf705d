"""Clocks on walls, expected nights and whole-day deadlines, reckoned from the standard library alone.

Promises the few forms that the invented fleet uses, and refuses others; it is no general calendar.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

MINUTE = timedelta(minutes=1)
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)
_WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")


def at(zone: ZoneInfo, day: date, clock: str) -> datetime:
    """The UTC moment at which that site's wall shows `clock` (`05:10`) on that local date."""
    return datetime.combine(day, time.fromisoformat(clock), zone).astimezone(UTC)


def shown(moment: datetime, zone: ZoneInfo) -> datetime:
    """What that site's wall shows at a moment."""
    return moment.astimezone(zone)


def noon_after(moment: datetime, days: int, zone: ZoneInfo) -> datetime:
    """So many local days after a moment, and on to the next noon at or after that wall-clock time."""
    wall = shown(moment, zone).replace(tzinfo=None) + days * DAY
    noon = datetime.combine(wall.date(), time(12))
    if wall > noon:
        noon += DAY
    return noon.replace(tzinfo=zone).astimezone(UTC)


def nights(rule: dict[str, Any], first: date, count: int) -> list[date]:
    """The local dates, of `count` from `first` on, on which one rule's nights begin.

    Raises ValueError for a rule that is neither daily nor weekly by named days.
    """
    text = str(rule["rule"])
    if text == "FREQ=DAILY":
        wanted = set(_WEEKDAYS)
    elif match := re.fullmatch(r"FREQ=WEEKLY;BYDAY=((?:[A-Z]{2},?)+)", text):
        wanted = set(match[1].split(","))
    else:
        raise ValueError(f"the scenario has no nights by {text!r}")
    left_out = rule.get("except", [])
    days = [first + number * DAY for number in range(count)]
    return [day for day in days if _WEEKDAYS[day.weekday()] in wanted and day.isoformat() not in left_out]


def rfc3339(moment: datetime) -> str:
    """A moment as the log writes it: UTC, whole seconds."""
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
