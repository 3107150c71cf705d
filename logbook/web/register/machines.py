"""Machines by form: a new plate and its first entry in one transaction; fittings; the facts of its life."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from sqlalchemy import Connection
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from logbook.domain import codes, instants
from logbook.domain.door import Refused
from logbook.domain.policy_forms import micrometres_of, show_millimetres
from logbook.domain.register import Register
from logbook.domain.wallclock import zone as zone_of
from logbook.domain.wording.mark import mark
from logbook.intake import Draft
from logbook.store import log
from logbook.web.forms import Fields, text
from logbook.web.house import house_of
from logbook.web.pages import Language, render
from logbook.web.register import nightform
from logbook.web.register.fields import Field, Sheet, given, show
from logbook.web.register.ground import (
    MEANWHILE,
    Known,
    Meanwhile,
    fleet_log,
    form_id,
    machine_of,
    machines_of,
    part,
    save,
    sites_of,
    state,
)
from logbook.web.who.visitor import Leader, NotYours, Visitor

router = APIRouter()
BATTERIES = (
    ("flooded", mark("lead-acid, to be watered")),
    ("sealed", mark("lead-acid, sealed")),
    ("lithium", mark("lithium")),
)
_PLATE = mark("Code on the plate")
_NO_SUCH_ACT = mark("Choose what is to be noted. Nothing was saved.")
_NOT_NUMBER = mark("Heads is a whole number, and the new length is in mm or in, such as 12 mm. Nothing was saved.")
_RETIRE_TYPED = mark("That is not the code on the plate. The machine was not retired.")
_RETIRED = mark("This machine has left the fleet. Nothing was saved.")
ACTS = ("moved", "out_of_service", "in_service", "held", "released", "battery_fitted", "retired")


def next_code(register: Register) -> str:
    """The code for the next machine: as long as the fleet's others, three characters in a new fleet."""
    lengths = [len(code) for code in register.by_code if codes.valid(code)]
    return codes.generate(max(lengths, default=3), register.by_code)


def _fittings(was: Any, known: Known | None) -> list[Field]:
    fit = known.record.segments if known else None
    return [
        Field(
            "part",
            mark("Segments: part to order"),
            value=was("part", (fit.part or "") if fit else ""),
            hint=mark("if known"),
        ),
        Field(
            "heads",
            mark("Segments: how many are changed together"),
            "number",
            was("heads", str(fit.heads or "") if fit else ""),
            mark("if known"),
        ),
        Field(
            "new",
            mark("Segments: abrasive when new"),
            value=was("new", show_millimetres(fit.new_um) if fit and fit.new_um else ""),
            hint=mark("such as 12 mm or 1/2 in; if known"),
        ),
    ]


def _sheet(
    lang: str,
    sites: dict[str, str],
    code: str,
    known: Known | None,
    fields: FormData | None = None,
    seen: str = "",
    site: str = "",
) -> Sheet:
    def was(name: str, kept: str) -> str:
        return kept if fields is None else text(fields, name)

    parts = [
        Field(
            "code",
            _PLATE,
            value=was("code", code),
            hint=mark("the last character checks the others; leave it as it is unless a plate is there already"),
            needed=True,
            most=10,
        )
    ]
    if known is None:
        parts += [
            Field("site", mark("Site"), "select", was("site", site), options=tuple(sites.items()), needed=True),
            Field(
                "battery",
                mark("Battery"),
                "select",
                was("battery", ""),
                mark("it stands on the battery or in its papers"),
                options=BATTERIES,
                needed=True,
            ),
            Field("serial", mark("Maker's serial number"), value=was("serial", ""), hint=mark("if known")),
            Field(
                "battery_set",
                mark("Battery set"),
                value=was("battery_set", ""),
                hint=mark("your own mark for this set, if there is one"),
            ),
            Field(
                "warranty_from", mark("Warranty runs from"), "date", was("warranty_from", ""), mark("if it still runs")
            ),
            Field(
                "since",
                mark("Answered for since"),
                "local",
                was("since", ""),
                mark("empty: from now on; by the clock of the site"),
            ),
        ]
    parts += _fittings(was, known)
    rules = known.record.nights if known else None
    shown, foreign = nightform.rows(rules or ())
    if fields is not None:
        shown = nightform.entered_rows(fields)
    return Sheet(
        mark("Plate and fittings") if known else mark("Add a machine"),
        f"/{lang}/register/machines/{known.code}/fit" if known else f"/{lang}/register/machines/new",
        parts,
        mark("Save the machine"),
        about=known.code if known else "",
        nights=shown,
        foreign=foreign,
        night_choice=was("own_nights", "site" if rules is None else "own"),
        hidden={"seen": seen} | ({"id": text(fields, "id", 40)} if fields is not None else {}),
        back=f"/{lang}/register/machines/{known.code}" if known else f"/{lang}/register",
    )


