"""Expected nights: RFC 5545 recurrences of local dates, with wall-clock from and to.

A rule says on which local dates a night *begins*; the night ends on the same date, or on the next when `to` is not
later than `from`. Rules count from 2001-01-01, a Monday and the first of its month and year, unless a rule brings
its own start, in the two lines of RFC 5545: `DTSTART:20260302` and `RRULE:FREQ=WEEKLY;INTERVAL=2`. So `FREQ=WEEKLY`
alone means Mondays, every second week is counted from the week of that Monday, and `COUNT` needs a start of its own.
Several rules are merged: a date named twice is one night, from the earliest beginning to the latest end.
It never knows which machine is meant, or whether anybody came.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Protocol, cast
from zoneinfo import ZoneInfo

from dateutil.rrule import rrule, rrulestr

from logbook.domain.instants import Instant, parse, to_datetime
from logbook.domain.wallclock import instant_of, minutes_of_day

ANCHOR = date(2001, 1, 1)
"""Where recurrences count from: a Monday, the first of its month and of its year."""

_EARLIEST, _LATEST = parse("1900-01-01T00:00:00Z"), parse("9900-01-01T00:00:00Z")
_LOOK_AHEAD = 40
"""Years after which a next night is no longer looked for: 29 February comes within eight."""

_PARTS = frozenset(
    [
        "FREQ",
        "INTERVAL",
        "COUNT",
        "UNTIL",
        "BYDAY",
        "BYMONTHDAY",
        "BYYEARDAY",
        "BYWEEKNO",
        "BYMONTH",
        "BYSETPOS",
        "WKST",
    ]
)
_IMPLIED = {"WEEKLY": "BYDAY=MO", "MONTHLY": "BYMONTHDAY=1", "YEARLY": "BYMONTH=1;BYMONTHDAY=1"}
_DAY_PARTS = frozenset({"BYDAY", "BYMONTHDAY", "BYYEARDAY", "BYWEEKNO"})
_MONTH_LENGTHS = (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
_START = re.compile(r"DTSTART(?:;VALUE=DATE)?:(\d{8})", re.ASCII)
_UNTIL = re.compile(r"(\d{8})(?:T(\d{6})(Z?))?", re.ASCII)


class Rule(Protocol):
    """What a night rule holds (`logbook.domain.entries.fleet.NightRule` is one)."""

    @property
    def rule(self) -> str: ...
    @property
    def from_(self) -> str: ...
    @property
    def to(self) -> str: ...
    @property
    def except_(self) -> list[str]: ...


@dataclass(frozen=True, slots=True)
class Night:
    """One expected night: the local date on which it begins, and its two ends."""

    date: str
    begins: Instant
    ends: Instant


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text!r} is not a date; write it like 2026-12-25") from None


class _Recurrence:
    """One rule, read: which local dates it names in a span of years, and which instants those are."""

    __slots__ = ("_fixed", "_from", "_last_instant", "_last_wall", "_left_out", "_rule", "_start", "_to")

    def __init__(self, rule: Rule) -> None:
        self._from, self._to = minutes_of_day(rule.from_), minutes_of_day(rule.to)
        self._left_out = frozenset(_date(text) for text in rule.except_)
        start, parts = _read(rule.rule)
        self._start = start or ANCHOR
        # What recurs by ones needs no counting from far back: any year can be worked out by itself.
        self._fixed = start is not None or "COUNT" in parts or parts.get("INTERVAL", "1") != "1"
        self._last_wall, self._last_instant = self._until(parts.pop("UNTIL", None), rule.rule)
        text = ";".join(f"{name}={value}" for name, value in parts.items())
        if start is None and not _DAY_PARTS & parts.keys() and (implied := _IMPLIED.get(parts["FREQ"])):
            # The day that RFC 5545 takes from DTSTART, said aloud.
            text += ";" + (implied if "BYMONTH" not in parts else implied.removeprefix("BYMONTH=1;"))
        self._rule = text
        try:
            first = next(iter(self._run(self._start)), None)
        except (ValueError, TypeError, KeyError, IndexError) as error:
            raise ValueError(f"the night rule {rule.rule!r} cannot be read: {error}") from None
        if first is None:
            raise ValueError(f"the night rule {rule.rule!r} names no night at all")

    def _until(self, value: str | None, whole: str) -> tuple[datetime | None, Instant | None]:
        """The last beginning allowed: by the wall clock, or as an instant (RFC 5545 section 3.3.10, inclusive)."""
        if value is None:
            return None, None
        match = _UNTIL.fullmatch(value)
        try:
            if match is None:
                raise ValueError
            day = match[1]
            if match[2] is None:
                return datetime.strptime(day + "235959", "%Y%m%d%H%M%S"), None  # noqa: DTZ007 - a wall clock's
            moment = datetime.strptime(day + match[2], "%Y%m%d%H%M%S")  # noqa: DTZ007 - a wall clock's, or UTC below
        except ValueError:
            raise ValueError(f"UNTIL in the night rule {whole!r} is no date; write it like UNTIL=20261224") from None
        if match[3]:
            return None, parse(moment.strftime("%Y-%m-%dT%H:%M:%SZ"))
        return moment, None

    def _run(self, start: date) -> rrule:
        # One line is always one rrule; only several lines make a set of them.
        return cast(rrule, rrulestr(self._rule, dtstart=datetime(start.year, start.month, start.day)))  # noqa: DTZ001

    def dates(self, first_year: int, last_year: int) -> Iterator[date]:
        """The local dates named in those years, the last included."""
        begin, end = date(first_year, 1, 1), date(last_year, 12, 31)
        if self._last_wall is not None and self._last_wall.date() < begin:
            return
        # Two weeks of run-up, so that a week cut in two by the new year is counted whole.
        start = self._start if self._fixed else begin - timedelta(days=14)
        for moment in self._run(start):
            day = moment.date()
            if day > end:
                return
            if day >= begin:
                if self._last_wall is not None and day > self._last_wall.date():
                    return
                yield day

    def nights(self, first_year: int, last_year: int, zone: ZoneInfo) -> Iterator[tuple[date, Instant, Instant]]:
        """Date, beginning and end of each night of those years, exceptions left out."""
        overnight = self._to <= self._from
        for day in self.dates(first_year, last_year):
            if day in self._left_out:
                continue
            midnight = datetime(day.year, day.month, day.day)  # noqa: DTZ001 - a wall clock's
            opening = midnight + timedelta(minutes=self._from)
            begins = instant_of(opening, zone)
            if self._last_wall is not None and opening > self._last_wall:
                return
            if self._last_instant is not None and begins > self._last_instant:
                return
            ends = instant_of(midnight + timedelta(days=int(overnight), minutes=self._to), zone)
            # A night that lies across a skipped hour can come out with its ends crossed: then it has no length.
            yield day, begins, max(begins, ends)


def _read(text: str) -> tuple[date | None, dict[str, str]]:
    """A rule's own start, if it has one, and its parts. Raises ValueError where RFC 5545 says MUST NOT."""
    *before, line = text.strip().upper().split("\n")
    start: date | None = None
    if before:
        match = _START.fullmatch(before[0].strip())
        if match is None or len(before) > 1:
            raise ValueError(f"the night rule {text!r} may have one line before it, like DTSTART:20260302")
        start = _date(f"{match[1][:4]}-{match[1][4:6]}-{match[1][6:]}")
    parts: dict[str, str] = {}
    for part in line.strip().removeprefix("RRULE:").strip(";").split(";"):
        name, equals, value = part.strip().partition("=")
        if name not in _PARTS or not equals or not value:
            raise ValueError(f"the night rule {text!r} has the part {part!r}, which no recurrence of dates has")
        if name in parts:
            raise ValueError(f"the night rule {text!r} says {name} twice")
        parts[name] = value
    _refuse(text, start, parts)
    return start, parts


