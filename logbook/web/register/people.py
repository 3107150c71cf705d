"""People by form: role, sites, the ways they are reached, links for their phones, and leaving.

Never lets a supervisor make or change an owner, or change somebody's sites that are not theirs.
"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from markupsafe import Markup
from sqlalchemy import Connection
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from logbook.domain.door import Refused
from logbook.domain.people import Person, email_key
from logbook.domain.register import Register
from logbook.domain.wording.labels import role_label
from logbook.domain.wording.mark import mark
from logbook.domain.wording.times import span
from logbook.intake import Draft
from logbook.watch.roster import ways
from logbook.web.forms import text
from logbook.web.house import House, house_of
from logbook.web.pages import NAMES, Language, render
from logbook.web.register.fields import Field, Sheet, given, many, show
from logbook.web.register.ground import (
    MEANWHILE,
    Fields,
    Leader,
    Meanwhile,
    answers_for,
    fleet_log,
    form_id,
    part,
    person_of,
    save,
    sites_of,
    state,
)
from logbook.web.register.plates_of import spaced
from logbook.web.who import links, phones
from logbook.web.who.sending import number_of
from logbook.web.who.visitor import NotYours, Visitor

router = APIRouter()
_ROLES = ("cleaner", "keeper", "supervisor", "owner")
_NAME, _PHONE, _MAIL = mark("Name"), mark("Phone number"), mark("Mail address")
_NO_SITE = mark("Choose at least one site: without one they would see nothing. Nothing was saved.")
_NO_PHONE = mark("That is not a phone number with its country in front, such as +1 902 555 0141. Nothing was saved.")
_PHONE_TAKEN = mark("Somebody else has this number. Nothing was saved; take it from them first, or choose another.")
_MAIL_WRONG = mark("That is not a mail address. Nothing was saved.")
_MAIL_TAKEN = mark("Somebody else has this mail address. Nothing was saved.")
_LAST_OWNER = mark("This is the only owner, and nobody could act for the fleet any more. Nothing was saved.")
_NO_NAME = mark("Say what they are called. Nothing was saved.")


def _roles(who: Visitor, lang: str) -> tuple[tuple[str, str], ...]:
    return tuple((r, role_label(r, lang)) for r in _ROLES if r != "owner" or who.role == "owner")


def _sheet(
    lang: str,
    register: Register,
    who: Visitor,
    person: Person | None,
    fields: FormData | None = None,
    *,
    seen: str = "",
    site: str = "",
    role: str = "",
) -> Sheet:
    def was(name: str, kept: str) -> str:
        return kept if fields is None else text(fields, name)

    ticked = many(fields, "site") if fields is not None else person.sites if person else (site,)
    known = person or Person("", role=role or "cleaner", language=register.language)
    parts = [
        Field("name", _NAME, value=was("name", known.name or ""), needed=True),
        Field("role", mark("What they do"), "select", was("role", known.role), options=_roles(who, lang), needed=True),
        Field("site", mark("At which sites"), "ticks", options=tuple(sites_of(register, who).items()), values=ticked),
        Field(
            "language",
            mark("Language"),
            "select",
            was("language", known.language),
            options=tuple(NAMES.items()),
            needed=True,
        ),
        Field(
            "phone",
            _PHONE,
            "tel",
            was("phone", spaced(known.phone) or ""),
            mark("with its country in front, such as +1 902 555 0141; needed to report by text"),
        ),
        Field("email", _MAIL, "email", was("email", known.email or ""), mark("needed to be told by mail")),
        Field(
            "quiet",
            mark("Quiet hours"),
            value=was("quiet", known.quiet or ""),
            hint=mark("such as 21:00-06:30; empty: those of the fleet"),
        ),
    ]
    return Sheet(
        mark("Change a person") if person else mark("Add a person"),
        f"/{lang}/register/people/{person.uuid}/change" if person else f"/{lang}/register/people/new",
        parts,
        mark("Save the person"),
        about=(person.name or "") if person else "",
        hidden={"seen": seen} | ({"id": text(fields, "id", 40)} if fields is not None else {}),
        back=f"/{lang}/register/people",
    )


def entry(
    house: House, register: Register, who: Visitor, person: Person | None, uuid: str, fields: FormData
) -> dict[str, Any]:
    """What the form says of a person. Raises ValueError with a sentence, or NotYours."""
    role, chosen = text(fields, "role", 20), many(fields, "site")
    if role not in dict(_roles(who, "en")) or any(s not in register.sites or not who.at(s) for s in chosen):
        raise NotYours
    # Sites that are not the visitor's stay as they are.
    sites = [*chosen, *(s for s in (person.sites if person else ()) if not who.at(s))]
    if not text(fields, "name", 200):
        raise ValueError(_NO_NAME)
    if role != "owner" and not sites:
        raise ValueError(_NO_SITE)
    phone, mail, quiet = (
        text(fields, "phone", 40),
        text(fields, "email", 200),
        text(fields, "quiet", 40).replace(" ", ""),
    )
    number = number_of(house, phone) if phone else None
    if phone and number is None:
        raise ValueError(_NO_PHONE)
    other = register.person_by_phone(number) if number else None
    if other is not None and other.uuid != uuid and other.state != "left":
        raise ValueError(_PHONE_TAKEN)
    if mail and ("@" not in mail.strip("@") or any(c in mail for c in ' <>,;"\r\n')):
        raise ValueError(_MAIL_WRONG)
    other = register.person_by_email(email_key(mail)) if mail else None
    if other is not None and other.uuid != uuid and other.state != "left":
        raise ValueError(_MAIL_TAKEN)
    if person is not None and person.role == "owner" and role != "owner" and _only_owner(register, person):
        raise ValueError(_LAST_OWNER)
    key = person.key if person and person.key else uuid[:13]
    return {
        "person": uuid,
        "role": role,
        "language": text(fields, "language", 5) or "en",
        "sites": sites,
        "key": key,
    } | given(
        name=text(fields, "name", 200), phone=number, email=mail, quiet=quiet, word=person.word if person else None
    )


def _only_owner(register: Register, person: Person) -> bool:
    return not any(
        p.role == "owner" and p.state == "member" and p.uuid != person.uuid for p in register.people.values()
    )


@router.get("/{lang}/register/people", include_in_schema=False)
def listing(request: Request, lang: Language, who: Leader) -> Response:
    """Everybody whom the visitor answers for, by what they do."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
    theirs = [p for p in register.people.values() if answers_for(who, p) and p.state in ("member", "unconfirmed")]
    theirs.sort(key=lambda p: (p.name or "").casefold())
    groups = [(role_label(r, lang), [p for p in theirs if p.role == r and p.state == "member"]) for r in _ROLES]
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
    return show(request, lang, _sheet(lang, register, who, None, site=site, role=role))


