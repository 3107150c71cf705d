"""What a text message can hold: 3GPP TS 23.038, section 6.2.1."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.domain.wording.gsm7 import BASIC, EXTENDED, cut, fold, septets


def test_the_alphabets_have_their_size() -> None:
    assert (len(BASIC), len(EXTENDED)) == (127, 10)  # 128 places, one of them the escape; 10 with the form feed


@pytest.mark.parametrize(("text", "cost"), [("a" * 160, 160), ("€" * 80, 160), ("ñ¿é", 3), ("", 0)])
def test_septets(text: str, cost: int) -> None:
    assert septets(text) == cost


@pytest.mark.parametrize("text", ["á", "í", "ó", "ú", "ç", "🙂"])
def test_what_is_not_in_the_alphabet_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="fold"):
        septets(text)


@pytest.mark.parametrize(
    ("text", "folded"),
    [
        ("batería, aún, ¿llegó?", "bateria, aun, ¿llegó?".replace("ó", "o")),
        ("mañana é", "mañana é"),
        ("3 × “DS-40” …", '3 x "DS-40" ...'),
        ("n\u0303", "ñ"),
        ("🙂 港", "? ?"),
        ("a\u00a0b", "a b"),
    ],
)
def test_fold(text: str, folded: str) -> None:
    assert fold(text) == folded


@given(st.text(), st.integers(0, 200))
def test_whatever_is_folded_can_be_sent_and_cut(text: str, room: int) -> None:
    assert septets(cut(fold(text), room)) <= room
