"""One number of policy: what it is now, another one at a level, and first what last month would have been.

Owners set the fleet's numbers; supervisors those of their sites and machines.
"""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from logbook.domain.door import Refused
from logbook.domain.policy import DUTIES, KEYS, PolicyError, Value, check
from logbook.domain.wording.duties import duty_label
from logbook.intake import Draft
from logbook.web.forms import Fields, text
from logbook.web.house import house_of
from logbook.web.pages import Language, render, words
from logbook.web.register import objections, policy_words, preview
from logbook.web.register.ground import MEANWHILE, Known, Meanwhile, fleet_log, form_id, machines_of, save, state
from logbook.web.register.levels import FROM, Level, in_force, level_of
from logbook.web.register.supposed import BUSY, shown
from logbook.web.who.visitor import Leader, NotYours, Visitor

router = APIRouter()


@router.get("/{lang}/register/policy/{name}", include_in_schema=False)
def one(request: Request, lang: Language, who: Leader, name: str, site: str = "", machine: str = "") -> Response:
    """One number, to be changed at a level. Raises NotYours."""
    return _form(request, lang, who, name, site, machine)


def _form(
    request: Request,
    lang: str,
    who: Visitor,
    name: str,
    site: str,
    machine: str,
    *,
    entered: str | None = None,
    wrong: str = "",
    status: int = 200,
) -> Response:
    house = house_of(request)
    key = KEYS.get(name)
    if key is None:
        raise NotYours
    with house.store.read() as connection:
        register = house.register(connection)
        level = level_of(house, connection, who, site, machine, change=True)
    say = words(lang, "register")
    value, origin = in_force(register, level, name)
    duty = name.partition(".")[0]
    return render(
        request,
        "register_number.html",
        lang,
        "register",
        status=status,
        name=name,
        level=level,
        site_name=register.sites[level.site].name if level.site else "",
        wrong=wrong,
        reason=objections.reasons(lang),
        origin=FROM[origin],
        sentence=policy_words.label(name),
        note=policy_words.NOTES.get(name, ""),
        now=policy_words.said(value, say),
        choices=policy_words.steps(key, say),
        entered=entered or "",
        kept=_written(value),
        own=name in level.own(register),
        example=key.form.example.strip('"'),
        about=duty_label(duty, lang) if duty in DUTIES else "",
        long=key.form.name == "steps",
        seen=state(level.own(register).get(name)),
        id=house.intake.new_id(),
    )


def _written(value: Value | None) -> str:
    if isinstance(value, list):
        return "\n".join(value)
    return str(value).lower() if isinstance(value, bool) else "" if value is None else str(value)


def _value(name: str, fields: FormData) -> Value | None:
    """What was chosen or typed; None puts the wider number back. Raises PolicyError."""
    if text(fields, "back") == "yes":
        return None
    written = text(fields, "typed") or text(fields, "chosen")
    return check({name: policy_words.typed(KEYS[name], written)})[name]


@router.post("/{lang}/register/policy/{name}", include_in_schema=False)
def change(request: Request, lang: Language, who: Leader, name: str, fields: Fields) -> Response:
    """Save a number, or put the wider one back. Raises NotYours."""
    return _change(request, lang, who, name, fields, first=False)


@router.post("/{lang}/register/policy/{name}/preview", include_in_schema=False)
def before(request: Request, lang: Language, who: Leader, name: str, fields: Fields) -> Response:
    """What the number would have raised last month, and the question whether to save it. Raises NotYours."""
    return _change(request, lang, who, name, fields, first=True)


def _change(request: Request, lang: str, who: Visitor, name: str, fields: FormData, *, first: bool) -> Response:
    house, site, machine = house_of(request), text(fields, "site", 40), text(fields, "machine", 40)
    if name not in KEYS:
        raise NotYours
    with house.store.read() as connection:
        level = level_of(house, connection, who, "" if machine else site, machine, change=True)
        machines = machines_of(house, connection, who)
    entered, id_, seen = text(fields, "typed") or text(fields, "chosen"), form_id(fields), text(fields, "seen", 40)

    def again(why: str, status: int) -> Response:
        return _form(
            request, lang, who, name, "" if machine else site, machine, entered=entered, wrong=why, status=status
        )

    try:
        data = level.data({name: _value(name, fields)})
        if first:
            own = [m for m in machines.values() if _meant(m, level)]
            hidden = {"site": site, "machine": machine, "typed": entered, "back": text(fields, "back"), "seen": seen}
            return shown(
                request,
                lang,
                preview.difference(house, own, "settings", data),
                f"/{lang}/register/policy/{name}",
                hidden,
                str(id_),
                f"/{lang}/register/policy/{name}{level.query}",
            )
        draft = Draft(str(id_), fleet_log(house), "settings", data)
        save(house, who, [draft], now=lambda c: state(level.own(house.register(c)).get(name)), seen=seen)
    except preview.Busy:
        return again(BUSY, 503)
    except Meanwhile:
        return again(MEANWHILE, 409)
    except (PolicyError, Refused) as why:
        return again(str(why), 422)
    return RedirectResponse(f"/{lang}/register/policy{level.query}{'&' if level.query else '?'}done=saved", 303)


def _meant(machine: Known, level: Level) -> bool:
    if level.machine:
        return machine.code == level.machine
    return not level.site or machine.site == level.site
