"""Four messages in full, in both languages, as a person gets them.

The files hold subject, body and text message. To take on a change of words, look at the difference, then run the tests
with LOGBOOK_GOLDEN=write and look at it again.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from logbook.domain.wording import LANGUAGES
from logbook.domain.wording.letter import letter_message
from logbook.domain.wording.messages import alert_message, reminder_message
from logbook.domain.wording.sentences import Text
from tests.domain.wording.facts import NOW, PUT_AWAY, item, letter, reminder, week, worst

GOLDEN = Path(__file__).parent / "golden"
SEAL = "112 3f9a01bc"


def message(name: str, language: str) -> Text:
    charge = worst("charge", last={"put_away": PUT_AWAY}, serial=42, step=2)
    if name == "one":
        page = "https://log.ferry.example/m/B7H"
        return alert_message([worst("rinse")], language, NOW, seal=SEAL, url=page)
    if name == "several":
        items = [charge, worst("segments_gone", code="C4K"), worst("fault", code="D2M", serial=43)]
        return alert_message(items, language, NOW, seal=SEAL)
    if name == "reminder":
        return reminder_message(reminder("rinse", "charge"), language, NOW)
    unasked = item("filter", code="C4K", tell="letter", serial=None)
    over = [item("rinse", code="D2M", outcome="told_late"), item("squeegee", code="D2M", outcome="overtaken")]
    items = [charge, worst("night", code="E5N", serial=44), unasked, *over]
    return letter_message(letter(*items, nights_told=9, week=week()), language, NOW, seal=SEAL)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("name", ["one", "several", "reminder", "monday"])
def test_a_message_in_full(name: str, language: str) -> None:
    text = message(name, language)
    shown = f"{text.subject}\n\n{text.body}\n-- as a text message --\n{text.short}\n"
    file = GOLDEN / f"{name}.{language}.txt"
    if os.environ.get("LOGBOOK_GOLDEN") == "write":
        file.write_text(shown, encoding="utf-8")
    assert shown == file.read_text(encoding="utf-8")
