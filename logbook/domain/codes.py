"""Machines' short codes: a letter, digits, and a check character that catches a slip of the thumb.

The check character is ISO/IEC 7064 MOD 37-2 over the rest: `B7` has `H`, so the plate says `B7H`. Characters that
look like others (0 1 O I L U) and `*` never stand in a code. One fleet uses one length, because only within a length
no single wrong character, no swap of neighbours, no jump and no twin error turns one code into another.
The check guards against typing, not against people, and nothing here ever guesses a code.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from itertools import product

from stdnum.iso7064 import mod_37_2

LETTERS = "ABCDEFGHJKMNPQRSTVWXYZ"
DIGITS = "23456789"
LENGTHS = (3, 4, 5)

_PLATE = re.compile(r"[A-Z][2-9]{1,3}[0-9A-Z*]", re.ASCII)


def check_character(stem: str) -> str:
    """The check character over a stem such as `B7`. It may be one that is never issued."""
    return str(mod_37_2.calc_check_digit(stem.upper()))


def plate_form(code: str) -> bool:
    """Whether this looks like a code we issue: letter, one to three digits, one more character."""
    return _PLATE.fullmatch(code) is not None


def valid(code: str) -> bool:
    """Whether this is a code that can be issued: right form, right characters, right check."""
    if not plate_form(code) or code[0] not in LETTERS or code[-1] not in LETTERS + DIGITS:
        return False
    return check_character(code[:-1]) == code[-1]


def every(length: int) -> Iterator[str]:
    """All codes of one length, always in the same order. Neighbours in it differ in their letter and their check.

    Raises ValueError for a length that is not 3, 4 or 5.
    """
    if length not in LENGTHS:
        raise ValueError(f"codes have 3, 4 or 5 characters, not {length}")
    for digits in product(DIGITS, repeat=length - 2):
        for letter in LETTERS:
            stem = letter + "".join(digits)
            code = stem + check_character(stem)
            if valid(code):
                yield code


def generate(length: int, taken: Collection[str]) -> str:
    """The next free code of a length: the first that is not among those taken.

    Raises ValueError if the length is used up; a longer one needs new plates for the whole fleet.
    """
    spoken_for = {code.upper() for code in taken}
    for code in every(length):
        if code not in spoken_for:
            return code
    raise ValueError(f"every code of {length} characters is taken; use one length more for the whole fleet")
