"""The alphabet of a text message, and how to make words fit into one.

Promises that what comes out of `fold` costs only septets (3GPP TS 23.038, section 6.2.1), so that a message of at
most 160 of them is one message and is paid as one. It never drops a letter that has a plain form: á becomes a.
"""

from __future__ import annotations

import unicodedata

SEGMENT = 160
"""Septets in one text message that is not part of a longer one."""

ALPHABET = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞ\x1bÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
"""The default alphabet, each character at the place of its code; place 27 is the escape, and no character."""
EXTENSION = {"\f": 10, "^": 20, "{": 40, "}": 41, "\\": 47, "[": 60, "~": 61, "]": 62, "|": 64, "€": 101}
"""The extension table: these cost two septets, an escape and their code."""

BASIC = frozenset(ALPHABET) - {"\x1b"}
EXTENDED = frozenset(EXTENSION)

# Signs that our own sentences use and that no normal form makes plain.
_PLAIN = dict.fromkeys("“”«»", '"') | dict.fromkeys("‘’", "'") | dict.fromkeys("–—−", "-") | {"×": "x", "…": "..."}


def septets(text: str) -> int:
    """What the text costs. Raises ValueError if a character of it is not in the alphabet."""
    cost = 0
    for character in text:
        if character in BASIC:
            cost += 1
        elif character in EXTENDED:
            cost += 2
        else:
            raise ValueError(f"{character!r} is not in the alphabet of text messages; fold the text first")
    return cost


def fold(text: str) -> str:
    """The text in the alphabet alone: accents it lacks are left out, what has no plain form becomes `?`."""
    return "".join(_folded(character) for character in unicodedata.normalize("NFC", text))


def _folded(character: str) -> str:
    if character in BASIC or character in EXTENDED:
        return character
    if character in _PLAIN:
        return _PLAIN[character]
    bare = "".join(c for c in unicodedata.normalize("NFKD", character) if not unicodedata.combining(c))
    if bare and all(c in BASIC or c in EXTENDED for c in bare):
        return bare
    return " " if character.isspace() else "?"


def cut(text: str, room: int) -> str:
    """As much of a folded text as costs at most `room` septets, without a blank at its end."""
    kept, cost = [], 0
    for character in text:
        cost += septets(character)
        if cost > room:
            break
        kept.append(character)
    return "".join(kept).rstrip()
