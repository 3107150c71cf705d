"""What a person's role and state let them do, apart from any page."""

from __future__ import annotations

import pytest

from logbook.domain.people import Person, State


def _who(role: str, *sites: str) -> Person:
    return Person(role, role=role, sites=sites)


@pytest.mark.parametrize(
    ("by", "of", "answers"),
    [
        (_who("owner"), _who("owner"), True),
        (_who("owner"), _who("cleaner", "south-slip"), True),
        (_who("supervisor", "north-slip"), _who("cleaner", "south-slip", "north-slip"), True),
        (_who("supervisor", "north-slip"), _who("supervisor", "north-slip"), True),
        (_who("supervisor", "north-slip"), _who("cleaner", "south-slip"), False),
        (_who("supervisor", "north-slip"), _who("owner", "north-slip"), False),
        (_who("keeper", "north-slip"), _who("cleaner", "north-slip"), False),
        (_who("cleaner", "north-slip"), _who("cleaner", "north-slip"), False),
    ],
)
def test_who_may_change_whom(by: Person, of: Person, answers: bool) -> None:
    assert by.answers_for(of) is answers


@pytest.mark.parametrize(
    ("state", "reports"), [("member", True), ("unconfirmed", True), ("set_aside", False), ("left", False)]
)
def test_whose_word_counts(state: State, reports: bool) -> None:
    assert Person("one", state=state).reports is reports


@pytest.mark.parametrize(
    ("role", "leads"), [("cleaner", False), ("keeper", False), ("supervisor", True), ("owner", True)]
)
def test_who_leads(role: str, leads: bool) -> None:
    assert _who(role).leads is leads
