"""Templates: what every page is given, in the reader's language.

Promises that whatever is put into a page is escaped, that a word that a page asks for is in every language (a test
reads the templates), and that a template that asks for what is not there fails instead of showing nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Literal

from fastapi import Request
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape
from starlette.responses import HTMLResponse

from logbook.domain.wording import LANGUAGES, speech
from logbook.web import assets
from logbook.web.house import house_of
from logbook.web.sign import sign
from logbook.web.who.visitor import visitor

NAMES = {"en": "English", "es": "Español"}
"""A language, as its own speakers call it."""

Language = Literal["en", "es"]
"""The first part of a page's address."""

_environment = Environment(
    loader=PackageLoader("logbook.web"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
    lstrip_blocks=True,
)  # fmt: skip
_environment.globals.update(asset=assets.address, names=NAMES, languages=LANGUAGES)


class Words:
    """A page's sentences in one language: first its room's own catalogue, then the one all pages share.

    `_("Saved %(n)s", n=3)` fills in and escapes what is filled in.
    """

    def __init__(self, language: str, room: str) -> None:
        self.language = language
        self._shared = speech(language, "pages")
        self._own = speech(language, f"pages_{room}") if room else self._shared

    def plain(self, msgid: str, **facts: object) -> str:
        """The sentence as plain text."""
        said = self._said(msgid)
        return said % facts if facts else said

    def __call__(self, msgid: str, **facts: object) -> Markup:
        """The sentence as markup: what is filled in is escaped, unless it is markup itself."""
        said = escape(self._said(msgid))
        return said % facts if facts else said

    def plural(self, one: str, many: str, count: int, **facts: object) -> Markup:
        """The form that goes with `count` things; `%(n)s` is the count."""
        own = self._own if self._own.plural(one, many, count) not in (one, many) else self._shared
        return escape(own.plural(one, many, count)) % {"n": count, **facts}

    def _said(self, msgid: str) -> str:
        own = self._own(msgid)
        return self._shared(msgid) if own == msgid else own


def words(language: str, room: str) -> Words:
    """The sentences of a room's pages."""
    return Words(language, room)


def known_language(language: str) -> str:
    """The language, if it is one of ours, else English."""
    return language if language in LANGUAGES else "en"


def preferred(request: Request) -> str:
    """The reader's language, where no address says it: the person's own, else what the browser asks for (RFC 9110 §12.5.4)."""
    found = visitor(request)
    if found is not None:
        return known_language(found.person.language)
    for part in request.headers.get("accept-language", "").split(","):
        language = part.partition(";")[0].strip().partition("-")[0].lower()
        if language in LANGUAGES:
            return language
    return "en"


def language_of(request: Request) -> str:
    """The language of the page that was asked for, by its address; else the reader's."""
    first = request.url.path.lstrip("/").partition("/")[0]
    return first if first in LANGUAGES else preferred(request)


def render(
    request: Request, template: str, language: str, room: str, *, status: int = 200, headers: Mapping[str, str] | None = None,
    **shown: Any,
) -> HTMLResponse:  # fmt: skip
    """A page. `room`: whose words it speaks (catalogue pages_<room>.po). It is given:

    lang; _ and _n (sentences, plurals); here (its own path after the language, for the links to other languages);
    visitor (or None) and csrf (what its forms carry); clock (its sign of life, for whoever is signed in); asset(name); and whatever `shown` names.
    """
    said = words(language, room)
    found = visitor(request)
    _language, _slash, rest = request.url.path.lstrip("/").partition("/")
    query = f"?{request.url.query}" if request.url.query else ""
    made = _environment.get_template(template).render(
        lang=language, _=said, _n=said.plural, here=f"/{rest}{query}", visitor=found,
        csrf="" if found is None else found.csrf,
        clock=None if found is None else sign(house_of(request), language), **shown,
    )  # fmt: skip
    return HTMLResponse(made, status, headers=dict(headers or {}))


def add_filter(name: str, function: Callable[..., Any]) -> None:
    """A room's own filter for its templates."""
    _environment.filters[name] = function
