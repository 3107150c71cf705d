"""The pages for people say what the code says."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from typing import Any

import pytest
import typer

from logbook.command.app import app
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
    missing = [room for room in rooms if not any((ROOT / "logbook" / of / room).is_dir() for of in ("", "web"))]
    assert [room for room in missing if room != "command"] == []


def test_readme_opens_with_the_job_in_one_paragraph() -> None:
    page = (ROOT / "README.md").read_text().split("\n\n")
    assert page[0].startswith("# ")
    assert not page[1].startswith(("#", "```", "|", "-"))
    assert len(page[1]) > 300


PAGES = sorted(
    path
    for path in ROOT.rglob("*.md")
    if not {".venv", "node_modules", ".git"} & set(path.relative_to(ROOT).parts)
)  # fmt: skip
_LINK = re.compile(r"!?\[[^\]]*\]\(([^)\s]+)\)")
_FENCE = re.compile(r"^( *)```(\w*)\n(.*?)^\1```", re.MULTILINE | re.DOTALL)


def anchors(page: Path) -> set[str]:
    """What a link to a part of a page may name: its headings, as a forge spells them."""
    headings = re.findall(r"^#+ (.+)$", page.read_text(), re.MULTILINE)
    return {re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_every_local_link_leads_somewhere(page: Path) -> None:
    broken = []
    for target in _LINK.findall(_FENCE.sub("", page.read_text())):
        if re.match(r"[a-z]+:", target):
            continue
        name, _hash, part = target.partition("#")
        there = (page.parent / name) if name else page
        if not there.exists() or (part and part not in anchors(there)):
            broken.append(target)
    assert broken == []


def shown(page: Path) -> list[list[str]]:
    """The `logbook …` commands of a page, in fences and in running text, as words; a table's first column alike."""
    text = page.read_text()
    lines = [line for _space, _name, block in _FENCE.findall(text) for line in re.sub(r"\\\n", " ", block).splitlines()]
    lines += (" ".join(said.split()) for said in re.findall(r"`([^`]+)`", _FENCE.sub("", text)))
    found = []
    for line in lines:
        for said in re.split(r" && | \| |; ", line.strip().strip("'")):
            words = re.match(r"(?:[A-Z_]+=\S+ )*(?:\S*/)?logbook (?!\.)(.*)", said.strip())
            if words and "…" not in said:
                found.append(shlex.split(words.group(1), comments=True))
    return found


COMMANDS = [
    pytest.param(words, id=f"{page.relative_to(ROOT)}: {' '.join(words)[:60]}")
    for page in PAGES
    for words in shown(page)
]


@pytest.mark.parametrize("words", COMMANDS)
def test_every_command_shown_is_one(words: list[str]) -> None:
    """Its name is known, and every option in it is one of that command's."""
    command: Any = typer.main.get_command(app)
    path = list(words)
    # Not `isinstance`: Typer may bring a click of its own.
    while hasattr(command, "get_command") and path and not path[0].startswith("-"):
        there = command.get_command(None, path.pop(0))
        assert there is not None, f"there is no such command: logbook {' '.join(words)}"
        command = there
    options = {name for each in command.params for name in (*each.opts, *each.secondary_opts)} | {"--help"}
    given = {word.partition("=")[0] for word in path if word.startswith("--")}
    assert given <= options, f"no such option: logbook {' '.join(words)}"


def test_the_commands_of_the_pages_are_found_at_all() -> None:
    assert len(COMMANDS) > 40
    assert ["serve"] in shown(ROOT / "README.md")
