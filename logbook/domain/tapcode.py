"""The short code of one tap on a phone: what names the entries of a tap, wherever they come in.

A phone that cannot reach the pages offers the same tap as a text, and the text carries this code. Both ways then make
the same entry ids, so that the log takes the tap once. Promises that one tap and one kind always make one id. Draws
nothing by itself: chance is an argument.
"""

from __future__ import annotations

from collections.abc import Callable
from uuid import UUID, uuid5

ALPHABET = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Without what is misread: 0 and O, 1 and I and L, U and V as written by hand."""
LENGTH = 10
"""30^10 codes: of a million taps, two are the same in one case of a thousand."""
NAMESPACE = UUID("5a1d6a0c-6f0f-5c0b-9a55-0d3f1f0c7be1")
"""Never to be changed: the ids of what was recorded hang on it (RFC 9562, section 5.5)."""


def new_tap(draw: Callable[[int], bytes]) -> str:
    """Another code. `draw(n)` gives n unforeseeable octets, such as `secrets.token_bytes`."""
    number = int.from_bytes(draw(16), "big")  # far wider than 30^10, so that every code is as likely
    letters = []
    for _ in range(LENGTH):
        number, place = divmod(number, len(ALPHABET))
        letters.append(ALPHABET[place])
    return "".join(letters)


def is_tap(text: str) -> bool:
    """Whether a text is written as a tap's code is: upper case, whole, of the alphabet."""
    return len(text) == LENGTH and all(letter in ALPHABET for letter in text)


def entry_id(tap: str, kind: str) -> str:
    """The id of the entry of this kind that this tap makes: a UUID of version 5, lower case.

    `kind` is an entry's kind, or whatever else tells two entries of one tap apart. Raises ValueError if `tap` is none.
    """
    if not is_tap(tap):
        raise ValueError(f"not the code of a tap: {tap!r}")
    return str(uuid5(NAMESPACE, f"{tap} {kind}"))
