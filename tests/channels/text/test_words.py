"""Words: the catalogue's, their slips, the common words of two languages, small words, negations, verbs and objects."""

from __future__ import annotations

import string
from collections import Counter
from collections.abc import Iterator

import pytest
import wordfreq

from logbook.channels.text.lexicon import lexicon
from logbook.channels.text.slips import common_words
from logbook.channels.text.tokens import plain
from logbook.domain.entries import catalogue

NEEDED = {"gravity": " 1265", "hours": " 1234.5", "segments": " 9 mm"}
WORDS = [(kind.kind, word) for kind in catalogue if kind.words is not None for word in (*kind.words.en, *kind.words.es)]


@pytest.mark.parametrize(("kind", "word"), WORDS, ids=lambda value: value)
def test_every_word_of_the_catalogue_means_its_kind(kind, word, kinds):
    assert kinds(f"B7H {word}{NEEDED.get(kind, '')}") == [kind]
    assert kinds(f"b7h {word.upper()}{NEEDED.get(kind, '')}.") == [kind]


@pytest.mark.parametrize(
    ("word", "kind"),
    [
        ("cargadas", "charge"), ("guardados", "put_away"), ("vaciadas", "empty"), ("reparados", "repaired"),
        ("rotos", "fault"), ("dañadas", "fault"), ("no usadas", "not_used"), ("vacié", "empty"), ("llené", "fill"),
        ("enchufé", "charge"), ("averí\u0301a", "fault"), ("haragán", "squeegee"),
    ],
)  # fmt: skip
def test_plurals_and_accents(word, kind, kinds):
    assert kinds(f"B7H {word}") == [kind]


def slips(word: str) -> Iterator[str]:
    """All that a thumb can make of a word with one slip."""
    letters = string.ascii_lowercase
    seen = {word}
    for i in range(len(word) + 1):
        made = [word[:i] + c + word[i:] for c in letters]
        if i < len(word):
            made += [word[:i] + c + word[i + 1 :] for c in letters]
            made += [word[:i] + word[i + 1 :], word[:i] + word[i + 1 : i + 2] + word[i] + word[i + 2 :]]
        for one in made:
            if one not in seen:
                seen.add(one)
                yield one


def test_no_slip_of_any_word_is_read_as_another_kind(ask):
    """All one-slip errors of all words, about sixty thousand: right, or asked about, never wrong."""
    words = lexicon().words
    counts: Counter[str] = Counter()
    wrong = []
    for word, meaning in words.items():
        if meaning.role != "kind" or len(word) < 4:
            continue
        for slip in slips(word):
            if slip in words:  # another word, spelt right
                continue
            reading = ask(f"B7H {slip}{NEEDED.get(meaning.kind, '')}")
            found = [draft.kind for draft in reading.drafts]
            counts["right" if found == [meaning.kind] else "wrong" if found else "asked"] += 1
            if found and found != [meaning.kind]:
                wrong.append((word, slip, found))
    assert wrong == []
    assert counts["right"] > 50_000
    assert counts["asked"] / counts.total() < 0.06


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_commonest_words_alone_become_no_entry(language, ask):
    words = lexicon().words
    counts: Counter[str] = Counter()
    for word in wordfreq.top_n_list(language, 5_000):
        reading = ask(f"B7H {word}")
        if reading.drafts:
            counts["read"] += 1
            assert plain(word).replace("'", "") in words, word
            assert len({draft.kind for draft in reading.drafts}) == 1 or word in ("all", "todo")
        else:
            counts["asked"] += 1
    assert counts["read"] <= 40
    assert counts.total() == 5_000


def test_the_list_of_common_words():
    words = common_words()
    assert len(words) > 160_000
    assert {"change", "charger", "mango", "cargado", "llena", "thanks", "dont"} <= words
    assert not {"chrage", "rince", "enjuage", "parcked"} & words


@pytest.mark.parametrize("word", ["change", "changed", "changing", "cambio", "falta", "nota", "full", "lleno"])
def test_words_that_are_never_a_slip_ask(word, kinds):
    assert kinds(f"B7H {word}") == ["?ambiguous_word"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("B7H plg", ["charge"]), ("B7H plugg", ["charge"]), ("B7H plog", ["?unknown_word"]),
        ("B7H cagra", ["charge"]), ("B7H gote", ["?ambiguous_word"]), ("B7H sge 9 mm", ["?unknown_word"]),
        ("B7H chage", ["?ambiguous_word"]), ("B7H chance", ["?unknown_word"]), ("B7H no funcoina", ["fault"]),
        ("B7H batery water 2 l", ["watering"]), ("B7H nevr rinsed", ["?unknown_word"]),
    ],
)  # fmt: skip
def test_slips_by_length_and_likeness(text, expected, kinds):
    assert kinds(text) == expected


@pytest.mark.parametrize(
    "text",
    [
        "hola B7H el tanque vacié ya, gracias", "B7H emptied the tank now, ok thanks", "good night B7H emptied done",
        "buenas noches, vacié la máquina B7H", "hi, it is B7H",
    ],
)  # fmt: skip
def test_small_words_are_skipped_and_nothing_else(text, kinds):
    assert kinds(text) == (["?unknown_word"] if "is" in text.split() else ["empty"])


def test_up_only_after_a_verb(kinds):
    assert kinds("B7H filled up") == ["fill"]
    assert kinds("B7H topped up 2 l") == ["watering"]
    assert kinds("B7H up rinsed") == ["?unknown_word"]


