"""One tap by two ways: from the phone itself, and in the text that the phone offered. The log takes it once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from logbook.channels.desk import Answer, Message
from logbook.domain.instants import MINUTE
from logbook.domain.tapcode import entry_id
from logbook.intake import Draft, Receipt
from logbook.store import heard, log
from tests.channels.test_desk import ANA, MORE, PEOPLE
from tests.whole.stage import START, Stage

TAP, OTHER = "K7M2QH9XTR", "4GDWN8ZE3C"
TEXT = f"B7H empty, rinse 0750 #{TAP} charge 0755 #{OTHER}"


@pytest.fixture
def one(make: Callable[..., Stage]) -> Stage:
    return make(person=PEOPLE, machine=MORE)


def say(one: Stage, text: str, sender: str = ANA) -> Answer:
    return one.program.desk.take(Message(one.ids(), "text", sender, text, one.now))


def tapped(one: Stage, tap: str, *kinds: str, code: str = "B7H", at: int = START - 10 * MINUTE) -> Receipt:
    """What the phone sends by itself."""
    drafts = [Draft(entry_id(tap, kind), one.machine(code), kind, {}, at, merge=True) for kind in kinds]
    return one.program.intake.record(drafts, one.by("ana"))


def rows(one: Stage, code: str = "B7H") -> list[log.Stored]:
    found: list[log.Stored] = one.read(lambda c: list(log.by_seq(c, one.machine(code))))
    return found[1:]


def test_first_the_text_then_the_phone(one: Stage) -> None:
    answer = say(one, TEXT)
    assert answer.outcome == "saved"
    assert answer.entries == (entry_id(TAP, "empty"), entry_id(TAP, "rinse"), entry_id(OTHER, "charge"))
    one.now += MINUTE
    for receipt in (tapped(one, TAP, "empty", "rinse"), tapped(one, OTHER, "charge")):
        assert all(entry.repeated for entry in receipt.entries)
    assert [(row.kind, row.occurred_at) for row in rows(one)] == [
        ("empty", START - 10 * MINUTE), ("rinse", START - 10 * MINUTE), ("charge", START - 5 * MINUTE),
    ]  # fmt: skip


def test_first_the_phone_then_the_text(one: Stage) -> None:
    tapped(one, TAP, "empty", "rinse", at=START - 9 * MINUTE)
    tapped(one, OTHER, "charge", at=START - 4 * MINUTE)
    answer = say(one, TEXT)
    assert answer.outcome == "saved"
    assert answer.reply is not None
    assert answer.reply.startswith("Saved before: B7H 07:50 emptied, rinsed; 07:55 charged.")
    assert [(row.kind, row.occurred_at) for row in rows(one)] == [
        ("empty", START - 9 * MINUTE), ("rinse", START - 9 * MINUTE), ("charge", START - 4 * MINUTE),
    ]  # fmt: skip


def test_what_had_not_come_by_the_phone_yet_is_saved_from_the_text(one: Stage) -> None:
    tapped(one, TAP, "empty", "rinse")
    answer = say(one, TEXT)
    assert answer.outcome == "saved"
    assert answer.reply is not None
    assert not answer.reply.startswith("Saved before")
    assert [row.kind for row in rows(one)] == ["empty", "rinse", "charge"]
    assert all(entry.repeated for entry in tapped(one, OTHER, "charge").entries)
    assert len(rows(one)) == 3


def test_the_same_text_is_once_however_often_it_is_sent(one: Stage) -> None:
    say(one, TEXT)
    one.now += 11 * MINUTE  # too long ago to be taken for the same message
    assert say(one, TEXT).outcome == "saved"
    assert len(rows(one)) == 3


def test_a_damaged_code_costs_nothing_but_the_merging(one: Stage) -> None:
    assert say(one, f"B7H rinse 0750 #{TAP[:-1]}").outcome == "saved"
    assert [row.kind for row in rows(one)] == ["rinse"]
    assert rows(one)[0].id != entry_id(TAP, "rinse")


def test_a_code_that_names_another_machines_act_saves_nothing(one: Stage) -> None:
    tapped(one, TAP, "rinse", code="C4J")
    answer = say(one, f"B7H rinse 0750 #{TAP}")
    assert answer.outcome == "id_reused"
    assert answer.reply is not None
    assert answer.reply.startswith("NOT SAVED, but kept.")
    assert rows(one) == []
    kept: Any = one.read(lambda c: heard.latest(c, ANA))
    assert kept[0].text == f"B7H rinse 0750 #{TAP}"


def test_undo_takes_the_text_back_and_the_phone_does_not_tell_it_anew(one: Stage) -> None:
    say(one, TEXT)
    one.now += MINUTE
    assert say(one, "UNDO").outcome == "undo"
    tapped(one, TAP, "empty", "rinse")
    tapped(one, OTHER, "charge")
    assert [row.kind for row in rows(one)] == ["empty", "rinse", "charge", "void", "void", "void"]
