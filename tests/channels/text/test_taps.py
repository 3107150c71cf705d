"""Codes of taps in a text: whose words they name, and what is none of them."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from logbook.channels.text import Reading, answer, as_json
from logbook.domain.tapcode import ALPHABET
from tests.channels.text.conftest import make_fleet

Ask = Callable[..., Reading]
A, B, C = "#AAAAAAAAAA", "#BBBBBBBBBB", "#K7M2QH9XTR"


def said(reading: Reading) -> list[str]:
    """Machine, kind and tap of each draft; or the refusal."""
    if reading.refused is not None:
        return [f"?{reading.refused}"]
    return [f"{d.machine} {d.kind} {d.tap[0] if d.tap else '-'}" for d in reading.drafts]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        (f"B7H rinse 0512 charge 0512 {A}", "B7H rinse A, B7H charge A"),
        (f"B7H rinse 0510 {A} charge 0512 {B}", "B7H rinse A, B7H charge B"),
        (f"b7h rinse 0510 {A.lower()} CHARGE 0512 {B}", "B7H rinse A, B7H charge B"),
        (f"B7H rinse{A} charge{B}", "B7H rinse A, B7H charge B"),
        (f"B7H rinse 0510 {A} C4J charge 0512 {B}", "B7H rinse A, C4J charge B"),
        (f"B7H rinse 0510 {A} C4J charge 0511 {B} unplug 0512 {C}", "B7H rinse A, C4J charge B, C4J unplug K"),
        # Back to the last machine, and no further.
        (f"B7H rinse C4J charge {A}", "B7H rinse -, C4J charge A"),
        (f"B7H rinse {A} charge C4J empty {B}", "B7H rinse A, B7H charge -, C4J empty B"),
        # One machine's code holds for all, wherever it stands, as in any text.
        (f"rinse 0510 {A} charge 0511 {B} B7H", "B7H rinse A, B7H charge B"),
        # What is behind the last code is nobody's tap.
        (f"B7H rinse 0510 {A} and charged", "B7H rinse A, B7H charge -"),
        (f"B7H rinse 0510 {A} thanks", "B7H rinse A"),
        # A tap is of one machine, and makes one entry of a kind.
        (f"B7H and C4J rinse {A}", "B7H rinse -, C4J rinse -"),
        (f"B7H rinsed. note one. charged. note two {A}", "B7H rinse A, B7H note A, B7H charge A, B7H note -"),
        # Nothing reaches over a code: two taps may say the same twice, or the one thing and the other.
        (f"B7H charge 0430 {A} unplug 0440 {B} charge 0512 {C}", "B7H charge A, B7H unplug B, B7H charge K"),
        (f"B7H fault: pump leaks, 0510 {A} charge 0512 {B}", "B7H fault A, B7H charge B"),
        (f"B7H rinse {A} rinse {A}", "B7H rinse A"),
        # The rest of the text is read as ever.
        (f"B7H rinse flobber {A}", "?unknown_word"),
        (f"rinse {A}", "?which_machine"),
        (f"B7H not rinsed {A}", "?negated"),
        (f"B7H {A}", "?nothing_to_do"),
        (f"B7H and C4J rinse {A} charge {B}", "?which_machine"),
        (f"undo {A}", "?ambiguous_word"),
    ],
)
def test_whose_words_a_code_names(ask: Ask, text: str, found: str) -> None:
    assert ", ".join(said(ask(text))) == found


@pytest.mark.parametrize(
    "spoilt", ["#AAAAAAAAA", "#AAAAAAAAAAA", "#AAAAAAAAA0", "#K7M2QH9XTI", "#k7m2qh9xti", "#A2A2A2A"]
)
def test_the_words_before_a_damaged_code_are_saved_as_any_texts(ask: Ask, spoilt: str) -> None:
    assert said(ask(f"B7H rinse 0512 {spoilt}")) == ["B7H rinse -"]
    assert said(ask(f"B7H rinse 0510 {spoilt} charge 0512 {B}")) == ["B7H rinse -", "B7H charge B"]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("#rinsed #B7H", "B7H rinse -"),
        ("B7H #WATERED", "B7H watering -"),
        ("B7H #emptied #charged", "B7H empty -, B7H charge -"),
        ("B7H rinse #B7K", "?mistyped_machine"),
        ("B7H rinse #1234567", "?unknown_number"),
        ("B7H hours #12345.6", "B7H hours -"),
        ("B7H rinse #somethingelse", "?unknown_word"),
        ("B7H rinse K7M2QH9XTR", "?unknown_word"),
        ("B7H rinse # K7M2QH9XTR", "?unknown_word"),
    ],
)
def test_elsewhere_the_sign_is_ignored_as_before(ask: Ask, text: str, found: str) -> None:
    assert ", ".join(said(ask(text))) == found


def test_a_parts_number_stays_in_the_sentence(ask: Ask) -> None:
    [draft] = ask("B7H fault: wheel #AX12345B broken").drafts
    assert (draft.tap, draft.data) == (None, {"note": "fault: wheel #AX12345B broken"})


def test_a_note_ends_before_the_code(ask: Ask) -> None:
    drafts = ask(f"B7H fault: pump leaks, 0510 {A} note: key is by the door {B}").drafts
    assert [draft.data for draft in drafts] == [{"note": "fault: pump leaks"}, {"note": "note: key is by the door"}]


@pytest.mark.parametrize("kind", ["fault", "repaired", "note"])
@pytest.mark.parametrize(
    "words",
    ["pump broken", "no leaks", "not sure, needs a new hose", "fixed again. rinse it tomorrow", "see 1734", "sg"],
)
def test_what_was_tapped_as_a_remark_is_that_remark(ask: Ask, kind: str, words: str) -> None:
    """The phone's own word leads it, so that there is nothing to ask."""
    word = {"fault": "fault", "repaired": "fixed", "note": "note"}[kind]
    [draft] = ask(f"B7H {word}: {words}, 0510 {A}").drafts
    assert (draft.kind, draft.data, draft.tap) == (kind, {"note": f"{word}: {words}"}, A[1:])
    assert ask(f"B7H 0510 {A}").refused == "nothing_to_do"


def test_every_sign_of_the_alphabet_is_read(ask: Ask) -> None:
    for start in range(0, 30, 10):
        code = ALPHABET[start : start + 10]
        [draft] = ask(f"B7H rinse 0512 #{code.lower()}").drafts
        assert draft.tap == code


def test_neither_the_answer_nor_the_printed_object_shows_it(ask: Ask) -> None:
    plain, tapped = ask("B7H rinse 0510 C4J charge 0512"), ask(f"B7H rinse 0510 {A} C4J charge 0512 {B}")
    fleet = make_fleet()
    told = answer(tapped, fleet=fleet, owed=None, language="en")
    assert told == answer(plain, fleet=fleet, owed=None, language="en")
    assert as_json(tapped, told) == as_json(plain, told)
