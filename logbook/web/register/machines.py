"""Machines by form: the list of them, and a new one. Each one's own page is `logbook.web.register.machine`.

Promises that a new plate and the first entry of its own log are saved in one transaction, or neither.
"""

from __future__ import annotations

from fastapi import APIRouter, Request
from sqlalchemy import Connection
from starlette.responses import RedirectResponse, Response

from logbook.domain.door import Refused
from logbook.intake import Draft
from logbook.store import log
from logbook.web.forms import Fields, text
from logbook.web.house import house_of
from logbook.web.pages import Language, render
from logbook.web.register.fields import given, show
from logbook.web.register.ground import fleet_log, form_id, machines_of, part, save, sites_of
from logbook.web.register.machine_form import BATTERIES, next_code, plate_entry, sheet, since_of
from logbook.web.who.visitor import Leader, NotYours

router = APIRouter()


@router.get("/{lang}/register/machines", include_in_schema=False)
def listing(request: Request, lang: Language, who: Leader, site: str = "") -> Response:
    """Every machine of the visitor's, by site."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
        found = machines_of(house, connection, who)
    sites = sites_of(register, who)
    return render(
        request,
        "register_machines.html",
        lang,
        "register",
        batteries=dict(BATTERIES),
        sites=[
            (name, [m for m in found.values() if m.site == code]) for code, name in sites.items() if site in ("", code)
        ],
    )


@router.get("/{lang}/register/machines/new", include_in_schema=False)
def new(request: Request, lang: Language, who: Leader, site: str = "") -> Response:
    """An empty form, its code given."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
    return show(request, lang, sheet(lang, sites_of(register, who), next_code(register), None, site=site))


@router.post("/{lang}/register/machines/new", include_in_schema=False)
def add(request: Request, lang: Language, who: Leader, fields: Fields) -> Response:
    """A new machine: its plate in the fleet's log, and the first entry of its own. Raises NotYours."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
    site, first = text(fields, "site", 40), form_id(fields)
    if site not in register.sites or not who.at(site):
        raise NotYours
    made = sheet(lang, sites_of(register, who), "", None, fields)
    uuid, zone = part(first, "machine"), register.sites[site].zone
    try:
        data = plate_entry(fields, uuid, None, zone)
        occurred = since_of(fields, zone)
        start = given(
            site=site,
            battery=text(fields, "battery", 20),
            serial=text(fields, "serial", 200),
            code=data.get("code"),
            battery_set=text(fields, "battery_set", 200),
            warranty_from=text(fields, "warranty_from", 20),
        )

        def begin(connection: Connection) -> list[Draft]:
            log.create(connection, uuid, "machine", str(data["code"]))
            return [Draft(part(first, "commissioned"), uuid, "commissioned", start, occurred)]

        save(house, who, [Draft(str(first), fleet_log(house), "machine_set", data)], begin=begin)
    except (ValueError, Refused) as why:
        return show(request, lang, made, wrong=str(why), status=422)
    return RedirectResponse(f"/{lang}/register/machines/{data['code']}?done=saved", 303)