def _refuse(text: str, start: date | None, parts: dict[str, str]) -> None:
    """Raise ValueError for what RFC 5545 section 3.3.10 forbids, and for what could never come."""
    frequency = parts.get("FREQ")
    if frequency not in {"DAILY", "WEEKLY", "MONTHLY", "YEARLY"}:
        raise ValueError(f"the night rule {text!r} needs FREQ=DAILY, WEEKLY, MONTHLY or YEARLY")
    if "COUNT" in parts and start is None:
        raise ValueError(f"the night rule {text!r} has COUNT: say from when, in a line DTSTART:20260302 before it")
    if "COUNT" in parts and "UNTIL" in parts:
        raise ValueError(f"the night rule {text!r} has both COUNT and UNTIL; keep one")
    for name, allowed in (
        ("BYWEEKNO", {"YEARLY"}),
        ("BYYEARDAY", {"YEARLY"}),
        ("BYMONTHDAY", {"DAILY", "MONTHLY", "YEARLY"}),
        ("BYSETPOS", {"WEEKLY", "MONTHLY", "YEARLY"}),
    ):
        if name in parts and frequency not in allowed:
            raise ValueError(f"the night rule {text!r} has {name}, which does not go with FREQ={frequency}")
    if "BYDAY" in parts and frequency in {"DAILY", "WEEKLY"} and re.search(r"\d", parts["BYDAY"]):
        raise ValueError(f"the night rule {text!r} has a numbered BYDAY, which does not go with FREQ={frequency}")
    numbers = {name: _numbers(text, name, parts.get(name, "")) for name in parts if name not in {
        "FREQ", "UNTIL", "BYDAY", "WKST"}}  # fmt: skip
    for name, limit in (
        ("BYMONTH", 12),
        ("BYMONTHDAY", 31),
        ("BYWEEKNO", 53),
        ("BYYEARDAY", 366),
        ("BYSETPOS", 366),
    ):
        if any(abs(number) > limit or number == 0 for number in numbers.get(name, ())):
            raise ValueError(f"the night rule {text!r} has a {name} that no year has")
    if any(number < 1 for name in ("COUNT", "INTERVAL", "BYMONTH") for number in numbers.get(name, ())):
        raise ValueError(f"the night rule {text!r} has a number below 1 where it must count something")
    if any(number > 10_000 for name in ("COUNT", "INTERVAL") for number in numbers.get(name, ())):
        raise ValueError(f"the night rule {text!r} counts further than ten thousand")
    months, days = numbers.get("BYMONTH"), numbers.get("BYMONTHDAY")
    # Without this, a search for 30 February would walk to the end of the calendar.
    if months and days and not any(abs(day) <= _MONTH_LENGTHS[month - 1] for month in months for day in days):
        raise ValueError(f"the night rule {text!r} names a day that its months do not have")