@pytest.mark.parametrize(
    "text",
    [
        "B7H not rinsed", "B7H never charged", "B7H didn't rinse", "B7H didnt rinse", "B7H sin enjuagar",
        "B7H nunca cargue", "B7H no cargada", "B7H will charge", "B7H going to charge", "B7H voy a cargar",
        "B7H cargo luego", "B7H charge later", "B7H vacie mañana", "I'll rinse B7H", "B7H rinse ❌", "B7H 👎 rinse",
        "i won't rinse B7H",
    ],
)  # fmt: skip
def test_what_was_not_done_is_not_saved(text, kinds):
    assert kinds(text) == ["?negated"]


@pytest.mark.parametrize(
    "text",
    ["B7H charge?", "¿B7H cargada?", "B7H charged❓", "B7H please charge", "B7H por favor cargar", "pls rinse B7H"],
)
def test_a_request_or_a_question_asks(text, kinds):
    assert kinds(text) == ["?ambiguous_word"]


@pytest.mark.parametrize(
    "text",
    [
        "B7H rinsed filter", "B7H filter rinsed", "B7H rinsed the filter", "B7H wiped squeegee", "B7H squeegee emptied",
        "B7H filled filter", "rinsed B7H filter", "B7H rinse tank filter", "B7H rinsed water", "B7H wiped tank",
        "B7H filled battery water", "B7H enjuague filtro",
    ],
)  # fmt: skip
def test_a_verb_with_another_thing_asks(text, kinds):
    assert kinds(text) == ["?ambiguous_word"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("B7H filled water", ["fill"]), ("B7H water filled", ["fill"]), ("B7H emptied tank", ["empty"]),
        ("B7H rinsed the tank", ["rinse"]), ("B7H llené agua", ["fill"]), ("B7H rinsed, filter", ["rinse", "filter"]),
        ("B7H filter and rinsed", ["filter", "rinse"]),
        ("B7H vacié, filtro y haragán", ["empty", "filter", "squeegee"]),
    ],
)  # fmt: skip
def test_a_verb_with_its_own_thing_or_a_break_between(text, expected, kinds):
    assert kinds(text) == expected


@pytest.mark.parametrize(
    "text",
    [
        "B7H started charging", "B7H empiezo a cargar", "B7H start rinse", "B7H charge started", "B7H checked filter",
        "B7H revisé el filtro", "B7H checked sg 1265", "B7H filter plugged", "B7H plugged squeegee",
        "B7H topped up the tank",
        "B7H rellené el tanque", "B7H lavé la máquina",
    ],
)  # fmt: skip
def test_two_words_that_together_mean_something_else_ask(text, kinds):
    assert kinds(text) == ["?ambiguous_word"]


def test_the_same_words_apart_are_two_entries(kinds):
    assert kinds("B7H started, charging") == ["start", "charge"]
    assert kinds("B7H checked. Filter") == ["prepared", "filter"]
    assert kinds("B7H filter and plugged in") == ["filter", "charge"]
    assert kinds("B7H checked started") == ["prepared", "start"]


def test_battery_is_skipped_beside_charge_only(kinds):
    assert kinds("B7H battery charged") == ["charge"]
    assert kinds("B7H cargué la batería") == ["charge"]
    assert kinds("B7H battery") == ["?unknown_word"]
    assert kinds("B7H rinsed battery") == ["?unknown_word"]


def test_put_away_with_something_between(kinds, ask):
    assert kinds("B7H put it away") == ["put_away"]
    assert [(d.machine, d.kind) for d in ask("put B7H away").drafts] == [("B7H", "put_away")]
    assert kinds("B7H put") == ["?unknown_word"]


def test_the_closing_card(ask, kinds):
    card = ["empty", "rinse", "squeegee", "charge", "put_away"]
    for text in ("B7H all", "B7H all done", "B7H todo listo", "todo B7H, gracias", "B7H all done 0430"):
        assert kinds(text) == card
        assert all(draft.data == {"told": "card"} for draft in ask(text).drafts)
    for text in ("B7H all charged", "B7H rinsed all", "B7H all. C4J rinsed", "B7H todo, filtro"):
        assert kinds(text) == ["?ambiguous_word"]


def test_new_and_changed_are_said_of_segments(ask, kinds):
    assert kinds("B7H new segs") == ["segment_change"]
    assert kinds("B7H cambié los diamantes") == ["segment_change"]
    assert kinds("B7H segments replaced") == ["segment_change"]
    assert ask("B7H seg new 12 mm").drafts[0].data == {"left_um": [12_000]}
    assert kinds("B7H new filter") == ["?ambiguous_word"]
    assert kinds("B7H filter changed seg 9 mm") == ["?ambiguous_word"]
    assert kinds("B7H changed") == ["?ambiguous_word"]


def test_a_new_kind_needs_only_its_words():
    """The lexicon is made from the catalogue: no kind with words is missing, and no word has another's meaning."""
    words = lexicon()
    for kind in catalogue:
        for word in (*kind.words.en, *kind.words.es) if kind.words is not None else ():
            said = tuple(plain(word).replace("'", "").split())
            if len(said) == 1:
                assert words.words[said[0]].kind == kind.kind
            else:
                assert (said, kind.kind) in [(phrase, meaning.kind) for phrase, meaning in words.phrases[said[0]]]


def test_quotation_marks_are_punctuation_unless_they_are_inches(kinds, ask):
    assert kinds('"B7H rinsed"') == kinds("“B7H” ''rinsed''") == ["rinse"]
    assert ask('B7H seg .375"').drafts[0].data == ask('B7H seg .375 "').drafts[0].data == {"left_um": [9525]}
