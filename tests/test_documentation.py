"""The pages for people say what the code says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from logbook.domain.duties import DUTIES
from logbook.domain.entries import catalogue
from logbook.domain.entries.base import Kind
from tests.documentation import DEVELOPERS, rewritten

ROOT = Path(__file__).parent.parent
PAGE = DEVELOPERS.read_text()


def test_the_table_of_entry_kinds_is_the_catalogue() -> None:
    assert rewritten(PAGE) == PAGE, "run: python -m tests.documentation"


@pytest.mark.parametrize("duty", DUTIES)
def test_every_duty_has_its_row(duty: str) -> None:
    rows = PAGE.split("<!-- duties:begin -->")[1].split("<!-- duties:end -->")[0]
    assert f"\n| `{duty}` | " in rows


@pytest.mark.parametrize("kind", list(catalogue), ids=lambda kind: kind.kind)
def test_every_kind_has_an_example_that_it_accepts(kind: type[Kind]) -> None:
    made = kind.model_validate(kind.example)
    assert kind.meaning.endswith(".")
    assert kind.private_fields() <= set(kind.model_fields)
    assert made.model_dump(by_alias=True, exclude_unset=True) == kind.example


def test_the_rooms_named_in_the_page_are_there() -> None:
    rooms = re.findall(r"^\| `([a-z_/]+)/`", PAGE, re.MULTILINE)
    missing = [room for room in rooms if not (ROOT / "logbook" / room).is_dir()]
    assert [room for room in missing if room != "command"] == []


def test_readme_opens_with_the_job_in_one_paragraph() -> None:
    page = (ROOT / "README.md").read_text().split("\n\n")
    assert page[0].startswith("# ")
    assert not page[1].startswith(("#", "```", "|", "-"))
    assert len(page[1]) > 300
