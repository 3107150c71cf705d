"""One's own page: who I am here, where I am signed in, my PIN and passkeys, my language, and what is kept of me.

Promises that everything on it is one's own alone: a session, a passkey or a PIN of somebody else is not there. Signing
out leaves what waits on the phone to be sent; only kept pages are forgotten.
"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from logbook.domain.people import Person
from logbook.domain.wording import LANGUAGES
from logbook.domain.wording.labels import role_label
from logbook.domain.wording.mark import mark
from logbook.domain.wording.times import moment
from logbook.intake import PROGRAM, Draft
from logbook.store import passkeys, pins, sessions
from logbook.watch.roster import RegisterRoster
from logbook.web.forms import Fields, text
from logbook.web.house import house_of
from logbook.web.pages import Language, render
from logbook.web.who import keys
from logbook.web.who import pin as pins_of
from logbook.web.who.limits import KEPT_SESSIONS, admit
from logbook.web.who.phones import label_of, revoke, seats, what_is
from logbook.web.who.shown import days, has_pin, kept, site_names
from logbook.web.who.visitor import Leader, NotYours, Somebody, Visitor, leave

router = APIRouter(include_in_schema=False)

DONE: dict[str, str] = {
    "pin": mark("Your PIN is set. It holds on the shared phones of your sites."),
    "no-pin": mark("Your PIN is gone. You cannot sign in on a shared phone until you set another."),
    "taken": mark("That phone or computer is signed out. Nothing that it still holds is accepted."),
    "passkey": mark("The passkey is set. You can sign in with it from now on."),
    "no-passkey": mark("The passkey is gone. Remove it from your phone or computer too."),
    "language": mark("Messages to you are written in this language from now on."),
}


@router.get("/{lang}/me")
def me(request: Request, lang: Language, who: Somebody) -> Response:
    """All of it."""
    return _page(request, lang, who, done=DONE.get(request.query_params.get("done", ""), ""))


@router.post("/{lang}/me/sign-out")
def sign_out(request: Request, lang: Language, who: Somebody, fields: Fields) -> Response:
    """Sign out: here, or everywhere (then nothing that other phones still hold is accepted)."""
    house, everywhere = house_of(request), text(fields, "where") == "everywhere"
    now = house.now()

    def job(connection: Any) -> None:
        sessions.end(connection, who.session.id, now)
        if everywhere:
            # Those that ended before too: what their phones wrote down would still be taken.
            for each in sessions.of_person(connection, who.person.uuid):
                if each.id != who.session.id:
                    sessions.revoke(connection, each.id, now)

    house.store.write(job)
    answer = RedirectResponse(f"/{lang}/sign-in", 303)
    leave(house, answer)
    # Not "storage": what was tapped and waits to be sent is still there, and still this person's.
    answer.headers["Clear-Site-Data"] = '"cache"'
    return answer


@router.post("/{lang}/me/phones/{session}")
def take_away(request: Request, lang: Language, session: str, who: Somebody, fields: Fields) -> Response:  # noqa: ARG001 - asked for to be checked
    """Sign one of one's own phones or computers out. Raises NotYours."""
    house = house_of(request)
    with house.store.read() as connection:
        mine = {seat.id for seat in seats(connection, who.person.uuid, house.now())}
    if session not in mine:
        raise NotYours
    revoke(house, who, session)
    if session == who.session.id:
        answer = RedirectResponse(f"/{lang}/sign-in", 303)
        leave(house, answer)
        answer.headers["Clear-Site-Data"] = '"cache"'
        return answer
    return _done(lang, "taken")


@router.post("/{lang}/me/pin")
def set_pin(request: Request, lang: Language, who: Somebody, fields: Fields) -> Response:
    """Set one's PIN, or be without one."""
    house, person = house_of(request), who.person.uuid
    if text(fields, "what") == "none":
        house.store.write(lambda connection: pins.drop(connection, person))
        return _done(lang, "no-pin")
    new = text(fields, "pin", 20)
    wrong = pins_of.refused(new, text(fields, "again", 20))
    if wrong is None and who.session.kind == "shared" and not _old_one(request, who, text(fields, "old", 20)):
        wrong = pins_of.OLD
    if wrong is not None:
        return _page(request, lang, who, wrong_pin=wrong, status=422)
    hashed = pins_of.hashed(new)
    house.store.write(lambda connection: pins.put(connection, person, hashed, house.now()))
    return _done(lang, "pin")