@router.post("/{lang}/register/people/new", include_in_schema=False)
def add(request: Request, lang: Language, who: Leader, fields: Fields) -> Response:
    """Add somebody. Raises NotYours."""
    return _save(request, lang, who, fields, None)


@router.get("/{lang}/register/people/{id}", include_in_schema=False)
def person(request: Request, lang: Language, who: Leader, id: str, done: str = "") -> Response:
    """One person: how they are reached, their phones, links, leaving. Raises NotYours."""
    return _page(request, lang, who, id, done=done)


def _page(
    request: Request,
    lang: str,
    who: Visitor,
    id: str,
    *,
    done: str = "",
    wrong: str = "",
    link: str = "",
    status: int = 200,
) -> Response:
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
        known = person_of(register, who, id)
        seats = phones.seats(connection, id, house.now(), who.session.id)
    reach = next(((way, address) for way, address in ways(known) if way in house.routes), None)
    return render(
        request,
        "register_person.html",
        lang,
        "register",
        status=status,
        person=known,
        role=role_label(known.role, lang),
        sites=[register.sites[s].name for s in known.sites if s in register.sites],
        seats=seats,
        done=done,
        wrong=wrong,
        link=link,
        code=Markup(_square(link)) if link else "",  # noqa: S704 - drawn by us
        reach=reach,
        spaced=spaced,
        new_id=house.intake.new_id,
        ago=lambda at: span(house.now() - at, lang),
        seen=_state(known),
        can_send=bool(house.address and reach),
        headers={"Cache-Control": "no-store"},
    )


