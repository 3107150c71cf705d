"""People by form: the list of them, adding one, changing one. Their own page is `logbook.web.register.person`.

Never lets a supervisor make or change an owner, or change somebody's sites that are not theirs.
"""

from __future__ import annotations

from fastapi import APIRouter, Request
from sqlalchemy import Connection
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from logbook.domain.door import Refused
from logbook.domain.wording.labels import role_label
from logbook.domain.wording.mark import mark
from logbook.intake import Draft
from logbook.watch.roster import ways
from logbook.web.forms import Fields, text
from logbook.web.house import house_of
from logbook.web.pages import Language, render
from logbook.web.register.fields import show
from logbook.web.register.ground import MEANWHILE, Meanwhile, fleet_log, form_id, part, person_of, save, state
from logbook.web.register.people_form import MAIL, NAME, PHONE, ROLES, entry, sheet
from logbook.web.register.plates_of import spaced
from logbook.web.who.visitor import Leader, Visitor

router = APIRouter()


@router.get("/{lang}/register/people", include_in_schema=False)
def listing(request: Request, lang: Language, who: Leader) -> Response:
    """Everybody whom the visitor answers for, by what they do."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
    theirs = [p for p in register.people.values() if who.person.answers_for(p) and p.reports]
    theirs.sort(key=lambda p: (p.name or "").casefold())
    groups = [(role_label(r, lang), [p for p in theirs if p.role == r and p.state == "member"]) for r in ROLES]
    return render(
        request,
        "register_people.html",
        lang,
        "register",
        groups=groups,
        ways=ways,
        spaced=spaced,
        waiting=[p for p in theirs if p.state == "unconfirmed"],
        sites={c: s.name for c, s in register.sites.items()},
    )


@router.get("/{lang}/register/people/new", include_in_schema=False)
def new(request: Request, lang: Language, who: Leader, site: str = "", role: str = "") -> Response:
    """An empty form."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
    return show(request, lang, sheet(lang, register, who, None, site=site, role=role))


@router.post("/{lang}/register/people/new", include_in_schema=False)
def add(request: Request, lang: Language, who: Leader, fields: Fields) -> Response:
    """Add somebody. Raises NotYours."""
    return _save(request, lang, who, fields, None)


@router.get("/{lang}/register/people/{id}/change", include_in_schema=False)
def change(request: Request, lang: Language, who: Leader, id: str) -> Response:
    """What is known of somebody, as a form. Raises NotYours."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
    known = person_of(register, who, id)
    return show(request, lang, sheet(lang, register, who, known, seen=state(known)))


@router.post("/{lang}/register/people/{id}/change", include_in_schema=False)
def changed(request: Request, lang: Language, who: Leader, id: str, fields: Fields) -> Response:
    """Change somebody. Raises NotYours."""
    return _save(request, lang, who, fields, id)


def _save(request: Request, lang: str, who: Visitor, fields: FormData, id: str | None) -> Response:
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
    known, first = (None if id is None else person_of(register, who, id)), form_id(fields)
    uuid, seen = id or part(first, "person"), text(fields, "seen", 40)
    made = sheet(lang, register, who, known, fields, seen=seen)

    def now(connection: Connection) -> str:
        return seen if id is None else state(person_of(house.register(connection), who, uuid))

    try:
        data = entry(house, register, who, known, uuid, fields)
        save(house, who, [Draft(str(first), fleet_log(house), "person_set", data)], now=now, seen=seen)
    except Meanwhile:
        with house.store.read() as connection:
            stood = person_of(house.register(connection), who, uuid)
        made.hidden |= {"seen": state(stood), "id": house.intake.new_id()}
        stands = [
            (NAME, stood.name or ""),
            (mark("What they do"), role_label(stood.role, lang)),
            (PHONE, stood.phone or ""),
            (MAIL, stood.email or ""),
        ]
        return show(request, lang, made, wrong=MEANWHILE, status=409, stands=stands)
    except (ValueError, Refused) as why:
        return show(request, lang, made, wrong=str(why), status=422)
    return RedirectResponse(f"/{lang}/register/people/{uuid}?done=saved", 303)
