"""The page for programmers says what the interface does: its examples are posted, its tables held against the code."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from logbook.domain.instants import HOUR
from logbook.domain.keyring import SCOPES
from logbook.web.api.app import make_api
from logbook.web.api.bodies import MOST
from logbook.web.api.limits import A_MINUTE
from logbook.web.api.problems import SORTS
from tests.web.conftest import Pages, make, pages
from tests.web.test_api import ALL, Asking

__all__ = ["make", "pages"]

PAGE = (Path(__file__).parents[2] / "deploy" / "interface.md").read_text()
_BLOCK = re.compile(r"<!-- (.+?) -->\n```json\n(.+?)\n```", re.DOTALL)


def holds(answer: Any, told: Any) -> None:
    """Whether the answer says what the page says; it may say more."""
    if isinstance(told, dict):
        for name, each in told.items():
            holds(answer[name], each)
    elif isinstance(told, list):
        assert len(answer) == len(told)
        for one, other in zip(answer, told, strict=True):
            holds(one, other)
    else:
        assert answer == told


def test_every_example_is_answered_as_the_page_says(pages: Callable[..., Pages]) -> None:
    one = Asking(pages())
    token = one.key(*ALL)
    answer: Any = None
    posted = 0
    for what, body in _BLOCK.findall(PAGE):
        if what == "answers with":
            holds(answer.json(), json.loads(body))
            continue
        _post, path, status = what.split()
        if "acknowledge" in path:
            one.pages.stage.until(one.pages.stage.now + 2 * HOUR)
        answer = one.post(path, token, json.loads(body))
        assert answer.status_code == int(status), answer.text
        posted += 1
    assert posted == 4
    kinds = [kind for kind, _at, _data in one.pages.stage.entries("B7H", "rinse", "put_away", "void", "acknowledged")]
    assert kinds == ["rinse", "put_away", "void", "put_away", "acknowledged"]


def test_the_addresses_are_those_of_the_interface() -> None:
    rows = PAGE.split("## Reading")[1].split("**Pages.**")[0]
    named = {path.replace("B7H", "{machine}") for path in re.findall(r"`(/[a-z/B7H]+)`", rows)}
    paths = {path for path, operations in make_api().openapi()["paths"].items() if "get" in operations}
    assert named == paths - {"/problems/{name}"}


@pytest.mark.parametrize("status", sorted({sort.status for sort in SORTS.values()}))
def test_every_status_has_its_row(status: int) -> None:
    rows = PAGE.split("| status |")[1]
    assert re.search(rf"^\|[^|]*\b{status}\b[^|]*\|", rows, re.MULTILINE)


def test_scopes_and_limits_are_those_of_the_program() -> None:
    rows = PAGE.split("| `--may` |")[1].split("\n\n")[0]
    assert re.findall(r"^\| `(\w+)`", rows, re.MULTILINE) == list(SCOPES)
    assert f"more than {A_MINUTE:,} requests" in PAGE
    assert f"at most {MOST:,} octets" in PAGE
