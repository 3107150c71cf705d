"""One person's page: how they are reached and what became of it, their phones, links for them, and leaving.

Promises that a link is shown once, or goes to the person's own address, and that sending a form twice sends one
message. A cleaner is sent no trial: nothing reaches them outside the night they work.
"""

from __future__ import annotations

from urllib.parse import quote

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.responses import RedirectResponse, Response

from logbook.domain.door import Refused
from logbook.domain.people import Person
from logbook.domain.wording.labels import role_label
from logbook.domain.wording.mark import mark
from logbook.domain.wording.messages import trial_message
from logbook.domain.wording.times import span
from logbook.intake import Draft
from logbook.store import outbox, reached
from logbook.watch.roster import RegisterRoster, ways
from logbook.web.forms import Fields, text
from logbook.web.house import House, house_of
from logbook.web.pages import Language, known_language, render, words
from logbook.web.plates import square
from logbook.web.register import objections
from logbook.web.register.ground import fleet_log, form_id, person_of, save
from logbook.web.register.people_form import LAST_OWNER, only_owner
from logbook.web.register.plates_of import spaced
from logbook.web.register.reaching import MOST, NAMES, TRIAL, ways_of
from logbook.web.who import links, phones
from logbook.web.who.limits import TooOften, admit
from logbook.web.who.sending import send_enrolment, way_of
from logbook.web.who.visitor import Leader, NotYours, Visitor

router = APIRouter()
DONE = {
    "saved": mark("Saved."),
    "left": mark("They report nothing from now on, and are told nothing."),
    "taken": mark("Nobody is signed in there any more."),
    "sent": mark("The link is on its way to them. What becomes of it stands below."),
    "tried": mark("The trial is on its way. What becomes of it stands below; then ask them whether it arrived."),
}
_NO_WAY = mark("There is no way by which this could go to them. Nothing was sent; show them the link instead.")
_OFTEN = mark("Three were sent to them within an hour. Nothing was sent; look below at what became of those.")
_NO_TRIAL = mark("There is no way by which a trial could go to them. Nothing was sent.")


@router.get("/{lang}/register/people/{id}", include_in_schema=False)
def person(request: Request, lang: Language, who: Leader, id: str, done: str = "") -> Response:
    """One person: how they are reached, their phones, links, leaving. Raises NotYours."""
    return _page(request, lang, who, id, done=DONE.get(done, ""))


def _page(
    request: Request, lang: str, who: Visitor, id: str, *, done: str = "", wrong: str = "", link: str = "",
    status: int = 200,
) -> Response:  # fmt: skip
    house, say = house_of(request), words(lang, "register")
    now = house.now()
    with house.store.read() as connection:
        register = house.register(connection)
        known = person_of(register, who, id)
        seats = phones.seats(connection, id, now, who.session.id)
        last = {route: reached.latest(connection, id, route, MOST) for route in NAMES}
        held = outbox.held(connection)
        place = RegisterRoster(register).zone_of(known, now).key
    return render(
        request, "register_person.html", lang, "register", status=status, headers={"Cache-Control": "no-store"},
        person=known, role=role_label(known.role, lang), seats=seats, done=done, wrong=wrong, link=link,
        reason=objections.reasons(lang),
        sites=[register.sites[s].name for s in known.sites if s in register.sites],
        ways=ways_of(known, last, house.routes, held, say, place, now, lambda a: spaced(a) or a),
        code=Markup(square(link, 5)) if link else "",  # noqa: S704 - drawn by us
        reach=way_of(house, known), trial=_trial_ways(house, known), spaced=spaced, new_id=house.intake.new_id,
        ago=lambda at: span(now - at, lang), reports=known.reports,
    )  # fmt: skip


def _trial_ways(house: House, person: Person) -> list[tuple[str, str]]:
    """(way, address) by which a trial may go: none to a cleaner, and none to whoever has left or still waits."""
    if person.role == "cleaner" or person.state != "member":
        return []
    return [(way, address) for way, address in ways(person) if way in house.routes]


