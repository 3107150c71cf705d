"""Policy as it stands at a level: what was set otherwise first, then every number by what it is about."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import Response

from logbook.domain.policy import DUTIES
from logbook.domain.wording.duties import duty_label
from logbook.web.house import house_of
from logbook.web.pages import Language, render, words
from logbook.web.register import policy_words
from logbook.web.register.ground import machines_of, sites_of
from logbook.web.register.levels import FROM, in_force, level_of
from logbook.web.who.visitor import Leader

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Line:
    """One number. `duty`: whose it is, "" if no duty's; `sentence` and `origin` are to be translated."""

    name: str
    duty: str
    sentence: str
    value: str
    origin: str
    changed: bool


@dataclass(frozen=True, slots=True)
class Shown:
    """Numbers that belong together, the one that tells most first; `open`: not folded."""

    title: str
    of_duty: bool
    open: bool
    lines: tuple[Line, ...]


@router.get("/{lang}/register/policy", include_in_schema=False)
def policy(
    request: Request, lang: Language, who: Leader, site: str = "", machine: str = "", done: str = ""
) -> Response:
    """Every number in force at a level. Raises NotYours."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
        level = level_of(house, connection, who, site, machine)
        machines = machines_of(house, connection, who)
    say = words(lang, "register")

    def line(name: str) -> Line:
        value, origin = in_force(register, level, name)
        duty = name.partition(".")[0]
        return Line(
            name, duty_label(duty, lang) if duty in DUTIES else "", policy_words.label(name),
            policy_words.said(value, say), FROM[origin], origin != "default",
        )  # fmt: skip

    shown = [
        Shown(duty_label(g.duty, lang) if g.duty else say.plain(g.title), bool(g.duty), g.first,
              tuple(line(key.name) for key in g.keys))
        for g in policy_words.groups()
    ]  # fmt: skip
    return render(
        request,
        "register_policy.html",
        lang,
        "register",
        groups=shown,
        changed=[each for group in shown for each in group.lines if each.changed],
        level=level,
        done=done,
        may=bool(level.site) or who.role == "owner",
        sites=sites_of(register, who),
        machines=[m.code for m in machines.values() if m.fold.retired_at is None],
    )
