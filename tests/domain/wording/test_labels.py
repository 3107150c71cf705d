"""Every duty, every kind of entry and every role has its words in both languages."""

from __future__ import annotations

from typing import get_args

import pytest

from logbook.domain.duties import DUTIES
from logbook.domain.entries import catalogue
from logbook.domain.entries.alerts import Outcome
from logbook.domain.entries.base import Role
from logbook.domain.wording import LANGUAGES, speech
from logbook.domain.wording.duties import WORDS, duty_label
from logbook.domain.wording.labels import ENTRIES, ROLES, entry_label, role_label
from logbook.domain.wording.sentences import OUTCOMES

KINDS = [kind.kind for kind in catalogue]


def test_nothing_has_words_that_does_not_exist() -> None:
    assert set(ENTRIES) == set(KINDS)
    assert set(WORDS) == set(DUTIES)
    assert set(ROLES) == set(get_args(Role))
    assert set(OUTCOMES) == set(get_args(Outcome))


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_entry_has_a_label(kind: str) -> None:
    assert entry_label(kind, "en") == ENTRIES[kind]
    assert entry_label(kind, "es") != entry_label(kind, "en")


@pytest.mark.parametrize("language", LANGUAGES)
def test_labels_are_short_and_no_two_kinds_share_one(language: str) -> None:
    labels = [entry_label(kind, language) for kind in KINDS]
    assert len(set(labels)) == len(labels)
    assert max(map(len, labels)) <= 40


@pytest.mark.parametrize("duty", DUTIES)
@pytest.mark.parametrize("part", ["label", "title", "happened", "cost", "do", "brief"])
def test_every_duty_has_all_its_words(duty: str, part: str) -> None:
    english = getattr(WORDS[duty], part)
    spanish = speech("es", "alerts")(english)
    assert english
    assert spanish not in ("", english)


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_two_duties_are_called_alike(language: str) -> None:
    assert len({duty_label(duty, language) for duty in DUTIES}) == len(DUTIES)


def test_a_duty_that_does_not_exist_has_no_label() -> None:
    with pytest.raises(KeyError):
        duty_label("polish", "en")


def test_an_unknown_kind_is_shown_by_its_own_name() -> None:
    assert entry_label("seal_made", "es") == "seal made"


@pytest.mark.parametrize("role", get_args(Role))
def test_every_role_has_a_label(role: str) -> None:
    assert role_label(role, "en") == role
    assert role_label(role, "es") not in ("", role) or role == "supervisor"


def test_a_name_in_a_roles_place_is_not_shown() -> None:
    assert role_label("Jo Marsh", "en") == "somebody"
    assert role_label("Jo Marsh", "es") == "alguien"
