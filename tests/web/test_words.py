"""Every sentence that a page asks for is in every language, and no catalogue holds one that nobody asks for."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from babel.messages.catalog import Message
from babel.messages.extract import extract_from_dir, extract_from_file
from babel.messages.pofile import read_po

import logbook.domain.wording
import logbook.web

WEB = Path(logbook.web.__file__).parent
WORDS = Path(logbook.domain.wording.__file__).parent / "es"
KEYWORDS = {"_": None, "_n": (1, 2), "mark": None, "plain": None, "plural": (1, 2)}
Msgid = str | tuple[str, ...]


def asked() -> set[Msgid]:
    found = extract_from_dir(WEB, method_map=[("**.py", "python"), ("**.html", "jinja2")], keywords=KEYWORDS)
    return {
        message if isinstance(message, str) else tuple(message) for _file, _line, message, _notes, _context in found
    }


def catalogues() -> dict[str, dict[Msgid, Message]]:
    made = {}
    for file in sorted(WORDS.glob("pages*.po")):
        with file.open("rb") as lines:
            catalogue = read_po(lines, locale="es", abort_invalid=True)
        made[file.stem] = {m.id if isinstance(m.id, str) else tuple(m.id): m for m in catalogue if m.id}
    return made


def test_every_sentence_is_translated_and_none_is_left_over() -> None:
    known = {msgid for each in catalogues().values() for msgid in each}
    assert asked() - known == set(), "not translated"
    assert known - asked() == set(), "asked for by no page"


def _spoken_in(template: Path) -> str:
    """The catalogue that a template speaks out of, before the one that all pages share."""
    other = {"register_keys": "keys", "phone_queue": "queue", "machines": "phone"}
    return f"pages_{other.get(template.stem) or template.stem.partition('_')[0]}"


@pytest.mark.parametrize("template", sorted(WEB.glob("templates/*.html")), ids=lambda each: each.stem)
def test_a_templates_sentences_stand_in_the_catalogue_that_it_speaks_out_of(template: Path) -> None:
    made = catalogues()
    known = set(made["pages"]) | set(made.get(_spoken_in(template), ()))
    found = extract_from_file("jinja2", template, keywords=KEYWORDS)
    wanted = {each if isinstance(each, str) else tuple(each) for _line, each, _notes, _context in found}
    assert wanted - known == set()


@pytest.mark.parametrize("name", sorted(catalogues()))
def test_translations_are_whole_and_hold_the_same_facts(name: str) -> None:
    for msgid, message in catalogues()[name].items():
        assert not message.fuzzy, msgid
        forms = [message.string] if isinstance(message.string, str) else list(message.string or ())
        assert all(forms), msgid
        wanted = set(re.findall(r"%\(\w+\)s", msgid if isinstance(msgid, str) else msgid[1]))
        for form in forms:
            assert wanted - {"%(n)s"} <= set(re.findall(r"%\(\w+\)s", form)) <= wanted, msgid
