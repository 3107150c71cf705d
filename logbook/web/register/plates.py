"""The page of plates: those of a leader's own sites, ready to be printed at their size.

Never shows the joining word of a site to whoever has nothing to do with it.
"""

from __future__ import annotations

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.responses import Response

from logbook.web.house import house_of
from logbook.web.pages import Language, render
from logbook.web.plates import article
from logbook.web.register.plates_of import plates_of
from logbook.web.who.visitor import Leader, NotYours

router = APIRouter()


@router.get("/{lang}/register/plates", include_in_schema=False)
def plates(request: Request, lang: Language, who: Leader, site: str = "") -> Response:
    """The plates of one site, or of all that are theirs. Raises NotYours."""
    house = house_of(request)
    if site and not who.at(site):
        raise NotYours
    with house.store.read() as connection:
        register = house.register(connection)
        found = plates_of(
            connection, house.intake, register.machines.values(), line=house.line, address=house.address, at=who.at
        )
    sites = sorted({(of, register.sites[of].name) for of, _plate in found}, key=lambda each: each[1])
    chosen = [Markup(article(plate)) for of, plate in found if site in ("", of)]  # noqa: S704 - escaped in there
    return render(
        request, "register_plates.html", lang, "register", plates=chosen, sites=sites, site=site, line=house.line,
        address=house.address,
    )  # fmt: skip
