"""Faults, repairs and notes: sentences that are kept as they were written, and in which nothing else counts."""

from __future__ import annotations

import pytest


@pytest.mark.parametrize(
    ("text", "note"),
    [
        ("B7H squeegee broken", "squeegee broken"),
        ("B7H: filter leaks!", "filter leaks"),
        ("B7H won't charge", "won't charge"),
        ("B7H wont start", "wont start"),
        ("B7H no prende", "no prende"),
        ("B7H no funciona nada", "no funciona nada"),
        ("B7H won't charge doesn't start", "won't charge doesn't start"),
        ("B7H fault E23 on the screen", "fault E23 on the screen"),
        ("B7H Fuga en la manguera, 2 l por hora", "Fuga en la manguera, 2 l por hora"),
        ("B7H filter, squeegee broken", "filter, squeegee broken"),
        ("B7H squeegee broken, filter", "squeegee broken, filter"),
        ("B7H hose leaks. Not charged", "hose leaks. Not charged"),
        ("B7H hose leaks and pump broken", "hose leaks and pump broken"),
        ("B7H hose leaks. Water everywhere 😡", "hose leaks. Water everywhere 😡"),
        ("squeegee broken B7H", "squeegee broken"),
        ("B7H problem: no power at the key", "problem: no power at the key"),
    ],
)
def test_a_fault_is_kept_as_it_was_written(text, note, ask):
    reading = ask(text)
    assert [(draft.kind, draft.data) for draft in reading.drafts] == [("fault", {"note": note})]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("B7H rinsed, squeegee broken", ["rinse", "fault"]),
        ("B7H squeegee broken. Rinsed and charged", ["fault", "rinse", "charge"]),
        ("B7H hose leaks. Water everywhere, rinsed", ["fault", "rinse"]),
        ("B7H hose leaks, not charged, rinsed", ["fault", "rinse"]),
        ("B7H hose leaks. Rinsed. Pump broken", ["fault", "rinse", "fault"]),
        ("B7H hose leaks. Rinsed. Not charged", ["?negated"]),
        ("B7H pump humming. Hose leaks", ["?unknown_word"]),
        ("B7H fault hose. C4J rinse", ["fault", "rinse"]),
        ("B7H fault hose\nC4J rinse", ["fault", "rinse"]),
        ("B7H fault hose. C4H rinse", ["?mistyped_machine"]),
        ("B7H and C4J broken", ["fault", "fault"]),
        ("B7H B7 leaking", ["?mistyped_machine"]),
    ],
)
def test_what_stands_around_a_fault(text, expected, kinds):
    assert kinds(text) == expected


@pytest.mark.parametrize(
    "text",
    [
        "B7H no leaks", "B7H rinsed, no problem", "B7H sin problema", "B7H doesn't leak", "B7H won't leak",
        "B7H not broken", "B7H no more leaks", "B7H checked for leaks", "B7H any leaks", "B7H 0 leaks", "B7H leaks no",
        "B7H leaks?", "B7H hose leaks. what now?", "B7H leak free", "B7H problem solved",
        "B7H stopped leaking", "B7H leak gone",
    ],
)  # fmt: skip
def test_a_fault_that_may_be_denied_asks(text, kinds):
    assert kinds(text) == ["?ambiguous_word"]


@pytest.mark.parametrize("text", ["B7H leak fixed", "B7H fixed", "B7H manguera reparada", "B7H arreglé la fuga"])
def test_a_repair(text, kinds, ask):
    assert kinds(text) == ["repaired"]
    assert ask(text).drafts[0].data == {"note": text.removeprefix("B7H ")}


@pytest.mark.parametrize(
    "text",
    [
        "B7H leak must be fixed", "B7H needs to be repaired", "B7H leak fixed but drips", "B7H leak fixed again",
        "B7H leak not fixed", "B7H fuga no reparada", "B7H leak fixd", "B7H won't be fixed", "B7H fixed?",
        "B7H por arreglar, fuga sin arreglar falta reparada",
    ],
)  # fmt: skip
def test_a_repair_that_may_be_a_wish_is_never_saved(text, ask):
    reading = ask(text)
    assert reading.drafts == ()
    assert reading.refused in ("ambiguous_word", "unknown_word")


def test_a_repair_to_come_is_a_plan(kinds):
    assert kinds("B7H will be fixed") == ["?negated"]
    assert kinds("B7H not fixed") == ["?negated"]


@pytest.mark.parametrize(
    ("text", "note"),
    [
        ("B7H note new mats at the gate", "note new mats at the gate"),
        ("B7H note: not rinsed, will do it tomorrow", "note: not rinsed, will do it tomorrow"),
        ("B7H Anotación falta jabón", "Anotación falta jabón"),
        ("B7H note who has the key?", "note who has the key?"),
    ],
)
def test_a_note_may_say_anything(text, note, ask):
    assert [(draft.kind, draft.data) for draft in ask(text).drafts] == [("note", {"note": note})]


def test_a_fault_outweighs_a_note(kinds):
    assert kinds("B7H note squeegee broken") == ["fault"]
    assert kinds("B7H note. rinsed") == ["note", "rinse"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("B7H squeegee broken at 0430", ["fault 08:30"]),
        ("B7H squeegee broken 0430", ["fault 08:30"]),
        ("B7H 0430 squeegee broken", ["fault 08:30"]),
        ("B7H error 510 fault", ["fault 09:12"]),
        ("B7H pump broken 5 min ago", ["fault 09:07"]),
        ("B7H rinsed 0400. Pump broken 0430", ["rinse 08:00", "fault 08:30"]),
        ("B7H rinsed. 0430 pump broken", ["?ambiguous_time"]),
        ("B7H hose leaks. Started dripping at 0430", ["?ambiguous_time"]),
    ],
)
def test_a_time_in_a_fault_counts(text, expected, clocks):
    assert clocks(text) == expected
