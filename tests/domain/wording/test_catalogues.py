"""The catalogues say every sentence of the program, in both languages, and nothing else."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po

import logbook.domain.wording
from logbook.domain.wording import LANGUAGES, speech

ROOM = Path(logbook.domain.wording.__file__).parent
Msgid = str | tuple[str, ...]

# These are the same in both languages: units and figures.
SAME = {"%(minutes)s min", "%(hours)s h", "%(n)s × %(part)s"}


def said() -> set[Msgid]:
    """Every sentence that the program's files ask for."""
    keywords = {"say": None, "mark": None, "plural": (1, 2)}
    found = extract_from_dir(ROOM, method_map=[("**.py", "python")], keywords=keywords)
    return {
        message if isinstance(message, str) else tuple(message) for _file, _line, message, _notes, _context in found
    }


def read(language: str) -> Catalog:
    with (ROOM / language / "alerts.po").open("rb") as lines:
        return read_po(lines, locale=language, abort_invalid=True)


def messages(language: str) -> dict[Msgid, Message]:
    return {m.id if isinstance(m.id, str) else tuple(m.id): m for m in read(language) if m.id}


def forms(message: Message) -> list[str]:
    return [message.string] if isinstance(message.string, str) else list(message.string or ())


def test_the_files_are_really_searched() -> None:
    assert {"since %(time)s", "tank rinse", ("%(n)s day", "%(n)s days")} <= said()


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_sentence_is_missing_and_none_is_left_over(language: str) -> None:
    assert set(messages(language)) == said()
    assert not read(language).obsolete


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_sentence_has_all_its_forms_and_none_is_doubtful(language: str) -> None:
    for msgid, message in messages(language).items():
        assert not message.fuzzy, msgid
        assert all(forms(message)), msgid
        assert len(forms(message)) == (1 if isinstance(msgid, str) else 2), msgid


def test_english_says_its_own_msgids() -> None:
    for msgid, message in messages("en").items():
        assert forms(message) == ([msgid] if isinstance(msgid, str) else list(msgid))


def test_spanish_is_not_english() -> None:
    same = {msgid for msgid, message in messages("es").items() if forms(message)[0] in (msgid, msgid[0])}
    assert same == SAME


def test_spanish_holds_the_same_facts() -> None:
    for msgid, message in messages("es").items():
        wanted = set(re.findall(r"%\(\w+\)s", msgid if isinstance(msgid, str) else msgid[1]))
        assert set(re.findall(r"%\(\w+\)s", forms(message)[-1])) == wanted, msgid
        for form in forms(message):  # a singular may leave its number out
            assert wanted - {"%(n)s"} <= set(re.findall(r"%\(\w+\)s", form)) <= wanted, msgid
            assert form.count("%%") == (msgid if isinstance(msgid, str) else msgid[0]).count("%%"), msgid


@pytest.mark.parametrize(
    ("count", "en", "es"), [(0, "0 days", "0 días"), (1, "1 day", "1 día"), (2, "2 days", "2 días")]
)
def test_plural_forms(count: int, en: str, es: str) -> None:
    found = [
        speech(language, "alerts").plural("%(n)s day", "%(n)s days", count) % {"n": count} for language in LANGUAGES
    ]
    assert found == [en, es]


# In a quoted line these would make an entry of the whole sentence.
REMARKS = re.compile(
    r"\b(broken|broke|problems?|leak\w*|won't|doesn't|fallas?|aver[ií]as?|fugas?|gotea|rota|roto|dañada)\b"
)


@pytest.mark.parametrize("language", LANGUAGES)
def test_words_that_turn_a_sentence_into_a_report_are_avoided(language: str) -> None:
    found = [msgid for msgid, message in messages(language).items() for form in forms(message) if REMARKS.search(form)]
    assert found == []
