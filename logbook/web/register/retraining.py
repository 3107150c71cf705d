"""The page on training: what is late or missed by site and duty, what training was given, and a form to note it.

Never shows, counts or asks for a person.
"""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from sqlalchemy import Connection
from starlette.responses import RedirectResponse, Response

from logbook.domain import reporting
from logbook.domain.instants import Instant
from logbook.domain.wording.duties import duty_label
from logbook.domain.wording.labels import role_label
from logbook.domain.wording.mark import mark
from logbook.domain.wording.times import day_clock
from logbook.intake import Draft
from logbook.web.forms import Fields, text
from logbook.web.house import House, house_of
from logbook.web.pages import Language, render, words
from logbook.web.register.ground import form_id, machines_of, part
from logbook.web.register.retraining_fold import judgement
from logbook.web.register.retraining_view import BY, TOPICS, WEEKS, counts
from logbook.web.who.visitor import Leader, NotYours, Visitor

router = APIRouter()
_NOT_CHOSEN = mark("Choose what was shown, by whom, and on which machines. Nothing was saved.")


@dataclass(frozen=True, slots=True)
class Shown:
    """A `trained` entry as it is listed: when, on which machine, what, by which role."""

    at: Instant
    when: str
    code: str
    topic: str
    by: str


@router.get("/{lang}/register/retraining", include_in_schema=False)
def retraining(request: Request, lang: Language, who: Leader, weeks: int = 4, done: int = 0) -> Response:
    """The last weeks, of the visitor's sites."""
    return _page(request, lang, who, weeks if weeks in WEEKS else 4, done=done)


@router.post("/{lang}/register/retraining", include_in_schema=False)
def trained(request: Request, lang: Language, who: Leader, fields: Fields) -> Response:
    """Note that somebody was shown something, on each machine that was ticked. Raises NotYours, or Refused."""
    house = house_of(request)
    topic, by = text(fields, "topic", 200), text(fields, "by", 40)
    codes = [str(code) for code in fields.getlist("machine")]
    if topic not in TOPICS or by not in BY or not codes:
        return _page(request, lang, who, 4, wrong=_NOT_CHOSEN, status=422)
    first = form_id(fields)
    with house.store.read() as connection:
        theirs = _machines(house, connection, who)
    drafts = []
    for code in dict.fromkeys(codes):
        if code not in theirs:
            raise NotYours
        # One form, several entries: each id follows from the form's, so that sent twice it adds nothing.
        id_ = part(first, theirs[code][0])
        drafts.append(Draft(id_, theirs[code][0], "trained", {"topic": topic, "by": by}))
    house.intake.record(drafts, who.by("form"))
    return RedirectResponse(f"/{lang}/register/retraining?done={len(drafts)}", 303)


def _machines(house: House, connection: Connection, who: Visitor) -> dict[str, tuple[str, str]]:
    """Code -> (uuid, site) of the machines at the visitor's sites, less those that are retired."""
    found = machines_of(house, connection, who)
    return {code: (each.record.uuid, each.site) for code, each in found.items() if each.fold.retired_at is None}


def _page(
    request: Request, lang: str, who: Visitor, weeks: int, *, done: int = 0, wrong: str = "", status: int = 200
) -> Response:  # fmt: skip
    house = house_of(request)
    now, said = house.now(), words(lang, "register")
    with house.store.read() as connection:
        register = house.register(connection)
        judged: list[reporting.Judged] = []
        shown: list[Shown] = []
        # A machine that went to another site, or is retired, has done its nights here all the same.
        for code, machine in register.by_code.items():
            found = judgement(house, connection, register, machine.uuid, now)
            judged += found.judged
            if who.at(found.site):
                zone = register.sites[found.site].zone
                shown += [Shown(g.at, day_clock(g.at, zone, lang), code, g.topic, g.by) for g in found.given]
        theirs = _machines(house, connection, who)
    sites = {code: site.name for code, site in register.sites.items() if who.at(code)}
    few = {code: len(register.who("cleaner", code)) for code in sites}
    return render(
        request, "register_retraining.html", lang, "register", status=status, weeks=weeks, choices=WEEKS, wrong=wrong,
        done=done, id=house.intake.new_id(), topics=TOPICS, by=BY,
        sites=counts(judged, sites, few, weeks, now), label=lambda duty: duty_label(duty, lang),
        machines=[(sites[site], code) for code, (_uuid, site) in theirs.items()],
        shown=sorted(shown, key=lambda each: each.at, reverse=True)[:60],
        topic=lambda each: said.plain(each) if each in TOPICS else each,
        by_whom=lambda each: said.plain(each) if each in BY else role_label(each, lang),
    )  # fmt: skip