def plate_entry(fields: FormData, uuid: str, known: Known | None, zone: str) -> dict[str, Any]:
    """What the form says of plate and fittings. Raises ValueError with a sentence."""
    try:
        heads = int(text(fields, "heads", 9)) if text(fields, "heads", 9) else None
        new_um = micrometres_of(text(fields, "new", 40)) if text(fields, "new", 40) else None
    except ValueError:
        raise ValueError(_NOT_NUMBER) from None
    fit = given(part=text(fields, "part", 200), heads=heads, new_um=new_um)
    data = given(machine=uuid, code=text(fields, "code", 40).upper(), segments=fit or None)
    if text(fields, "own_nights") == "own":
        data["nights"] = nightform.read(fields, (known.record.nights or ()) if known else (), zone)
    return data


@router.get("/{lang}/register/machines/new", include_in_schema=False)
def new(request: Request, lang: Language, who: Leader, site: str = "") -> Response:
    """An empty form, its code given."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
    return show(request, lang, _sheet(lang, sites_of(register, who), next_code(register), None, site=site))


@router.post("/{lang}/register/machines/new", include_in_schema=False)
def add(request: Request, lang: Language, who: Leader, fields: Fields) -> Response:
    """A new machine: its plate in the fleet's log, and the first entry of its own. Raises NotYours."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
    site, first = text(fields, "site", 40), form_id(fields)
    if site not in register.sites or not who.at(site):
        raise NotYours
    sheet = _sheet(lang, sites_of(register, who), "", None, fields)
    uuid, zone = part(first, "machine"), register.sites[site].zone
    try:
        data = plate_entry(fields, uuid, None, zone)
        since = text(fields, "since", 40)
        occurred = instants.from_datetime(_local(since, zone)) if since else None
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
        return show(request, lang, sheet, wrong=str(why), status=422)
    return RedirectResponse(f"/{lang}/register/machines/{data['code']}?done=saved", 303)


def _local(said: str, zone: str) -> Any:
    from datetime import datetime

    return datetime.fromisoformat(said).replace(tzinfo=zone_of(zone))


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


@router.get("/{lang}/register/machines/{code}", include_in_schema=False)
def machine(request: Request, lang: Language, who: Leader, code: str, done: str = "") -> Response:
    """One machine: what it is, and what may be noted of it. Raises NotYours."""
    return _page(request, lang, who, code, done=done)


def _page(
    request: Request,
    lang: str,
    who: Visitor,
    code: str,
    *,
    done: str = "",
    wrong: str = "",
    ask: bool = False,
    status: int = 200,
) -> Response:
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
        known = machine_of(house, connection, who, code)
    return render(
        request,
        "register_machine.html",
        lang,
        "register",
        status=status,
        machine=known,
        done=done,
        wrong=wrong,
        ask=ask,
        site=register.sites[known.site].name,
        sites=[(c, n) for c, n in sites_of(register, who).items() if c != known.site],
        batteries=BATTERIES,
        battery=dict(BATTERIES).get(known.fold.battery, known.fold.battery),
        new_id=house.intake.new_id,
        seen=_state(known),
        fit=known.record.segments,
        mm=show_millimetres,
    )