def _numbers(text: str, name: str, value: str) -> list[int]:
    try:
        return [int(number) for number in value.split(",")]
    except ValueError:
        raise ValueError(f"the night rule {text!r} has a {name} that is no number") from None


def _year(at: Instant) -> int:
    """The year in UTC, kept within those that a calendar can count on both sides of."""
    return to_datetime(min(max(at, _EARLIEST), _LATEST)).year


class Nights:
    """A calendar of expected nights in one zone. Years are worked out when first asked for, and kept."""

    __slots__ = ("_recurrences", "_span", "_zone")

    def __init__(self, rules: Iterable[Rule], zone: ZoneInfo) -> None:
        """Raises ValueError with a sentence for a rule that cannot be read or never comes."""
        self._recurrences = [_Recurrence(rule) for rule in rules]
        self._zone = zone
        # (first year, last year, beginnings, nights): replaced as a whole, so that readers in threads see one state.
        self._span: tuple[int, int, list[Instant], Sequence[Night]] = (1, 0, [], ())

    def first_after(self, at: Instant) -> Night | None:
        """The first night that begins after `at`, or None if there is none within forty years."""
        _first, _last, beginnings, nights = self._span
        if beginnings and beginnings[0] <= at < beginnings[-1]:  # between two nights that are worked out already
            return nights[bisect_right(beginnings, at)]
        year = _year(at)
        for ahead in range(1, _LOOK_AHEAD + 1):
            _first, _last, beginnings, nights = self._cover(year - 1, year + ahead)
            index = bisect_right(beginnings, at)
            if index < len(nights):
                return nights[index]
        return None

    def between(self, after: Instant, until: Instant) -> list[Night]:
        """The nights that begin after `after` and at or before `until`, in order."""
        if until <= after:
            return []
        _first, _last, beginnings, nights = self._cover(_year(after) - 1, _year(until) + 1)
        return list(nights[bisect_right(beginnings, after) : bisect_right(beginnings, until)])

    def around(self, at: Instant) -> Night | None:
        """The night that is going on: begins at or before `at`, ends after it. The later one, if two overlap."""
        _first, _last, beginnings, nights = self._span
        if not (beginnings and beginnings[0] <= at < beginnings[-1]):
            year = _year(at)
            _first, _last, beginnings, nights = self._cover(year - 1, year + 1)
        index = bisect_right(beginnings, at)
        # No night is longer than two days, so three beginnings back is far enough.
        for night in reversed(nights[max(0, index - 3) : index]):
            if at < night.ends:
                return night
        return None

    def _cover(self, first: int, last: int) -> tuple[int, int, list[Instant], Sequence[Night]]:
        span = self._span
        if span[0] <= first and last <= span[1]:
            return span
        if span[0] <= span[1]:
            first, last = min(first, span[0]), max(last, span[1])
        found: dict[date, tuple[Instant, Instant]] = {}
        for recurrence in self._recurrences:
            for day, begins, ends in recurrence.nights(first, last, self._zone):
                one = found.get(day)
                found[day] = (begins, ends) if one is None else (min(begins, one[0]), max(ends, one[1]))
        nights = sorted(
            (Night(day.isoformat(), begins, ends) for day, (begins, ends) in found.items()),
            key=lambda night: (night.begins, night.date),
        )
        self._span = (first, last, [night.begins for night in nights], nights)
        return self._span