def _known(request: Request, who: Visitor, id: str) -> Person:
    house = house_of(request)
    with house.store.read() as connection:
        return person_of(house.register(connection), who, id)


@router.post("/{lang}/register/people/{id}/left", include_in_schema=False)
def left(request: Request, lang: Language, who: Leader, id: str, fields: Fields) -> Response:
    """They report no longer. Raises NotYours."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
    known = person_of(register, who, id)
    if known.role == "owner" and known.state == "member" and only_owner(register, known):
        return _page(request, lang, who, id, wrong=LAST_OWNER, status=422)
    draft = Draft(str(form_id(fields)), fleet_log(house), "person_left", {"person": id})
    try:
        save(house, who, [draft])
    except Refused as why:
        return _page(request, lang, who, id, wrong=str(why), status=422)
    return _back(lang, id, "left")


@router.post("/{lang}/register/people/{id}/link", include_in_schema=False)
def link(request: Request, lang: Language, who: Leader, id: str, fields: Fields) -> Response:  # noqa: ARG001 - read for their token
    """Show a link once, to be photographed by the phone it is for. Raises NotYours."""
    _known(request, who, id)
    try:
        made = links.offer(house_of(request), who.person.uuid, person=id)
    except ValueError:
        raise NotYours from None
    return _page(request, lang, who, id, link=made)


@router.post("/{lang}/register/people/{id}/send", include_in_schema=False)
def send(request: Request, lang: Language, who: Leader, id: str, fields: Fields) -> Response:
    """Send a link to the person's own number or address. Raises NotYours."""
    known = _known(request, who, id)
    if not known.reports:
        raise NotYours
    try:
        went = send_enrolment(house_of(request), who.person.uuid, known, str(form_id(fields)))
    except TooOften:
        return _page(request, lang, who, id, wrong=_OFTEN, status=429)
    return _back(lang, id, "sent") if went else _page(request, lang, who, id, wrong=_NO_WAY, status=422)


@router.post("/{lang}/register/people/{id}/trial", include_in_schema=False)
def trial(request: Request, lang: Language, who: Leader, id: str, fields: Fields) -> Response:
    """Send one way a message that says only that messages arrive. Raises NotYours."""
    house, known, chosen, first = house_of(request), _known(request, who, id), text(fields, "way", 20), form_id(fields)
    way = next(((way, address) for way, address in _trial_ways(house, known) if way == chosen), None)
    if way is None:
        return _page(request, lang, who, id, wrong=_NO_TRIAL, status=422)
    try:
        _try(house, known, way, str(first))
    except TooOften:
        return _page(request, lang, who, id, wrong=_OFTEN, status=429)
    return _back(lang, id, "tried")


def _try(house: House, person: Person, way: tuple[str, str], id: str) -> None:
    with house.store.read() as connection:
        if outbox.find(connection, id) is not None:
            return
        origin = house.register(connection).origin
    admit(house, "mail_to", person.uuid)
    now = house.now()
    said = trial_message(known_language(person.language), now)
    message = outbox.Message(
        id=id, message_id=outbox.message_id(id, origin), person=person.uuid, route=way[0], address=way[1], kind=TRIAL,
        subject=said.subject, body=said.short if way[0] == "text" else said.body, queued_at=now, ready_at=now,
        not_after=now + links.SENT_LASTS,
    )  # fmt: skip
    house.store.write(lambda connection: outbox.queue(connection, message))


@router.post("/{lang}/register/people/{id}/phones", include_in_schema=False)
def take_away(request: Request, lang: Language, who: Leader, id: str, fields: Fields) -> Response:
    """Take a phone's session away. Raises NotYours."""
    phones.revoke(house_of(request), who, text(fields, "session", 60))
    return _back(lang, id, "taken")


def _back(lang: str, id: str, done: str) -> Response:
    return RedirectResponse(f"/{lang}/register/people/{quote(id, safe='')}?done={done}", 303)
