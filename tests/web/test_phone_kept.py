"""What lets the phone's pages work without signal, as the server gives it."""

from __future__ import annotations

import json
import re
from collections.abc import Callable

import pytest

from logbook.channels.text import Fleet, read
from logbook.domain.calendar import zone
from logbook.domain.instants import parse
from logbook.domain.tapcode import ALPHABET
from logbook.web import assets
from logbook.web.phone import offline
from logbook.web.phone.acts import BUTTONS, quantity_of
from tests.web.conftest import Pages

NOW = parse("2026-11-25T09:12:00Z")
HALIFAX = zone("America/Halifax")
FLEET = Fleet(frozenset({"B7H"}), lambda _code: HALIFAX, None, "en", HALIFAX)
AMOUNTS = {"volume": "2125 ml", "percent": "80 %", "gravity": "1265", "hours": "1234.5 h", "length": "9.5 mm 9.0 mm"}


def test_the_worker_is_asked_for_anew_and_has_every_page(pages: Callable[..., Pages]) -> None:
    answer = pages().client().get("/sw.js")
    assert answer.headers["content-type"].startswith("text/javascript")
    assert answer.headers["cache-control"] == "no-cache"
    assert answer.headers["service-worker-allowed"] == "/"
    assert "content-security-policy" in answer.headers


def test_the_worker_knows_todays_files(pages: Callable[..., Pages]) -> None:
    client = pages().client()
    script = client.get("/sw.js").text
    found = re.search(r'^const EDITION = (".*"), FILES = (\[.*\]);$', script, re.MULTILINE)
    assert found is not None
    edition, files = json.loads(found[1]), json.loads(found[2])
    assert edition == assets.edition()
    assert {"phone.js", "phone-queue.js", "phone-late.js", "phone.css", "base.css", "icon.svg"} <= set(files)
    assert all(client.get(f"/static/{edition}/{name}").status_code == 200 for name in files)
    imported = re.findall(r'from "(/static/[^"]+)"', script)
    assert imported == [assets.address("phone-queue.js")]


def test_the_manifest_speaks_the_readers_language(pages: Callable[..., Pages]) -> None:
    client = pages().client()
    for language, name in (("en", "Machine logbook"), ("es", "Cuaderno de máquinas")):
        said = client.get("/manifest.webmanifest", headers={"accept-language": language})
        assert said.headers["content-type"].startswith("application/manifest+json")
        assert said.json()["name"] == name
        assert said.json()["scope"] == "/"


def test_a_page_brings_its_words_and_kinds(pages: Callable[..., Pages]) -> None:
    client = pages().client("ana")
    for language, sent in (("en", "Everything is sent"), ("es", "Todo está enviado")):
        page = client.get(f"/{language}/m/B7H").text
        assert f'data-sent="{sent}"' in page
        assert 'data-many="{n} ' in page
        assert "data-kinds=" in page


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("kind", list(BUTTONS))
def test_what_the_phone_writes_of_an_act_is_read_as_that_act(language: str, kind: str) -> None:
    word, *_rest = offline.kinds(language)[kind]
    quantity = quantity_of(kind)
    said = (
        f"{word} {AMOUNTS[quantity.family]}"
        if quantity
        else f"{word}: x,"
        if kind in ("fault", "repaired", "note")
        else word
    )
    reading = read(f"B7H {said} 0510 #{ALPHABET[:10]}", FLEET, NOW)
    assert reading.refused is None
    [draft] = reading.drafts
    assert (draft.kind, draft.tap) == (kind, ALPHABET[:10])
    assert quantity is None or quantity.field in draft.data


def test_the_script_draws_from_the_codes_own_alphabet() -> None:
    assert f'"{ALPHABET}"[each % {len(ALPHABET)}]' in assets.files()["phone.js"].decode()
