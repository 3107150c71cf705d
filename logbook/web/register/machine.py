"""One machine's page, and the facts of its life: moved, held, out of service, another battery, retired.

Promises that it is retired only by whoever types the code on its plate. Plate and fittings: `machine_fit`.
"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from logbook.domain.door import Refused
from logbook.domain.policy_forms import show_millimetres
from logbook.domain.wording.mark import mark
from logbook.intake import Draft
from logbook.web.forms import Fields, text
from logbook.web.house import house_of
from logbook.web.pages import Language, render
from logbook.web.register import objections
from logbook.web.register.fields import given
from logbook.web.register.ground import MEANWHILE, Known, Meanwhile, form_id, machine_of, save, sites_of, state
from logbook.web.register.machine_form import BATTERIES
from logbook.web.who.visitor import Leader, NotYours, Visitor

router = APIRouter()
_NO_SUCH_ACT = mark("Choose what is to be noted. Nothing was saved.")
_RETIRE_TYPED = mark("That is not the code on the plate. The machine was not retired.")
_RETIRED = mark("This machine has left the fleet. Nothing was saved.")
ACTS = ("moved", "out_of_service", "in_service", "held", "released", "battery_fitted", "retired")


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
        reason=objections.reasons(lang),
        ask=ask,
        site=register.sites[known.site].name,
        sites=[(c, n) for c, n in sites_of(register, who).items() if c != known.site],
        batteries=BATTERIES,
        battery=dict(BATTERIES).get(known.fold.battery, known.fold.battery),
        new_id=house.intake.new_id,
        seen=state_of(known),
        fit=known.record.segments,
        mm=show_millimetres,
    )


def state_of(known: Known) -> str:
    """A short sign of how it stands: a form of another state is refused."""
    fold = known.fold
    return state((known.record, fold.site, fold.battery, fold.held, fold.in_service, fold.retired_at))


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
        save(
            house, who, [draft], now=lambda c: state_of(machine_of(house, c, who, code)), seen=text(fields, "seen", 40)
        )
    except Meanwhile:
        return _page(request, lang, who, code, wrong=_RETIRED if known.fold.retired_at else MEANWHILE, status=409)
    except (ValueError, Refused) as refused:
        return _page(request, lang, who, code, wrong=str(refused), status=422)
    return RedirectResponse(f"/{lang}/register/machines/{code}?done=saved", 303)