def _old_one(request: Request, who: Visitor, said: str) -> bool:
    """On a phone of several, whoever finds it signed in must not make somebody's PIN their own."""
    house = house_of(request)
    with house.store.read() as connection:
        if not has_pin(connection, who.person.uuid):
            return True
    return pins_of.holds(house, who.person.uuid, who.session.phone or "", said)


@router.post("/{lang}/me/language")
def set_language(request: Request, lang: Language, who: Somebody, fields: Fields) -> Response:  # noqa: ARG001 - asked for to be checked
    """The language of messages and first pages."""
    house, chosen = house_of(request), text(fields, "language", 5)
    if chosen not in LANGUAGES or who.person.state != "member":
        raise NotYours
    if chosen != who.person.language:
        with house.store.read() as connection:
            fleet = house.intake.registry.fleet(connection)
        draft = Draft(text(fields, "id", 40), fleet, "person_set", _as_set(who.person, chosen))
        house.intake.record([draft], PROGRAM)
    return _done(chosen, "language")


def _as_set(person: Person, language: str) -> dict[str, Any]:
    """A person as they are, but for the language: an entry says all of a person, and unsets what it leaves out."""
    said = {
        "person": person.uuid, "role": person.role, "language": language, "sites": list(person.sites),
        "quiet": person.quiet, "key": person.key or person.uuid, "name": person.name, "phone": person.phone,
        "email": person.email, "word": person.word,
    }  # fmt: skip
    return {name: value for name, value in said.items() if value is not None}


# -- passkeys ---------------------------------------------------------------------------------------------------


@router.post("/{lang}/me/passkeys/asked")
def passkey_asked(request: Request, lang: Language, who: Leader, fields: Fields) -> Response:  # noqa: ARG001 - asked for to be checked
    """What a browser is to make a passkey of."""
    house = house_of(request)
    admit(house, "new_passkey", who.person.uuid)
    with house.store.read() as connection:
        fleet = house.register(connection).name
    return JSONResponse(keys.registering(house, who.person, fleet))


@router.post("/{lang}/me/passkeys")
def passkey_made(request: Request, lang: Language, who: Leader, fields: Fields) -> Response:
    """The passkey that was made."""
    if who.session.kind == "shared":
        raise NotYours  # a shared phone's keys are everybody's who unlocks it
    said = text(fields, "credential", 20_000)
    try:
        keys.register(house_of(request), request, who.person, text(fields, "asked", 60), said, label_of(request))
    except keys.NoPasskey:
        return JSONResponse({"wrong": True}, 422)
    return JSONResponse({"to": f"/{lang}/me?done=passkey"})


@router.post("/{lang}/me/passkeys/{passkey}")
def passkey_gone(request: Request, lang: Language, passkey: str, who: Somebody, fields: Fields) -> Response:  # noqa: ARG001 - asked for to be checked
    """Be without one passkey. Raises NotYours."""
    if not house_of(request).store.write(lambda connection: passkeys.drop(connection, passkey, who.person.uuid)):
        raise NotYours
    return _done(lang, "no-passkey")


def _done(lang: str, what: str) -> Response:
    return RedirectResponse(f"/{lang}/me?done={what}", 303)


def _page(
    request: Request, lang: str, who: Visitor, *, done: str = "", wrong_pin: str = "", status: int = 200
) -> Response:
    house, now = house_of(request), house_of(request).now()
    with house.store.read() as connection:
        register = house.register(connection)
        own = seats(connection, who.person.uuid, now, who.session.id)
        keys_of = passkeys.of_person(connection, who.person.uuid)
        with_pin = has_pin(connection, who.person.uuid)
    zone = RegisterRoster(register).zone_of(who.person, now).key

    def at(instant: int) -> str:
        return moment(instant, zone, lang, now)

    return render(
        request, "who_me.html", lang, "who", status=status, who=who, role=role_label(who.role, lang),
        sites=site_names(register, who.person.sites), seats=own, keys=keys_of, has_pin=with_pin, at=at,
        what_is=what_is, done=done, wrong_pin=wrong_pin, kept=kept(house, register, lang), id=house.intake.new_id(),
        kept_sessions=days(KEPT_SESSIONS, lang), unconfirmed=who.person.state != "member",
        shared=who.session.kind == "shared",
    )  # fmt: skip
