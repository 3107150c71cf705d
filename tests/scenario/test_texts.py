"""Every text of the made-up nights, read by the program: it must mean what was meant, or be refused where that was.

The generator never asks the grammar; so this holds two writings of it against each other, 3,900 texts at a time.
"""

from __future__ import annotations

import re
from collections import Counter
from datetime import timedelta
from functools import cache

import pytest

from logbook.channels.text import Fleet, Reading, read
from logbook.domain import instants
from scenario import phrases
from scenario.book import Text
from scenario.generate import Nights, make

SEEDS = (7, 8)


@cache
def nights(seed: int) -> Nights:
    return make(seed)


def reading(text: Text, made: Nights) -> Reading:
    """The text, read as the program reads it when it knows the sender and what stands at the sender's sites then."""
    sender = next(person for person in made.fleet.people.values() if person.phone == text.sender)
    machines = [state for state in made.states.values() if state.where(text.at).code in sender.sites]
    at = instants.from_datetime(text.at)
    fleet = Fleet(
        codes=frozenset(made.states),
        zone_of=lambda code: made.states[code].where(text.at).zone,
        lone_machine=machines[0].machine.code if len(machines) == 1 else None,
        language=sender.language,
        zone=made.fleet.sites[sender.sites[0]].zone,
    )
    return read(text.text, fleet, at)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_text_is_read_as_it_was_meant(seed: int) -> None:
    made = nights(seed)
    wrong, seen = [], set()
    for text in made.book.texts:
        if text.id in seen:
            continue  # the gateway brings it a second time
        seen.add(text.id)
        got = reading(text, made)
        said = [
            (draft.machine, draft.kind, instants.to_datetime(draft.occurred_at), {**draft.data, "note": None})
            for draft in got.drafts
        ]
        meant = [(e.machine, e.kind, e.occurred, {**e.data, "note": None}) for e in text.made]
        if said != meant or (got.control == "undo") != text.undo:
            wrong.append((text.text, got.refused or got.control, said, meant))
    assert wrong == []


@pytest.mark.parametrize("seed", SEEDS)
def test_some_texts_must_be_refused_for_several_reasons(seed: int) -> None:
    made = nights(seed)
    reasons = Counter(reading(text, made).refused for text in made.book.texts if not text.made and not text.undo)
    assert None not in reasons
    assert len(reasons) >= 5, reasons


@pytest.mark.parametrize("seed", SEEDS)
def test_nobody_types_more_than_six_texts_in_ten_minutes(seed: int) -> None:
    by_sender: dict[str, list[Text]] = {}
    for text in sorted(nights(seed).book.texts, key=lambda text: text.at):
        by_sender.setdefault(text.sender, []).append(text)
    for texts in by_sender.values():
        for first, seventh in zip(texts, texts[6:], strict=False):
            assert seventh.at - first.at > timedelta(minutes=10), (first, seventh)


def test_things_are_told_in_all_the_ways_that_are_promised() -> None:
    made = nights(7)
    texts = made.book.texts
    ids = Counter(text.id for text in texts)
    assert max(ids.values()) == 2, "a text that the gateway delivers twice"
    assert sum(text.undo for text in texts) >= 5
    assert sum(not text.made and not text.undo for text in texts) >= 50, "texts that must be refused"
    slips = {slip for slips in phrases.SLIPS.values() for slip in slips}
    typed = {word.strip(".,").lower() for text in texts for word in text.text.split()}
    assert len(slips & typed) > 0.8 * len(slips)
    codes = set(made.states)
    assert any(not any(c.lower() in t.text.lower().replace(" ", "") for c in codes) for t in texts if t.made)
    entries = [entry for text in texts for entry in text.made]
    assert any(entry.recorded - entry.occurred > timedelta(hours=4) for entry in entries), "kept on a phone"
    assert sum(entry.data.get("told") == "card" for entry in entries) > 100
    assert {text.sender[:5] for text in texts} == {"+1902", "+1709"}


def test_all_numbers_and_addresses_are_of_the_kind_that_nobody_has() -> None:
    for row in nights(7).fleet.raw["person"]:
        assert re.fullmatch(r"\+1(902|709)55501\d\d", row["phone"])
        assert row.get("email", "x@y.example").endswith(".example")
