"""The short code of a tap: one tap and one kind are one id, by whatever way they come."""

from __future__ import annotations

import hashlib
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.domain.tapcode import ALPHABET, LENGTH, entry_id, is_tap, new_tap

TAPS = st.text(ALPHABET, min_size=LENGTH, max_size=LENGTH)
KINDS = st.sampled_from(["rinse", "charge", "put_away", "void rinse"])


def test_what_was_recorded_once_keeps_its_id() -> None:
    # Worked out apart from the program: uuid5 by hand is SHA-1 over namespace and name (RFC 9562, section 5.5).
    name = hashlib.sha1(UUID("5a1d6a0c-6f0f-5c0b-9a55-0d3f1f0c7be1").bytes + b"23456789AB rinse").digest()[:16]
    raw = bytearray(name)
    raw[6] = raw[6] & 0x0F | 0x50
    raw[8] = raw[8] & 0x3F | 0x80
    assert entry_id("23456789AB", "rinse") == str(UUID(bytes=bytes(raw)))


@given(TAPS, TAPS, KINDS, KINDS)
def test_another_tap_or_another_kind_is_another_id(one: str, other: str, kind: str, second: str) -> None:
    same = entry_id(one, kind) == entry_id(other, second)
    assert same == ((one, kind) == (other, second))


@given(st.binary(min_size=16, max_size=16))
def test_whatever_is_drawn_makes_a_code(drawn: bytes) -> None:
    assert is_tap(new_tap(lambda most: drawn[:most]))


def test_every_place_of_a_code_hangs_on_chance() -> None:
    made = [new_tap(lambda most, n=n: hashlib.sha256(bytes([n])).digest()[:most]) for n in range(250)]
    assert len(set(made)) == 250
    assert all(len({code[place] for code in made}) == len(ALPHABET) for place in range(LENGTH))


@pytest.mark.parametrize(
    "text", ["", "23456789A", "23456789ABC", "23456789ab", "23456789A0", "23456789AU", "2345 6789A"]
)
def test_what_is_no_tap_makes_no_id(text: str) -> None:
    assert not is_tap(text)
    with pytest.raises(ValueError, match="not the code of a tap"):
        entry_id(text, "rinse")


def test_the_alphabet_holds_nothing_that_is_misread() -> None:
    assert set("01OILU") & set(ALPHABET) == set()
    assert len(set(ALPHABET)) == len(ALPHABET) == 30
