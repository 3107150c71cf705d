"""Whose words are whose: codes, their check characters, several machines in one text, no code at all."""

from __future__ import annotations

import string
from zoneinfo import ZoneInfo

import pytest
from stdnum.iso7064 import mod_37_2

from logbook.channels.text import Fleet, read
from logbook.channels.text.tokens import is_a_code, tokenise
from logbook.domain.instants import parse

HALIFAX = ZoneInfo("America/Halifax")
NIGHT = parse("2026-11-25T09:12:00Z")
THREE = frozenset({3})


@pytest.mark.parametrize("text", ["b7h rinse", "B7H rinse", "b7 h rinse", "B7-H rinse", "b7h: rinse", "(B7H) rinse"])
def test_a_code_in_any_writing(text, kinds, ask):
    assert kinds(text) == ["rinse"]
    assert ask(text).drafts[0].machine == "B7H"


@pytest.mark.parametrize("text", ["b8 h rinse", "b7 j rinse", "b 7 h rinse"])
def test_two_pieces_are_put_together_only_into_a_code_of_the_fleet(text, kinds):
    assert kinds(text)[0] in ("?mistyped_machine", "?unknown_word")


def test_no_slip_in_a_code_ever_reads_as_another_machine(ask):
    # ISO/IEC 7064 MOD 37-2: every wrong character and every swap of neighbours is found.
    others = string.ascii_uppercase + string.digits
    slips = {"B7H"[:i] + c + "B7H"[i + 1 :] for i in range(3) for c in others} | {"7BH", "BH7"}
    slips -= {"B7H"}
    for slip in slips:
        reading = ask(f"{slip} rinse")
        assert reading.drafts == ()
        assert reading.refused in ("mistyped_machine", "unknown_machine", "unknown_word", "unknown_number")
        assert reading.refused != "unknown_machine"


def test_how_many_codes_of_three_there_are():
    letters = [c for c in string.ascii_uppercase if c not in "ILOU"]
    codes = [letter + digit + mod_37_2.calc_check_digit(letter + digit) for letter in letters for digit in "23456789"]
    assert sum(is_a_code(code, THREE) for code in codes) == 145
    assert not any(is_a_code(code, THREE) for code in ("B8H", "7BH", "B7HH", "BHH", "B0X"))


@pytest.mark.parametrize(("stem", "length"), [("B72", 4), ("K394", 5)])
def test_longer_codes(stem, length):
    code = stem + mod_37_2.calc_check_digit(stem)
    fleet = Fleet(frozenset({code}), lambda _: HALIFAX, None, "en", HALIFAX)
    assert len(code) == length
    for text in (code, code.lower(), f"{code[:-1]} {code[-1]}", f"{code[:2]}-{code[2:]}"):
        assert [draft.machine for draft in read(f"{text} rinsed", fleet, NIGHT).drafts] == [code]
    for index in range(length - 1):
        swapped = code[:index] + code[index + 1] + code[index] + code[index + 2 :]
        if swapped != code:
            assert read(f"{swapped} rinsed", fleet, NIGHT).refused == "mistyped_machine"


def test_a_code_of_another_fleet_is_not_mistyped(kinds):
    assert kinds("K3Q rinse") == ["?unknown_machine"]
    assert kinds("K3R rinse") == ["?mistyped_machine"]


def test_letters_and_digits_that_are_no_code_are_a_word(kinds):
    assert kinds("B7H r1nsed") == ["?unknown_word"]
    assert kinds("B7H r1n") == ["?mistyped_machine"]


@pytest.mark.parametrize(
    ("text", "machines"),
    [
        ("B7H rinsed. C4J charged", ["B7H", "C4J"]),
        ("B7H and C4J rinsed", ["B7H", "C4J"]),
        ("B7H, C4J y B8F enjuagadas", ["B7H", "C4J", "B8F"]),
        ("rinsed B7H", ["B7H"]),
        ("rinsed B7H charged", ["B7H", "B7H"]),
        ("rinsed and charged, B7H 0500", ["B7H", "B7H"]),
    ],
)
def test_words_find_their_machines(text, machines, ask):
    assert [draft.machine for draft in ask(text).drafts] == machines


@pytest.mark.parametrize(
    "text",
    [
        "rinsed B7H, charged C4J",  # before or after the code? the two halves say two things
        "rinsed B7H and C4J",
        "B7H C4J rinsed",
        "B7H. C4J rinsed",
        "B7H rinsed, C4J",
        "rinsed. B7H charged",
        "squeegee on B7H broken",
        "B7H squeegee on C4J broken",
        "B7H fault hose, C4J rinse",
        "B7H hose leaks and C4J rinsed",
        "hose leaks, B7H rinsed",
    ],
)
def test_where_a_word_may_be_another_machines_the_sender_is_asked(text, kinds):
    assert kinds(text) == ["?which_machine"]


def test_the_only_machine_may_be_left_out(ask, kinds):
    assert [draft.machine for draft in ask("rinsed", lone="C4J").drafts] == ["C4J"]
    assert [draft.machine for draft in ask("B7H rinsed", lone="C4J").drafts] == ["B7H"]
    assert kinds("rinsed") == ["?which_machine"]
    assert kinds("start", lone="C4J") == ["!opt_in"]


def test_a_machine_named_again_goes_on(ask, kinds):
    drafts = ask("B7H rinsed. C4J rinsed. B7H charged").drafts
    assert [(draft.machine, draft.kind) for draft in drafts] == [("B7H", "rinse"), ("B7H", "charge"), ("C4J", "rinse")]
    assert kinds("B7H rinsed. C4J rinsed. B7H charged 0500") == ["?ambiguous_time"]


def test_every_letter_and_digit_is_in_a_token():
    text = "B7H'); rinse—5½ l. ¿qué? ３ Привет 2² a_b"
    kept = "".join(text[token.start : token.end] for token in tokenise(text, frozenset({"B7H"})))
    assert [c for c in text if c.isalnum()] == [c for c in kept if c.isalnum()]
