"""How each number of policy is written: durations, switches, lengths, spans of the day, steps of escalation.

A form reads a value as people write it and gives it back in the one way in which it is kept. No form gives a
float, because what is kept is hashed, and none bends a value: it is taken or refused with the rest of a sentence.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from logbook.domain.calendar import Duration, minutes_of_day, parse_duration, show_minutes
from logbook.domain.instants import DAY

Value = str | int | bool | list[str]

ROLES = ("keeper", "supervisor", "owner")
"""Those to whom an alert may go. A cleaner is told in the answer to a text, and never afterwards."""

WAYS = ("mail", "text")
TELL = ("now", "urgent", "letter", "none")


@dataclass(frozen=True, slots=True)
class Step:
    """One step of escalation: so long after the alert was told, to whom, and by which way if not by any."""

    delay: Duration
    role: str
    way: str | None = None


@dataclass(frozen=True, slots=True)
class Form:
    """How a value is written. `read` gives its canonical form, and raises ValueError with the rest of a sentence."""

    name: str
    unit: str
    read: Callable[[Any], Value]
    example: str


def duration_of(value: str) -> Duration:
    """A duration as kept. Values that were checked never raise."""
    return parse_duration(value)


def _length(duration: Duration) -> int:
    """Microseconds, a nominal day taken as 24 hours: good enough to say that a number is nonsense."""
    return duration.micros + duration.days * DAY


def duration(low: str, high: str, *, exact: bool, example: str) -> Form:
    """A duration between two others, both allowed; `exact`: elapsed time only."""
    least, most = parse_duration(low), parse_duration(high)

    def read(value: Any) -> str:
        if not isinstance(value, str):
            raise ValueError("is not a duration")
        try:
            length = parse_duration(value)
        except ValueError as error:
            raise ValueError(f"cannot be read: {error}") from None
        if exact and not length.exact:
            raise ValueError("counts local days, which are not always 24 hours, where elapsed time is needed")
        if not _length(least) <= _length(length) <= _length(most):
            raise ValueError(f"is not between {least.text} and {most.text}")
        return length.text

    return Form("exact duration" if exact else "duration", "ISO 8601, PT…" if exact else "ISO 8601", read, example)


def number(low: int, high: int) -> Form:
    """A whole number between two others, both allowed."""

    def read(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise ValueError(f"is not a whole number from {low} to {high}")
        return value

    return Form("number", "count", read, str(low))


def _read_switch(value: Any) -> bool:
    if not isinstance(value, bool):
        raise ValueError("is neither true nor false")
    return value


def _read_turn(value: Any) -> str | bool:
    if value is False:
        return False
    if not isinstance(value, str):
        raise ValueError("is neither a time of the day nor false")
    try:
        return show_minutes(minutes_of_day(value))
    except ValueError as error:
        raise ValueError(f"cannot be read: {error}") from None


def quiet_of(value: str) -> tuple[int, int]:
    """Quiet hours as minutes of the day, from and to. Raises ValueError for what is no such span."""
    begins, hyphen, ends = value.replace(" ", "").replace("–", "-").partition("-")
    if not hyphen:
        raise ValueError(f"{value!r} is not a span of the day")
    span = minutes_of_day(begins), minutes_of_day(ends)
    if span[0] == span[1]:
        raise ValueError(f"{value!r} begins when it ends")
    return span


def _read_quiet(value: Any) -> str | bool:
    if value is False:
        return False
    if not isinstance(value, str):
        raise ValueError("is neither a span of the day nor false")
    try:
        begins, ends = quiet_of(value)
    except ValueError as error:
        raise ValueError(f"cannot be read: {error}") from None
    return f"{show_minutes(begins)}-{show_minutes(ends)}"


_LENGTH = re.compile(r"(?:(\d{1,4})\s*/\s*(\d{1,3})|(\d{1,6}(?:[.,]\d{1,6})?))\s*(mm|cm|in|inch|inches|\")?", re.ASCII)
_MICROMETRES = {"mm": 1_000, "cm": 10_000, "in": 25_400, "inch": 25_400, "inches": 25_400, '"': 25_400}
_DEEPEST_UM = 40_000  # the longest segment a reading can tell of


def micrometres_of(value: str | float) -> int:
    """A length in um: `6.35 mm`, `1/4 in`, `0.25 in`, or a bare number of millimetres. Raises ValueError."""
    match = _LENGTH.fullmatch(str(value).strip().lower())
    if match is None or isinstance(value, bool) or (match[1] and not match[4]):
        raise ValueError("is not a length")
    if match[1]:
        if int(match[2]) == 0:
            raise ValueError("is not a length")
        size = Fraction(int(match[1]), int(match[2]))
    else:
        size = Fraction(Decimal(match[3].replace(",", ".")))
    return round(size * _MICROMETRES[match[4] or "mm"])


def show_millimetres(micrometres: int) -> str:
    """Write a length as `6.35 mm`, every digit kept."""
    whole, rest = divmod(micrometres, 1_000)
    return f"{whole}.{rest:03d}".rstrip("0").rstrip(".") + " mm"


def _read_depth(value: Any) -> str:
    if not isinstance(value, str | int | float):
        raise ValueError("is not a length")
    micrometres = micrometres_of(value)
    if not 0 < micrometres < _DEEPEST_UM:
        raise ValueError(f"is not between 0 and {show_millimetres(_DEEPEST_UM)}")
    return show_millimetres(micrometres)


def _read_tell(value: Any) -> str:
    if value not in TELL:
        raise ValueError(f"is none of {', '.join(TELL)}")
    return str(value)


def steps_of(value: list[str]) -> tuple[Step, ...]:
    """Steps of escalation as kept. Raises ValueError for what is none."""
    steps: list[Step] = []
    for text in value:
        delay, role, *way = [*str(text).split(), "", ""][: max(2, len(str(text).split()))]
        if not role or len(way) > 1 or (way and way[0] not in WAYS):
            raise ValueError(
                f"has the step {text!r}, which is not a delay, a role and at most one of {', '.join(WAYS)}"
            )
        if role not in ROLES:
            raise ValueError(f"has the role {role!r}, and alerts go to one of {', '.join(ROLES)}")
        steps.append(Step(parse_duration(delay), role, way[0] if way else None))
    lengths = [_length(step.delay) for step in steps]
    if lengths != sorted(lengths):
        raise ValueError("has a step that comes before the one above it")
    return tuple(steps)


def _read_steps(value: Any) -> list[str]:
    if not isinstance(value, list | tuple) or not 1 <= len(value) <= 9:
        raise ValueError("is not a list of one to nine steps")
    return [" ".join([s.delay.text, s.role, *([s.way] if s.way else [])]) for s in steps_of(list(value))]


SWITCH = Form("switch", "true or false", _read_switch, "false")
TIME = Form("time or false", "wall clock", _read_turn, '"12:00"')
HOURS = Form("span or false", "wall clock", _read_quiet, '"21:00-06:30"')
DEPTH = Form("length", "mm or in", _read_depth, '"6.35 mm" or "1/4 in"')
STEPS = Form("steps", "delay role [way]", _read_steps, '["PT0S supervisor", "PT2H owner mail"]')
TELLING = Form("telling", "word", _read_tell, '"letter"')
