"""Short codes, against ISO/IEC 7064 and their own promise."""

from __future__ import annotations

from itertools import product

import pytest

from logbook.domain import codes

THREE = list(codes.every(3))
CHARACTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"


def test_the_check_character_of_iso_7064() -> None:
    """MOD 37-2, worked by hand from the standard's rule, sum of a(i)·2^(i-1) = 1 (mod 37): 11·4 + 7·2 + H = 1 → 17."""
    assert (11 * 4 + 7 * 2 + CHARACTERS.index("H")) % 37 == 1
    assert codes.check_character("B7") == "H"
    assert codes.check_character("b7") == "H"


@pytest.mark.parametrize("code", ["B7H", "C4J", "C5H", "B8F"])
def test_codes_of_the_worked_examples_are_valid(code: str) -> None:
    assert codes.valid(code)


def test_there_are_145_codes_of_three() -> None:
    assert len(THREE) == len(set(THREE)) == 145


@pytest.mark.parametrize("length", codes.LENGTHS)
def test_no_code_has_a_character_that_looks_like_another(length: int) -> None:
    found = list(codes.every(length))
    assert len(found) == len(set(found)) > 0
    assert not {character for code in found for character in code} & set("01OILU*")
    assert all(codes.valid(code) and len(code) == length for code in found)


def slips(code: str) -> set[str]:
    """Every single wrong character, swap of neighbours, jump and twin error of a code of three."""
    a, b, c = tuple(code)
    found = {code[:i] + wrong + code[i + 1 :] for i, wrong in product(range(3), CHARACTERS)}
    found |= {b + a + c, a + c + b, c + b + a}
    if a == b:
        found |= {x + x + c for x in CHARACTERS}
    if b == c:
        found |= {a + x + x for x in CHARACTERS}
    return found - {code}


def test_no_slip_turns_one_code_into_another() -> None:
    issued = set(THREE)
    assert {code: slips(code) & issued for code in THREE if slips(code) & issued} == {}


def test_a_code_without_its_check_would_not_be_safe() -> None:
    """The test above can fail: over stems alone, one wrong character does make another."""
    stems = {code[:2] for code in THREE}
    assert any(letter + stem[1] in stems - {stem} for stem in stems for letter in codes.LETTERS)


@pytest.mark.parametrize("code", ["B7K", "B7", "7BH", "B1H", "O7", "b7h", "B7H ", "", "B777", "ABC", "B77777"])
def test_what_is_no_code_is_not_valid(code: str) -> None:
    assert not codes.valid(code)


def test_the_next_free_code_is_always_the_same_one() -> None:
    first = codes.generate(3, [])
    second = codes.generate(3, [first])
    assert (first, second) == (THREE[0], THREE[1])
    assert codes.generate(3, [second]) == first
    assert codes.generate(3, [first.lower()]) == second


def test_neighbours_differ_in_their_letter() -> None:
    assert THREE[0][0] != THREE[1][0]


def test_when_all_are_taken_it_says_so() -> None:
    with pytest.raises(ValueError, match="one length more"):
        codes.generate(3, THREE)
    with pytest.raises(ValueError, match="3, 4 or 5"):
        codes.generate(6, [])
