"""Answers: one segment, in the sender's language, and harmless when they come back."""

from __future__ import annotations

import textwrap
from pathlib import Path

import pytest
from babel.messages.extract import extract_from_dir
from hypothesis import given
from hypothesis import strategies as st

from logbook.channels.text import Fleet, Reading, answer, gsm7, read
from logbook.channels.text.lexicon import lexicon
from logbook.channels.text.troubles import REASONS
from logbook.domain.duties import DUTIES
from logbook.domain.entries import catalogue
from logbook.domain.instants import parse
from logbook.domain.wording import LANGUAGES, speech

ROOT = Path(__file__).parents[3]
HERE = Path(__file__).parent
NIGHT = parse("2026-11-25T09:12:00Z")
DUTY_NAMES = ["rinse", "charge", "squeegee", "watering", "filter", "segments", "segments_low", "fault"]
TEXTS = [
    line.split("\t")[0] for line in (HERE / "worked.tsv").read_text(encoding="utf-8").splitlines() if line[0] != "#"
]


def test_saved(reply):
    assert reply("B7H emptied, rinsed", owed={"B7H": ["charge"]}) == (
        "B7H 05:12 emptied, rinsed. Still owed: charge. Wrong? UNDO"
    )
    assert reply("B7H vacié, enjuagué", owed={"B7H": ["charge"]}, language="es") == (
        "B7H 05:12 vaciada, enjuagada. Falta: cargar. ¿Mal? DESHACER"
    )
    assert reply("B7H rinsed", owed={"B7H": []}) == "B7H 05:12 rinsed. Nothing owed. Wrong? UNDO"
    assert reply("B7H rinsed", owed=None) == "B7H 05:12 rinsed. Wrong? UNDO"
    assert reply("B7H rinsed", owed=None, repeated=True) == "Saved before: B7H 05:12 rinsed. Wrong? UNDO"


def test_saved_names_machines_times_and_amounts(reply):
    assert reply("rinsed 2350", lone="C4J", owed=None) == "C4J yesterday 23:50 rinsed. Wrong? UNDO"
    assert reply("B7H and C4J rinsed", owed={"B7H": ["charge"], "C4J": []}) == (
        "B7H, C4J 05:12 rinsed. Still owed: B7H charge. Wrong? UNDO"
    )
    assert reply("B7H rinse 0510 empty 0500", owed=None) == "B7H 05:10 rinsed; 05:00 emptied. Wrong? UNDO"
    assert reply("B7H agua 2,1 l sg 1265 parked 83 %", owed=None, language="es") == (
        "B7H 05:12 agua de bateria 2,1 l, densidad 1,265, guardada 83 %. ¿Mal? DESHACER"
    )
    assert reply("B7H seg 3/8 9mm. hours 1233.6", owed=None, language="en").startswith("NOT SAVED.")
    assert (
        reply("B7H seg 9.5 9 mm, hours 1233.6", owed=None) == "B7H 05:12 segments 9.5 9 mm, hours 1233.6 h. Wrong? UNDO"
    )


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("B8H rinse", '"B8H" is no machine\'s code'), ("K3Q rinse", "K3Q is not a machine"), ("B7H foo", '"foo"'),
        ("B7H chage", "change or charge"), ("B7H not rinsed", '"not"'), ("B7H seg 9.5", "mm, in"),
        ("B7H water 60 l", "from 1 ml to 20 l"), ("B7H parked 101 %", "from 0 % to 100 %"),
        ("B7H sg 1500", "1.000 to 1.400"),
        ("B7H charge at 4", "0400 or 1600"), ("B7H charge at 1130", "1130 am or 2330"),
        ("B7H rinse 12:30", "0030 or 1230 pm"),
        ("B7H rinse 0530", "05:30 is still to come"), ("B7H rinse 20 h ago", "14 hours"), ("rinse", "Which machine?"),
        ("B7H rinse 60 l", "What is 60?"), ("B7H plug unplug", '"unplug"'), ("B7H water", "volume"),
    ],
)  # fmt: skip
def test_refused_names_what_was_not_understood(text, part, reply):
    said = reply(text, owed=None)
    assert said.startswith("NOT SAVED. ")
    assert part in said
    assert said.endswith("Send the whole text again.")


def test_what_a_refusal_proposes_is_then_understood(ask):
    for said, kind in (("1130 am", None), ("2330", "charge"), ("0030", "charge"), ("0400", "charge")):
        reading = ask(f"B7H charge at {said}")
        assert [draft.kind for draft in reading.drafts] == ([kind] if kind else [])
        assert reading.refused != "ambiguous_time"


def test_the_answer_to_an_opt_out_says_how_to_come_back(reply):
    assert "START" in reply("STOP", owed=None)
    assert "UNDO" in reply("STOP", owed=None)
    assert "START" in reply("baja", owed=None, language="es")


def test_a_language_that_is_not_spoken_becomes_english(reply):
    assert reply("rinse", owed=None, language="fr").startswith("NOT SAVED. ")


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_is_owed(language, reply):
    assert "B7H" in reply("owed", owed={"B7H": ["charge"], "C4J": []}, language=language)
    assert "C4J" not in reply("owed", owed={"B7H": ["charge"], "C4J": []}, language=language)
    assert reply("owed B7H", owed={"B7H": []}, language=language) == speech(language, "answers")("Nothing owed.")


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_kind_and_every_duty_has_its_words(language, fleet):
    told: dict[str, str] = {}
    for kind in catalogue:
        if kind.words is not None:
            reading = read(f"B7H {_typed(kind.kind)}", fleet, NIGHT)
            said = answer(reading, fleet=fleet, owed=None, language=language)
            assert reading.drafts[0].kind == kind.kind
            assert "_" not in said
            # A kind without words is told by its own name, which is English.
            assert language == "en" or kind.kind not in said
            told[kind.kind] = said
    assert len(set(told.values())) == len(told)  # no two kinds are told alike
    for name in DUTIES:
        said = answer(read("B7H rinse", fleet, NIGHT), fleet=fleet, owed={"B7H": [name]}, language=language)
        assert "_" not in said


