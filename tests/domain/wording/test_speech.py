"""The door to the catalogues: which language, which domain, which form of a plural."""

from __future__ import annotations

import pytest

from logbook.domain.wording import LANGUAGES, speech


def test_a_sentence_in_each_language():
    assert speech("en", "answers")("NOT SAVED.") == "NOT SAVED."
    assert speech("es", "answers")("NOT SAVED.") == "NO GUARDADO."


@pytest.mark.parametrize(("count", "said"), [(0, "datos"), (1, "dato"), (2, "datos"), (11, "datos")])
def test_plurals(count, said):
    assert speech("es", "answers").plural("{count} entry", "{count} entries", count) == f"{{count}} {said}"
    english = speech("en", "answers").plural("{count} entry", "{count} entries", count)
    assert english == ("{count} entry" if count == 1 else "{count} entries")


def test_what_nobody_has_translated_comes_back_as_it_was():
    assert speech("es", "answers")("Never said before.") == "Never said before."
    assert speech("es", "answers").plural("one thing", "many things", 1) == "one thing"
    assert speech("es", "answers").plural("one thing", "many things", 5) == "many things"


def test_errors_of_a_programmer():
    with pytest.raises(ValueError, match="no language 'fr'"):
        speech("fr", "answers")
    with pytest.raises(LookupError, match=r"es/nowhere\.po"):
        speech("es", "nowhere")
    assert speech("en", "nowhere")("Hello.") == "Hello."


def test_every_placeholder_survives_translation():
    for language in LANGUAGES:
        for msgid, forms in speech(language, "answers")._said.items():
            wanted = {part.split("}")[0] for part in msgid.split("{")[1:]}
            for form in forms:
                assert {part.split("}")[0] for part in form.split("{")[1:]} == wanted, msgid


def test_a_catalogue_is_read_once():
    assert speech("es", "answers") is speech("es", "answers")