def _square(link: str) -> str:
    import segno

    made = segno.make_qr(link, error="m")
    return made.svg_inline(scale=5, border=4, dark="#13211d", light="#ffffff", omitsize=False)


def _state(known: Person) -> str:
    return state(known)


@router.get("/{lang}/register/people/{id}/change", include_in_schema=False)
def change(request: Request, lang: Language, who: Leader, id: str) -> Response:
    """What is known of somebody, as a form. Raises NotYours."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
    known = person_of(register, who, id)
    return show(request, lang, _sheet(lang, register, who, known, seen=_state(known)))


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
    sheet = _sheet(lang, register, who, known, fields, seen=seen)

    def now(connection: Connection) -> str:
        return seen if id is None else _state(person_of(house.register(connection), who, uuid))

    try:
        data = entry(house, register, who, known, uuid, fields)
        save(house, who, [Draft(str(first), fleet_log(house), "person_set", data)], now=now, seen=seen)
    except Meanwhile:
        with house.store.read() as connection:
            stood = person_of(house.register(connection), who, uuid)
        sheet.hidden |= {"seen": _state(stood), "id": house.intake.new_id()}
        stands = [
            (_NAME, stood.name or ""),
            (mark("What they do"), role_label(stood.role, lang)),
            (_PHONE, stood.phone or ""),
            (_MAIL, stood.email or ""),
        ]
        return show(request, lang, sheet, wrong=MEANWHILE, status=409, stands=stands)
    except (ValueError, Refused) as why:
        return show(request, lang, sheet, wrong=str(why), status=422)
    return RedirectResponse(f"/{lang}/register/people/{uuid}?done=saved", 303)


@router.post("/{lang}/register/people/{id}/left", include_in_schema=False)
def left(request: Request, lang: Language, who: Leader, id: str, fields: Fields) -> Response:
    """They report no longer. Raises NotYours."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
    known = person_of(register, who, id)
    if known.role == "owner" and known.state == "member" and _only_owner(register, known):
        return _page(request, lang, who, id, wrong=_LAST_OWNER, status=422)
    draft = Draft(str(form_id(fields)), fleet_log(house), "person_left", {"person": id})
    save(house, who, [draft])
    return RedirectResponse(f"/{lang}/register/people/{id}?done=left", 303)


@router.post("/{lang}/register/people/{id}/link", include_in_schema=False)
def link(request: Request, lang: Language, who: Leader, id: str, fields: Fields) -> Response:  # noqa: ARG001 - read for their token
    """Show a link once, to be photographed by the phone it is for. Raises NotYours."""
    house = house_of(request)
    with house.store.read() as connection:
        person_of(house.register(connection), who, id)
    try:
        made = links.offer(house, who.person.uuid, person=id)
    except ValueError:
        raise NotYours from None
    return _page(request, lang, who, id, link=made)


@router.post("/{lang}/register/people/{id}/phones", include_in_schema=False)
def take_away(request: Request, lang: Language, who: Leader, id: str, fields: Fields) -> Response:
    """Take a phone's session away. Raises NotYours."""
    phones.revoke(house_of(request), who, text(fields, "session", 60))
    return RedirectResponse(f"/{lang}/register/people/{id}?done=taken", 303)
