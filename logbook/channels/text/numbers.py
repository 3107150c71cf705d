"""Numbers and their units: exact fractions from what was typed, and from those the whole numbers of an entry.

Promises never to choose between two readings of a number: `1,500` may be one and a half or fifteen hundred, so it
is refused. Comma and point are both the decimal sign, as the two languages write it.
"""

from __future__ import annotations

import re
from fractions import Fraction

from logbook.channels.text.lexicon import UNITS
from logbook.channels.text.tokens import VULGAR
from logbook.domain.entries import Quantity

PARTS = frozenset({2, 4, 8, 16, 32})
"""The lower numbers of fractions that a rule or a gauge is marked with."""
MOST_DIGITS = 9
"""No quantity of this trade has more; a longer number is a telephone's or a mistake."""
_PLAIN = re.compile("[0-9]+")
_DECIMAL = re.compile("([0-9]*)[.,]([0-9]+)")


class RefusedNumber(Exception):
    """A number that cannot be used; `reason` is one of the refusals of a reading."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


def is_fraction(text: str) -> bool:
    """Whether it was written as a fraction, `3/8` or `⅜` (a whole number before it is no fraction alone)."""
    return "/" in text or text in VULGAR


def value(text: str, family: str) -> Fraction:
    """The exact value of a number as typed, for a quantity of this family.

    Raises RefusedNumber where the writing has two readings. Only specific gravity may have three digits after its
    sign, because it always has; elsewhere they may be thousands, unless a nought or nothing stands before the sign.
    """
    if sum(c.isdigit() for c in text) > MOST_DIGITS:
        raise RefusedNumber("ambiguous_number")
    if _PLAIN.fullmatch(text):
        return Fraction(int(text))
    if text[-1] in VULGAR:
        above, below = VULGAR[text[-1]]
        return Fraction(int(text[:-1] or 0)) + Fraction(above, below)
    if "/" in text:
        parts = [part.strip() for part in text.split("/")]
        if len(parts) != 2 or int(parts[1]) not in PARTS:
            raise RefusedNumber("ambiguous_number")
        return Fraction(int(parts[0]), int(parts[1]))
    match = _DECIMAL.fullmatch(text)
    if match is None:  # two signs, or a clock time where a quantity was wanted
        raise RefusedNumber("ambiguous_number")
    before, after = match.groups()
    if len(after) == 3 and before.strip("0") and family != "gravity":
        raise RefusedNumber("ambiguous_number")
    return Fraction(int(before or 0)) + Fraction(int(after), 10 ** len(after))


def has_part_of_an_inch(text: str) -> bool:
    """Whether it is a fraction whose lower number is one of an inch's: such a one alone is inches."""
    if text in VULGAR:
        return True
    parts = text.split("/")
    return len(parts) == 2 and parts[1].strip() in {str(part) for part in PARTS}


def measure(text: str, unit: str | None, quantity: Quantity) -> int:
    """The whole number that goes into the entry's field: ml, %, thousandths, um or s.

    Raises RefusedNumber: `needs_unit` where a unit is wanted, `out_of_range` outside the quantity's bounds,
    `ambiguous_number` for two readings or for more places than the field can hold (a percentage, a gravity).
    """
    family = quantity.family
    if unit is None and family == "length" and is_fraction(text):
        if not has_part_of_an_inch(text):
            raise RefusedNumber("needs_unit")
        unit = "inch"
    if unit is None and family in ("volume", "length", "percent"):
        value(text, family)  # a number with two readings is asked about as such
        raise RefusedNumber("needs_unit")
    exact = value(text, family)
    if family == "gravity":
        exact = exact * 1000 if exact < 10 else exact
    elif family == "hours":
        exact *= 3600
    else:
        _, above, below = UNITS[unit or ""]
        exact *= Fraction(above, below)
    if not quantity.low <= exact <= quantity.high:
        raise RefusedNumber("out_of_range")
    if family in ("percent", "gravity") and exact.denominator != 1:
        raise RefusedNumber("ambiguous_number")
    return int(exact + Fraction(1, 2))
