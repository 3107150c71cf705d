"""Instants: the one way in which this program writes a moment down.

An `Instant` is a whole number of microseconds since 1970-01-01T00:00:00Z. Whole numbers compare, add and hash
without a zone to forget, survive every database unchanged, and are what the fold of a long log is fastest with.
People never see one: `logbook.domain.calendar` turns it into the wall clock of a site.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

Instant = int
"""Microseconds since the epoch, UTC."""

SECOND = 1_000_000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE
DAY = 24 * HOUR

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)
_FORM = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)[Tt](\d\d):(\d\d):(\d\d)(?:\.(\d{1,6}))?(?:[Zz]|([+-])(\d\d):(\d\d))",
    re.ASCII,
)


def from_datetime(moment: datetime) -> Instant:
    """The instant of an aware datetime. Raises ValueError for a naive one: it names no instant."""
    if moment.tzinfo is None:
        raise ValueError("a time without a zone names no instant")
    return (moment - _EPOCH) // _MICROSECOND


def to_datetime(instant: Instant) -> datetime:
    """The instant as an aware datetime in UTC."""
    return _EPOCH + timedelta(microseconds=instant)


def parse(text: str) -> Instant:
    """Read an RFC 3339 date-time (section 5.6), with at most six digits of a second.

    Raises ValueError for anything else, a leap second and a missing offset included.
    """
    match = _FORM.fullmatch(text)
    if match is None:
        raise ValueError(f"{text!r} is not an RFC 3339 time such as 2026-03-09T09:30:00Z")
    year, month, day, hour, minute, second = (int(part) for part in match.groups()[:6])
    micro = int((match[7] or "").ljust(6, "0"))
    offset = 0
    if match[8]:
        if int(match[9]) > 23 or int(match[10]) > 59:
            raise ValueError(f"{text!r} has an offset that no zone has")
        offset = (int(match[9]) * 60 + int(match[10])) * (-1 if match[8] == "-" else 1)
    moment = datetime(year, month, day, hour, minute, second, micro, tzinfo=UTC)
    return from_datetime(moment) - offset * MINUTE


def text(instant: Instant) -> str:
    """Write an instant in the one canonical form: UTC with `Z`, a fraction only where there is one.

    One form only, because these characters are hashed: `2026-03-09T09:30:00Z`, `2026-03-09T09:30:00.25Z`.
    """
    moment = to_datetime(instant)
    stem = moment.isoformat()[:19]
    micro = instant % SECOND
    if micro == 0:
        return stem + "Z"
    return f"{stem}.{micro:06d}".rstrip("0") + "Z"
