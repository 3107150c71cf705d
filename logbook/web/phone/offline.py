"""What lets the phone's pages work without signal: the service worker, the manifest, and the words of the queue.

Promises that the worker is always today's, that it knows today's files by name, and that the words which the phone
writes into a text come from the catalogue that will read them. Keeps nothing itself.
"""

from __future__ import annotations

import json
from functools import cache
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, Response

from logbook.domain.entries import catalogue
from logbook.domain.wording.mark import mark
from logbook.web import assets
from logbook.web.pages import add_filter, preferred, words
from logbook.web.phone.acts import BUTTONS, quantity_of

router = APIRouter(include_in_schema=False)
ROOM = "queue"
NAME = mark("Machine logbook")
SHORT = mark("Logbook")


@cache
def files() -> tuple[str, ...]:
    """What a phone's page is made of, of `static/`."""
    return tuple(
        sorted(name for name in assets.files() if name.startswith("phone") or name in ("base.css", "icon.svg"))
    )


@cache
def script() -> str:
    """The worker's script: its edition, its files, the sender it shares with the pages, and what it does."""
    head = f'import {{ flush }} from "{assets.address("phone-queue.js")}";\n'
    facts = f"const EDITION = {json.dumps(assets.edition())}, FILES = {json.dumps(files())};\n"
    return head + facts + assets.files()["sw.js"].decode()


@router.get("/sw.js")
def worker() -> Response:
    """The worker, for all pages; asked for anew each time, so that a new edition is noticed."""
    headers = {"Cache-Control": "no-cache", "Service-Worker-Allowed": "/"}
    return Response(script(), media_type="text/javascript; charset=utf-8", headers=headers)


@router.get("/manifest.webmanifest")
def manifest(request: Request) -> Response:
    """What a phone shows when the page is put on its first screen (W3C Web Application Manifest)."""
    language = preferred(request)
    said = words(language, ROOM)
    shown: dict[str, Any] = {
        "name": said.plain(NAME), "short_name": said.plain(SHORT), "lang": language, "start_url": "/", "scope": "/",
        "display": "standalone", "background_color": "#eceee8", "theme_color": "#13211d",
        "icons": [{"src": assets.address("icon.svg"), "sizes": "any", "type": "image/svg+xml"}],
    }  # fmt: skip
    headers = {"Cache-Control": "no-cache", "Vary": "Accept-Language, Cookie"}
    return JSONResponse(shown, media_type="application/manifest+json", headers=headers)


@cache
def kinds(language: str) -> dict[str, list[Any]]:
    """For every act of the page: the word by which a text tells it, and the number that may stand with it.

    [word] or [word, field, family, low, high, many, required].
    """
    found: dict[str, list[Any]] = {}
    for name in BUTTONS:
        row: list[Any] = [word(name, language)]
        quantity = quantity_of(name)
        if quantity is not None:
            row += [quantity.field, quantity.family, quantity.low, quantity.high, quantity.many, quantity.required]
        found[name] = row
    return found


def word(kind: str, language: str) -> str:
    """The first word of a kind in a language, as the catalogue has it; or another kind's, and what turns it into this."""
    said = getattr(catalogue.newest(kind), "words", None)
    if said is None:
        raise KeyError(f"{kind!r} has no words")
    own = (said.es or said.en) if language == "es" else (said.en or said.es)
    if said.also_of is None:
        return str(own[0])
    return f"{word(said.also_of, language)} {said.with_also[-1] if language == 'es' else said.with_also[0]}"


add_filter("queue_words", lambda language: words(language, ROOM))
add_filter("queue_kinds", lambda language: json.dumps(kinds(language), separators=(",", ":")))