def _state(known: Known) -> str:
    fold = known.fold
    return state((known.record, fold.site, fold.battery, fold.held, fold.in_service, fold.retired_at))


@router.get("/{lang}/register/machines/{code}/fit", include_in_schema=False)
def fit(request: Request, lang: Language, who: Leader, code: str) -> Response:
    """Plate, fittings and nights as they stand. Raises NotYours."""
    house = house_of(request)
    with house.store.read() as connection:
        known = machine_of(house, connection, who, code)
    return show(request, lang, _sheet(lang, {}, known.code, known, seen=_state(known)))


@router.post("/{lang}/register/machines/{code}/fit", include_in_schema=False)
def fitted(request: Request, lang: Language, who: Leader, code: str, fields: Fields) -> Response:
    """Change plate, fittings or nights. Raises NotYours."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
        known = machine_of(house, connection, who, code)
    seen, uuid = text(fields, "seen", 40), known.record.uuid
    sheet = _sheet(lang, {}, code, known, fields, seen)
    try:
        data = plate_entry(fields, uuid, known, register.sites[known.site].zone)

        def begin(connection: Connection) -> list[Draft]:
            log.set_code(connection, uuid, str(data["code"]))
            return []

        draft = Draft(str(form_id(fields)), fleet_log(house), "machine_set", data)
        save(house, who, [draft], now=lambda c: _state(machine_of(house, c, who, code)), seen=seen, begin=begin)
    except Meanwhile:
        with house.store.read() as connection:
            known = machine_of(house, connection, who, code)
        sheet.hidden |= {"seen": _state(known), "id": house.intake.new_id()}
        now = known.record.segments
        stands = [(_PLATE, known.code), (mark("Segments: part to order"), (now.part or "") if now else "")]
        return show(request, lang, sheet, wrong=MEANWHILE, status=409, stands=stands)
    except (ValueError, Refused) as why:
        return show(request, lang, sheet, wrong=str(why), status=422)
    return RedirectResponse(f"/{lang}/register/machines/{data['code']}?done=saved", 303)


@router.post("/{lang}/register/machines/{code}/act", include_in_schema=False)
def act(request: Request, lang: Language, who: Leader, code: str, fields: Fields) -> Response:
    """Note one fact of a machine's life. Retiring is asked twice: the code is typed. Raises NotYours."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
        known = machine_of(house, connection, who, code)
    kind, why, target = text(fields, "act", 40), text(fields, "why", 500), text(fields, "to", 40)
    if kind not in ACTS:
        return _page(request, lang, who, code, wrong=_NO_SUCH_ACT, status=422)
    data: dict[str, Any] = {}
    if kind == "moved":
        if target not in register.sites or not who.at(target):
            raise NotYours
        data = {"site": target}
    elif kind == "battery_fitted":
        data = given(battery=text(fields, "battery", 20), set=text(fields, "set", 200))
    elif kind in ("out_of_service", "held", "retired"):
        data = given(why=why)
    if kind == "retired" and text(fields, "typed", 40).upper() != code:
        return _page(
            request,
            lang,
            who,
            code,
            ask=True,
            wrong=_RETIRE_TYPED if "typed" in fields else "",
            status=422 if "typed" in fields else 200,
        )
    draft = Draft(str(form_id(fields)), known.record.uuid, kind, data)
    try:
        save(house, who, [draft], now=lambda c: _state(machine_of(house, c, who, code)), seen=text(fields, "seen", 40))
    except Meanwhile:
        return _page(request, lang, who, code, wrong=_RETIRED if known.fold.retired_at else MEANWHILE, status=409)
    except (ValueError, Refused) as refused:
        return _page(request, lang, who, code, wrong=str(refused), status=422)
    return RedirectResponse(f"/{lang}/register/machines/{code}?done=saved", 303)
