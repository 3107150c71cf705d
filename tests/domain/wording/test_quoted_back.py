"""Whatever line of a message comes back, the reader of texts does nothing with it.

`unquotable` leans to the safe side without knowing that reader; here the two are held against each other.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from logbook.channels.text import Fleet, read
from logbook.domain.duties import DUTIES
from logbook.domain.wallclock import zone
from logbook.domain.wording import LANGUAGES
from logbook.domain.wording.letter import letter_message
from logbook.domain.wording.messages import alert_message, reminder_message, trial_message
from logbook.domain.wording.sentences import Text
from tests.domain.wording.facts import NOW, letter, reminder, week, worst

HALIFAX = zone("America/Halifax")
SITES = ("North Slip", "Problem Point", "Join Street", "Tanque 7")


def fleet(lone: str | None, language: str) -> Fleet:
    return Fleet(frozenset({"B7H", "C4K"}), lambda code: HALIFAX, lone, language, HALIFAX)


def messages(language: str) -> Iterator[Text]:
    for site in SITES:
        for duty in DUTIES:
            yield alert_message(
                [worst(duty, site_name=site)], language, NOW, seal="112 3f9a01bc", url="https://log.example"
            )
        everything = [worst(duty, site_name=site) for duty in DUTIES]
        over = [worst(duty, site_name=site, outcome="late") for duty in DUTIES]
        yield alert_message(everything, language, NOW)
        yield letter_message(letter(*everything, *over, week=week(), quiet_sites=list(SITES)), language, NOW)
        yield reminder_message(reminder("rinse", "charge", site_name=site), language, NOW)
        yield reminder_message(reminder("night", site_name=site, night_date="2026-03-09"), language, NOW)
    yield trial_message(language, NOW)


@pytest.mark.parametrize("lone", [None, "B7H"])
@pytest.mark.parametrize("language", LANGUAGES)
def test_nothing_that_is_quoted_back_does_anything(language: str, lone: str | None) -> None:
    obeyed, tried = [], 0
    for text in messages(language):
        lines = [line for line in text.body.splitlines() if line.strip()]
        quoted = [f"> {line}" for line in lines]
        for line in (*lines, *quoted, text.subject, f"Re: {text.subject}", text.short, text.body, "\n".join(quoted)):
            tried += 1
            reading = read(line, fleet(lone, language), NOW)
            if reading.drafts or reading.control:
                obeyed.append(line)
    assert obeyed == []
    assert tried > 1_000


def test_the_reader_would_obey_the_same_words_alone() -> None:
    """Otherwise the test above would prove nothing."""
    assert read("SEEN 41", fleet(None, "en"), NOW).control == "seen"
    assert [draft.kind for draft in read("B7H RINSED CHARGED", fleet(None, "en"), NOW).drafts] == ["rinse", "charge"]
    assert [draft.kind for draft in read("B7H NO USADA", fleet(None, "es"), NOW).drafts] == ["not_used"]
    assert [draft.kind for draft in read("squeegee hose leaks", fleet("B7H", "en"), NOW).drafts] == ["fault"]
