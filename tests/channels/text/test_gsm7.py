"""3GPP TS 23.038: the alphabet, the packing and the parts, against published values."""

from __future__ import annotations

import pytest

from logbook.channels.text import gsm7


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        # computed from TS 23.038 and TS 23.040: 160 or 153 septets, 70 or 67 units of UCS-2
        ("a" * 160, 1), ("a" * 161, 2), ("a" * 306, 2), ("a" * 307, 3), ("€" * 80, 1), ("€" * 81, 2),
        ("ç" * 70, 1), ("ç" * 71, 2), ("ç" * 134, 2), ("ç" * 135, 3), ("👍" * 35, 1), ("👍" * 36, 2), ("👍" * 67, 3),
        ("a" * 152 + "€" * 77 + "a", 3), ("", 1),
    ],
)  # fmt: skip
def test_parts(text, parts):
    assert gsm7.parts(text) == parts


def test_packing():
    # The example in circulation for TS 23.038 section 6.1.2.1.
    assert gsm7.pack("hellohello").hex().upper() == "E8329BFD4697D9EC37"
    assert gsm7.pack("") == b""
    assert gsm7.pack("@") == b"\0"
    assert len(gsm7.pack("a" * 160)) == 140


def test_the_alphabet():
    assert gsm7.septets("@A a€") == [0, 65, 32, 97, 27, 101]
    assert gsm7.septets("éñ¿Ç") == [5, 125, 96, 9]
    assert gsm7.length("é€") == 3
    assert not any(map(gsm7.is_gsm7, "áíóúç\x1b👍"))
    assert all(map(gsm7.is_gsm7, "éñ¿üàÄ€[]\n"))
    with pytest.raises(ValueError, match="not in the alphabet"):
        gsm7.septets("á")


def test_spelling_keeps_what_it_can():
    assert gsm7.spell("máquina ñandú ¿qué? 👍") == "maquina ñandu ¿qué? ?"
    assert gsm7.spell("\x1b") == "?"
