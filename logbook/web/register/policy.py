"""Policy by form: each number in force, where it comes from, another one, and first what last month would have been.

Owners set the fleet's numbers; supervisors those of their sites and machines.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from sqlalchemy import Connection
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from logbook.domain.door import Refused
from logbook.domain.policy import KEYS, PolicyError, Value, check
from logbook.domain.register import Register
from logbook.domain.wording.duties import duty_label
from logbook.domain.wording.mark import mark
from logbook.domain.wording.times import day_clock
from logbook.intake import Draft
from logbook.web.forms import Fields, text
from logbook.web.house import House, house_of
from logbook.web.pages import Language, render, words
from logbook.web.register import policy_words, preview
from logbook.web.register.ground import (
    MEANWHILE,
    Known,
    Meanwhile,
    fleet_log,
    form_id,
    machine_of,
    machines_of,
    save,
    sites_of,
    state,
)
from logbook.web.register.sites import entry as site_entry
from logbook.web.who.visitor import Leader, NotYours, Visitor

router = APIRouter()
FROM = {
    "default": mark("as delivered"),
    "fleet": mark("the fleet's"),
    "site": mark("the site's"),
    "machine": mark("the machine's"),
}
_BUSY = mark("Another preview is being worked out. Nothing was saved; try again in half a minute.")
_SHOWN_MOST = 60


@dataclass(frozen=True, slots=True)
class Level:
    """Where a number is set: for the fleet (both empty), a site, or a machine at a site."""

    site: str = ""
    machine: str = ""
    uuid: str = ""

    @property
    def query(self) -> str:
        """For the page's address."""
        return f"?machine={self.machine}" if self.machine else f"?site={self.site}" if self.site else ""

    def own(self, register: Register) -> Mapping[str, Value]:
        """What is set at this very level."""
        return register.settings(None if self.machine else self.site or None, self.uuid or None)

    def data(self, values: Mapping[str, Any]) -> dict[str, Any]:
        """The entry's data."""
        if self.machine:
            return {"machine": self.uuid, "values": dict(values)}
        return ({"site": self.site} if self.site else {}) | {"values": dict(values)}


def _level(
    house: House, connection: Connection, who: Visitor, site: str, machine: str, *, change: bool = False
) -> Level:
    register = house.register(connection)
    if machine:
        known = machine_of(house, connection, who, machine)
        return Level(known.site, machine, known.record.uuid)
    if site:
        if site not in register.sites or not who.at(site):
            raise NotYours
        return Level(site)
    if change and who.role != "owner":
        raise NotYours
    return Level()


def in_force(register: Register, level: Level, name: str) -> tuple[Value | None, str]:
    """The value of a key at a level, and where it comes from."""
    where = (
        ("machine", register.settings(machine=level.uuid) if level.uuid else {}),
        ("site", register.settings(site=level.site) if level.site else {}),
        ("fleet", register.settings()),
    )
    for origin, values in where:
        if name in values:
            return values[name], origin
    return KEYS[name].default, "default"


@router.get("/{lang}/register/policy", include_in_schema=False)
def policy(
    request: Request, lang: Language, who: Leader, site: str = "", machine: str = "", done: str = ""
) -> Response:
    """Every number in force at a level. Raises NotYours."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
        level = _level(house, connection, who, site, machine)
        machines = machines_of(house, connection, who)
    say = words(lang, "register")
    rows = []
    for duty, keys in policy_words.groups():
        lines = []
        for key in keys:
            value, origin = in_force(register, level, key.name)
            lines.append((key.name, policy_words.label(key.name), policy_words.said(value, say), origin))
        rows.append((duty_label(duty, lang) if duty else "", lines))
    return render(
        request,
        "register_policy.html",
        lang,
        "register",
        groups=rows,
        level=level,
        origins=FROM,
        done=done,
        may=bool(level.site) or who.role == "owner",
        sites=sites_of(register, who),
        machines=[m.code for m in machines.values() if m.fold.retired_at is None],
    )


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
        level = _level(house, connection, who, site, machine, change=True)
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
        wrong=wrong,
        origin=FROM[origin],
        label=policy_words.label(name),
        now=policy_words.said(value, say),
        choices=policy_words.steps(key, say),
        entered=entered or "",
        kept=_written(value),
        own=name in level.own(register),
        example=key.form.example.strip('"'),
        about=duty_label(duty, lang) if duty in dict(policy_words.groups()) else "",
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
        level = _level(house, connection, who, "" if machine else site, machine, change=True)
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
        return again(_BUSY, 503)
    except Meanwhile:
        return again(MEANWHILE, 409)
    except (PolicyError, Refused) as why:
        return again(str(why), 422)
    return RedirectResponse(f"/{lang}/register/policy{level.query}{'&' if level.query else '?'}done=saved", 303)


def _meant(machine: Known, level: Level) -> bool:
    if level.machine:
        return machine.code == level.machine
    return not level.site or machine.site == level.site


def shown(
    request: Request, lang: str, found: preview.Difference, action: str, hidden: Mapping[str, Any], id_: str, back: str
) -> Response:
    """The page of a preview; what it would save is carried in hidden fields, a list as several."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
        zone = next((s.zone for s in register.sites.values()), "UTC")

    def rows(said: Any) -> list[tuple[str, str, str]]:
        return [(s.machine, duty_label(s.duty, lang), day_clock(s.at, zone, lang)) for s in said[:_SHOWN_MOST]]

    pairs = [(n, v) for n, many in hidden.items() for v in (many if isinstance(many, list) else [many])]
    return render(
        request,
        "register_preview.html",
        lang,
        "register",
        found=found,
        more=rows(found.more),
        fewer=rows(found.fewer),
        action=action,
        hidden=pairs,
        id=id_,
        back=back,
        duties=[(duty_label(d, lang), m, f) for d, m, f in found.by_duty()],
    )


@router.post("/{lang}/register/sites/{code}/preview", include_in_schema=False)
def nights(request: Request, lang: Language, who: Leader, code: str, fields: Fields) -> Response:
    """What a site's other nights would have raised last month. Raises NotYours."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
        if code not in register.sites or not who.at(code):
            raise NotYours
        machines = [m for m in machines_of(house, connection, who).values() if m.site == code]
    from logbook.web.register.sites import failed

    try:
        data = {**site_entry(fields, register.sites[code])}
        found = preview.difference(house, machines, "site_set", data)
    except preview.Busy:
        return failed(request, lang, register.sites[code], fields, _BUSY, 503)
    except ValueError as why:
        return failed(request, lang, register.sites[code], fields, str(why), 422)
    hidden = {n: [v for v in fields.getlist(n) if isinstance(v, str)] for n in fields if n not in ("csrf", "id")}
    return shown(
        request,
        lang,
        found,
        f"/{lang}/register/sites/{code}",
        hidden,
        str(form_id(fields)),
        f"/{lang}/register/sites/{code}",
    )
