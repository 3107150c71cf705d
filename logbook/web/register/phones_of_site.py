"""The phones that belong to a site: which there are, a link that makes one, and taking one away.

Whoever works at the site signs in on them by name and PIN. Promises that a link for one is shown once and kept
nowhere, and that a site of others is not there.
"""

from __future__ import annotations

from urllib.parse import quote

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.responses import RedirectResponse, Response

from logbook.domain.wording.mark import mark
from logbook.domain.wording.times import span
from logbook.web.forms import Fields, text
from logbook.web.house import house_of
from logbook.web.pages import Language, render
from logbook.web.plates import square
from logbook.web.who import links, phones
from logbook.web.who.visitor import Leader, NotYours, Visitor

router = APIRouter()
_TAKEN = mark("That phone is the site's no longer, and whoever was signed in on it is signed out.")


@router.get("/{lang}/register/sites/{code}/phones", include_in_schema=False)
def listed(request: Request, lang: Language, who: Leader, code: str, done: str = "") -> Response:
    """The site's phones that still serve. Raises NotYours."""
    return _page(request, lang, who, code, done=_TAKEN if done == "taken" else "")


@router.post("/{lang}/register/sites/{code}/phones", include_in_schema=False)
def make(request: Request, lang: Language, who: Leader, code: str, fields: Fields) -> Response:  # noqa: ARG001 - read for their token
    """Show a link once; the phone that opens it becomes the site's. Raises NotYours."""
    house = house_of(request)
    phones.shared_at(house, who, code)
    try:
        made = links.offer(house, who.person.uuid, site=code, purpose="shared", language=lang)
    except ValueError:
        raise NotYours from None
    return _page(request, lang, who, code, link=made)


@router.post("/{lang}/register/sites/{code}/phones/gone", include_in_schema=False)
def gone(request: Request, lang: Language, who: Leader, code: str, fields: Fields) -> Response:
    """Take one away. Raises NotYours."""
    phones.revoke_shared(house_of(request), who, text(fields, "phone", 60))
    return RedirectResponse(f"/{lang}/register/sites/{quote(code, safe='')}/phones?done=taken", 303)


def _page(request: Request, lang: str, who: Visitor, code: str, *, done: str = "", link: str = "") -> Response:
    house = house_of(request)
    served, now = phones.shared_at(house, who, code), house.now()
    with house.store.read() as connection:
        site = house.register(connection).sites.get(code)
    if site is None:
        raise NotYours
    return render(
        request, "register_phones.html", lang, "register", headers={"Cache-Control": "no-store"}, site=site, done=done,
        link=link, code=Markup(square(link, 5)) if link else "",  # noqa: S704 - drawn by us
        phones=[(p.id, p.label, span(now - p.made_at, lang), span(now - p.seen_at, lang)) for p in served],
    )  # fmt: skip
