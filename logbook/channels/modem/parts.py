"""Long texts: how one message is cut into parts, and how parts name the message they belong to.

Both by 3GPP TS 23.040, 9.2.3.24: a user data header holds elements (name, length, octets), among them the reference
of a joined message, how many parts it has and which one this is. Cutting promises what `channels.text.gsm7` counts:
no escaped character and no surrogate pair is cut apart, so that each part can be read alone.
"""

from __future__ import annotations

from dataclasses import dataclass

from logbook.channels.text import gsm7

MOST = 50
"""Parts that the daemon takes as one message (its GSM_MAX_MULTI_SMS)."""

_JOINED_8, _JOINED_16 = 0x00, 0x08
_PORTS = {0x04, 0x05}


@dataclass(frozen=True, slots=True)
class Part:
    """Which part of which message: `reference` with its width in bits, for 8 and 16 are counted apart."""

    reference: tuple[int, int]
    total: int
    number: int


def header(reference: int, total: int, number: int) -> str:
    """A part's header in hexadecimal, with an 8-bit reference."""
    return f"050003{reference & 0xFF:02X}{total:02X}{number:02X}"


def elements(header: str) -> dict[int, bytes]:
    """The elements of a header in hexadecimal. Empty for one that cannot be read: then the text stands by itself."""
    try:
        octets = bytes.fromhex(header)
    except ValueError:
        return {}
    found: dict[int, bytes] = {}
    at = 1
    while at + 1 < len(octets):
        name, length = octets[at], octets[at + 1]
        value = octets[at + 2 : at + 2 + length]
        if len(value) < length:
            return {}
        found[name] = value
        at += 2 + length
    return found


def part_of(header: str) -> Part | None:
    """Which part this is; None for a text that stands by itself. Numbers that cannot be are passed over (9.2.3.24.1)."""
    found = elements(header)
    for name, width in ((_JOINED_8, 1), (_JOINED_16, 2)):
        value = found.get(name, b"")
        if len(value) == width + 2:
            total, number = value[width], value[width + 1]
            if 1 <= number <= total and total > 1:
                return Part((8 * width, int.from_bytes(value[:width], "big")), total, number)
    return None


def is_for_a_program(header: str) -> bool:
    """Whether it is addressed to a port: a card, a picture, a setting; nothing that a person typed."""
    return not _PORTS.isdisjoint(elements(header))


def cut(text: str) -> list[str]:
    """The text in parts: one if it fits, else such as leave room for a header."""
    plain = gsm7.is_gsm7(text)
    sizes = [gsm7.length(char) if plain else (2 if ord(char) > 0xFFFF else 1) for char in text]
    one, joined = (gsm7.ONE, gsm7.JOINED) if plain else (gsm7.ONE_UCS2, gsm7.JOINED_UCS2)
    if sum(sizes) <= one:
        return [text]
    made, used = [""], 0
    for char, size in zip(text, sizes, strict=True):
        if used + size > joined:
            made.append("")
            used = 0
        made[-1] += char
        used += size
    return made