def _typed(kind: str) -> str:
    return {
        "gravity": "sg 1265", "hours": "hours 1", "segments": "seg 9 mm", "segment_change": "seg new", "note": "note x",
    }.get(kind) or next(word for word, meaning in lexicon().words.items() if meaning.kind == kind)  # fmt: skip


def test_every_sentence_is_translated():
    known = {
        message
        for _, _, message, _, _ in extract_from_dir(
            ROOT / "logbook" / "channels" / "text",
            keywords={"say": None, "plural": (1, 2)},
            method_map=[("*.py", "python")],
        )
    }
    flat = {text for message in known for text in ((message,) if isinstance(message, str) else message[:1])}
    assert len(flat) > 60
    for language in LANGUAGES:
        if language != "en":
            missing = {text for text in flat if text not in speech(language, "answers")._said}
            assert missing == set()


FAULTY = [
    "B7H " + text
    for text in ("foo", "leaks?", "no leaks", "note x fixed", "leak must be fixed", "chage", "fault C4J", "won't leak")
]


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("lone", [None, "B7H"])
def test_no_answer_runs_when_it_is_quoted_back(language, lone, fleet, lone_fleet):
    """Whole, line by line as a mail would wrap it, and behind quotation marks."""
    reader = lone_fleet if lone else fleet
    asked = 0
    for text in (*TEXTS, *FAULTY):
        for owed in (None, {"B7H": DUTY_NAMES[:3], "C4J": ["rinse"]}):
            reading = read(text, fleet, NIGHT)
            said = answer(reading, fleet=fleet, owed=owed, language=language)
            lines = [said, f"> {said}", f'"{said}"', f"B7H {said}"]
            if reading.refused is not None:
                lines += [line for width in (60, 72, 76) for line in textwrap.wrap(said, width)]
            for line in lines:
                asked += 1
                assert read(line, reader, NIGHT).drafts == (), (text, line)
    assert asked > 500


WORDS = [word for word, meaning in lexicon().words.items() if meaning.role != "part"]
PIECES = st.one_of(
    st.sampled_from(WORDS),
    st.sampled_from(["B7H", "C4J", "B8F", "K3Q", "b7 h", "B7"]),
    st.sampled_from([".", ",", "\n", ";", "?", "%", "and", "y", "-", '"', "'", "👍", "❌", "/", "…"]),
    st.from_regex(r"[0-9]{1,5}([.,:/][0-9]{1,4})?(l|mm| in|%|am|h)?", fullmatch=True),
)
LIKELY = st.lists(PIECES, max_size=12).map(" ".join)
OWED = st.dictionaries(
    st.sampled_from(["B7H", "C4J", "C5H", "B8F"]), st.lists(st.sampled_from(DUTY_NAMES), max_size=8, unique=True)
)


def _judge(message: str, fleet: Fleet, owed: dict[str, list[str]] | None) -> None:
    reading = read(message, fleet, NIGHT)
    _is_one_of_three(reading)
    for language in LANGUAGES:
        for repeated in (False, True):
            said = answer(reading, fleet=fleet, owed=owed, repeated=repeated, language=language)
            assert said
            assert "\n" not in said
            assert gsm7.is_gsm7(said)
            assert gsm7.length(said) <= 160
            assert gsm7.parts(said) == 1
            if reading.drafts:
                assert said.endswith(speech(language, "answers")("Wrong? UNDO"))
        if reading.refused is not None:
            assert read(said, fleet, NIGHT).drafts == ()
            assert all(read(line, fleet, NIGHT).drafts == () for line in textwrap.wrap(said, 72))


def _is_one_of_three(reading: Reading) -> None:
    assert (bool(reading.drafts), reading.refused is not None, reading.control is not None).count(True) == 1
    assert reading.refused is None or reading.refused in REASONS
    for draft in reading.drafts:
        kind = catalogue.newest(draft.kind)
        assert kind is not None
        kind.model_validate(draft.data)  # what is saved is what the catalogue allows
        assert draft.occurred_at <= NIGHT
        assert draft.machine in {"B7H", "C4J", "C5H", "B8F"}


@given(message=st.text(max_size=200), lone=st.sampled_from([None, "B7H"]))
def test_any_text_at_all(message, lone):
    _judge(message, _fleet(lone), None)


@given(message=LIKELY, owed=st.none() | OWED, lone=st.sampled_from([None, "B7H"]))
def test_any_text_of_likely_pieces(message, owed, lone):
    _judge(message, _fleet(lone), owed)


@given(message=st.text(max_size=60), start=st.sampled_from(["B7H ", "B7H fault ", "join ", "seen ", "ok ", "B7H seg "]))
def test_any_text_behind_a_beginning(message, start):
    _judge(start + message, _fleet(None), None)


def _fleet(lone: str | None) -> Fleet:
    from zoneinfo import ZoneInfo

    zone = ZoneInfo("America/St_Johns")
    return Fleet(frozenset({"B7H", "C4J", "C5H", "B8F"}), lambda code: zone, lone, "en", zone)
