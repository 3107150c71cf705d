"""What the pages know of every kind and duty of the catalogue: whoever adds one is told here where it is missing."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from logbook.domain.entries import catalogue
from logbook.domain.instants import parse
from logbook.web.history.nights import ACTS
from logbook.web.phone.acts import BUTTONS
from tests.web.conftest import Pages
from tests.web.phone_forms import look

TYPED = {kind.kind for kind in catalogue if kind.words is not None}
"""What a text can tell, and so a phone without a signal."""


def test_what_a_text_can_tell_the_phone_can_tell_and_nothing_else() -> None:
    assert set(BUTTONS) == TYPED


def test_every_button_is_somewhere_on_the_page_and_once(pages: Callable[..., Pages]) -> None:
    one = pages(at=parse("2026-03-03T02:00:00Z"))
    client = one.client("ana")
    for tell in ("", "start", "put_away"):
        if tell:
            one.stage.tell("B7H", tell)
        buttons = [b.get("data-act") for b in look(client, "/en/m/B7H").buttons]
        offered = [kind for kind in buttons if kind in TYPED]
        assert set(offered) == TYPED
        assert len(offered) == len(set(offered))


@pytest.mark.parametrize("kind", ACTS)
def test_a_night_tells_of_kinds_that_there_are(kind: str) -> None:
    assert catalogue.newest(kind) is not None
