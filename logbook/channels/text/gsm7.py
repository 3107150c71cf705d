"""The alphabet of short messages and what fits into one: 3GPP TS 23.038 (septets), TS 23.040 (joined messages).

Promises exact counts: a text in the default alphabet has 160 septets in one message and 153 in each of several; a
character of the extension table takes two and is never cut apart; any other text is UCS-2, 70 or 67 units.
"""

from __future__ import annotations

from logbook.domain.wording.gsm7 import ALPHABET, EXTENSION, fold

_ESCAPE = 27
_CODE = {character: code for code, character in enumerate(ALPHABET) if code != _ESCAPE}

ONE = 160
JOINED = 153
ONE_UCS2 = 70
JOINED_UCS2 = 67


def is_gsm7(text: str) -> bool:
    """Whether every character is in the default alphabet or its extension table."""
    return all(character in _CODE or character in EXTENSION for character in text)


def septets(text: str) -> list[int]:
    """The text as septets, TS 23.038 6.2.1. Raises ValueError for a character that is not in the alphabet."""
    codes: list[int] = []
    for character in text:
        if character in _CODE:
            codes.append(_CODE[character])
        elif character in EXTENSION:
            codes += (_ESCAPE, EXTENSION[character])
        else:
            raise ValueError(f"{character!r} is not in the alphabet of short messages")
    return codes


def length(text: str) -> int:
    """How many septets the text takes. Raises ValueError as `septets` does."""
    return len(septets(text))


def pack(text: str) -> bytes:
    """Septets packed into octets, TS 23.038 6.1.2.1: the low bits first, the rest filled with noughts."""
    bits, count, octets = 0, 0, bytearray()
    for code in septets(text):
        bits |= code << count
        count += 7
        while count >= 8:
            octets.append(bits & 0xFF)
            bits >>= 8
            count -= 8
    if count:
        octets.append(bits)
    return bytes(octets)


def parts(text: str) -> int:
    """How many messages the text takes: one if it fits, else joined ones that are each a little shorter."""
    if is_gsm7(text):
        sizes = [1 if character in _CODE else 2 for character in text]
        one, joined = ONE, JOINED
    else:
        sizes = [2 if ord(character) > 0xFFFF else 1 for character in text]  # UTF-16 code units
        one, joined = ONE_UCS2, JOINED_UCS2
    if sum(sizes) <= one:
        return 1
    used, count = 0, 1
    for size in sizes:
        if used + size > joined:  # neither an escaped character nor a surrogate pair is cut apart
            used, count = 0, count + 1
        used += size
    return count


spell = fold
"""The text in characters of the alphabet alone: see `logbook.domain.wording.gsm7.fold`."""
