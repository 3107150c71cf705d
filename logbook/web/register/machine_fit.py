"""A machine's plate, fittings and nights of its own, changed by form; other nights are tried on last month first."""

from __future__ import annotations

from fastapi import APIRouter, Request
from sqlalchemy import Connection
from starlette.responses import RedirectResponse, Response

from logbook.domain.door import Refused
from logbook.domain.wording.mark import mark
from logbook.intake import Draft
from logbook.store import log
from logbook.web.forms import Fields, text
from logbook.web.house import house_of
from logbook.web.pages import Language
from logbook.web.register import preview
from logbook.web.register.fields import show
from logbook.web.register.ground import MEANWHILE, Meanwhile, fleet_log, form_id, machine_of, save
from logbook.web.register.machine import state_of
from logbook.web.register.machine_form import PLATE, plate_entry, sheet
from logbook.web.register.supposed import BUSY, carried, shown
from logbook.web.who.visitor import Leader

router = APIRouter()


@router.get("/{lang}/register/machines/{code}/fit", include_in_schema=False)
def fit(request: Request, lang: Language, who: Leader, code: str) -> Response:
    """Plate, fittings and nights as they stand. Raises NotYours."""
    house = house_of(request)
    with house.store.read() as connection:
        known = machine_of(house, connection, who, code)
    return show(request, lang, sheet(lang, {}, known.code, known, seen=state_of(known)))


@router.post("/{lang}/register/machines/{code}/fit", include_in_schema=False)
def fitted(request: Request, lang: Language, who: Leader, code: str, fields: Fields) -> Response:
    """Change plate, fittings or nights. Raises NotYours."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
        known = machine_of(house, connection, who, code)
    seen, uuid = text(fields, "seen", 40), known.record.uuid
    made = sheet(lang, {}, code, known, fields, seen)
    try:
        data = plate_entry(fields, uuid, known, register.sites[known.site].zone)

        def begin(connection: Connection) -> list[Draft]:
            log.set_code(connection, uuid, str(data["code"]))
            return []

        draft = Draft(str(form_id(fields)), fleet_log(house), "machine_set", data)
        save(house, who, [draft], now=lambda c: state_of(machine_of(house, c, who, code)), seen=seen, begin=begin)
    except Meanwhile:
        with house.store.read() as connection:
            known = machine_of(house, connection, who, code)
        made.hidden |= {"seen": state_of(known), "id": house.intake.new_id()}
        now = known.record.segments
        stands = [(PLATE, known.code), (mark("Segments: part to order"), (now.part or "") if now else "")]
        return show(request, lang, made, wrong=MEANWHILE, status=409, stands=stands)
    except (ValueError, Refused) as why:
        return show(request, lang, made, wrong=str(why), status=422)
    return RedirectResponse(f"/{lang}/register/machines/{data['code']}?done=saved", 303)


@router.post("/{lang}/register/machines/{code}/fit/preview", include_in_schema=False)
def before(request: Request, lang: Language, who: Leader, code: str, fields: Fields) -> Response:
    """What a machine's other nights would have raised last month. Raises NotYours."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
        known = machine_of(house, connection, who, code)
    made = sheet(lang, {}, code, known, fields, text(fields, "seen", 40))
    try:
        data = plate_entry(fields, known.record.uuid, known, register.sites[known.site].zone)
        found = preview.difference(house, [known], "machine_set", data)
    except preview.Busy:
        return show(request, lang, made, wrong=BUSY, status=503)
    except ValueError as why:
        return show(request, lang, made, wrong=str(why), status=422)
    where = f"/{lang}/register/machines/{known.code}/fit"
    return shown(request, lang, found, where, carried(fields), str(form_id(fields)), where)
