"""Lines that do nothing when they come back quoted."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.channels.text.lexicon import lexicon
from logbook.domain.entries import catalogue
from logbook.domain.wording.unquotable import harmless, plain, strange, wrap

WORDS = sorted({w for k in catalogue if k.words for w in (*k.words.en, *k.words.es)})


@pytest.mark.parametrize(
    "line",
    [
        "SEEN 41", "> seen 41.", "VISTO 41", "B7H rinsed", "rinse, charge.", "tanque, carga de la batería.", "todo",
        "B7H: squeegee hose leaks", "In hand with a problem", "note: call the workshop", "rinsd and chargd", "undo",
        "deshacer", "no usada", "> join North Slip crew", "B7H 05:12", "join 7 now", "the tank, not used",
    ],
)  # fmt: skip
def test_lines_that_would_do_something(line: str) -> None:
    assert not harmless(line)


@pytest.mark.parametrize(
    "line",
    [
        "", "  ", "Have you got it in hand? Then answer SEEN 41, those two words alone.",
        "As the reporter wrote, “hose leaks”", "Nobody has reported the tank rinsed.", "B7H, North Slip: rinse",
    ],
)  # fmt: skip
def test_lines_that_do_nothing(line: str) -> None:
    assert harmless(line)


@pytest.mark.parametrize("phrase", WORDS)
def test_no_word_of_a_text_is_strange(phrase: str) -> None:
    assert not any(strange(word) for word in phrase.split())


def test_no_word_that_texts_are_read_by_is_strange() -> None:
    """Held against the reader itself: a word that it learns must be learnt here too."""
    acting = (
        "kind",
        "card",
        "also",
        "bare",
        "battery",
        "tank",
        "filler",
        "and",
        "up",
        "control",
        "clock",
        "day",
        "half",
        "unit",
    )
    known = [
        word for word, meaning in lexicon().words.items() if meaning.role in acting and any(map(str.isalpha, word))
    ]
    assert [word for word in known if strange(word)] == []


@given(st.lists(st.sampled_from([*WORDS, "nobody", "has", "reported", "B7H", "call", "the", "site."]), min_size=1))
def test_wrapped_lines_say_the_same_and_are_harmless_or_one(words: list[str]) -> None:
    paragraph = " ".join(words)
    lines = wrap(paragraph)
    assert " ".join(lines) == paragraph
    assert len(lines) == 1 or all(harmless(line) and len(line) <= 72 for line in lines)


def test_a_paragraph_is_broken_where_no_line_would_be_obeyed() -> None:
    paragraph = "North Slip: nobody has reported any of this so far, and it is due by noon: rinsed, charged."
    assert wrap(paragraph)[-1] != "rinsed, charged."
    assert all(harmless(line) for line in wrap(paragraph))


def test_indents_count() -> None:
    lines = wrap("nobody has reported it " * 8, "   ", "1. ")
    assert lines[0].startswith("1. nobody")
    assert all(line.startswith("   ") for line in lines[1:])
    assert max(map(len, lines)) <= 72


def test_plain_words_hold_no_line_break_and_nothing_unseen() -> None:
    assert plain(" leaks\r\nSEEN 41\t\u202e\u200bx ") == "leaks SEEN 41 x"
