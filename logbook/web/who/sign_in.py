"""Signing in: by name and PIN on a site's phone, by passkey, or by a link sent to one's own mail or number.

Promises that whoever types an address learns nothing from the answer, that a wrong PIN and an unknown person are
answered alike and take as long, and that one goes on only to a page of ours.
"""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.background import BackgroundTask
from starlette.responses import JSONResponse, RedirectResponse, Response

from logbook.domain.people import Person
from logbook.domain.register import Register
from logbook.domain.wording.mark import mark
from logbook.web.forms import OpenFields, text
from logbook.web.house import house_of
from logbook.web.pages import Language, render
from logbook.web.who import keys
from logbook.web.who import pin as pins_of
from logbook.web.who.limits import admit, client_of
from logbook.web.who.nexts import first_page, own_path
from logbook.web.who.phones import come_in, shared_phone
from logbook.web.who.sending import send_link
from logbook.web.who.shown import choices
from logbook.web.who.visitor import visitor

router = APIRouter(include_in_schema=False)
WRONG_PIN = mark("That PIN does not go with that name. Look again, or open your own link on this phone.")
NO_PASSKEY = mark("That passkey did not open anything here. Try again, or have a link sent to you.")
NO_PHONE = mark("This phone is not a site's shared phone any more. Have a link sent to you, or ask your supervisor.")


@router.get("/{lang}/sign-in")
def ask(request: Request, lang: Language) -> Response:
    """The ways in. Whoever is in already goes on."""
    onward, who = own_path(request.query_params.get("next", "")), visitor(request)
    if who is not None:
        return RedirectResponse(onward or first_page(who.role, lang), 303)
    return _page(request, lang, onward)


@router.post("/{lang}/sign-in/pin")
def by_pin(request: Request, lang: Language, fields: OpenFields) -> Response:
    """A name and its PIN, on a site's phone."""
    house, onward = house_of(request), own_path(text(fields, "next"))
    admit(house, "pin", client_of(request))
    phone = shared_phone(request)
    if phone is None:
        return _page(request, lang, onward, wrong=NO_PHONE, status=403)
    chosen, said = text(fields, "person", 60), text(fields, "pin", 20)
    with house.store.read() as connection:
        register = house.register(connection)
    person = _of_site(register, chosen, phone.site)
    if not pins_of.holds(house, chosen if person is not None else "", phone.id, said) or person is None:
        return _page(request, lang, onward, wrong_pin=WRONG_PIN, chosen=chosen, status=403)
    answer = RedirectResponse(onward or first_page(person.role, lang), 303)
    house.store.write(lambda connection: come_in(request, connection, answer, person.uuid, "shared", phone.id))
    return answer


@router.post("/{lang}/sign-in/mail")
def by_mail(request: Request, lang: Language, fields: OpenFields) -> Response:
    """Have a link sent. The answer is the same whoever asks."""
    house = house_of(request)
    admit(house, "mail", client_of(request))
    reach = text(fields, "reach", 200)
    answer = render(request, "who_sent.html", lang, "who", joined=False)
    if reach:
        # When it has been answered: else how long the answer takes would tell that somebody is known.
        answer.background = BackgroundTask(send_link, house, reach)
    return answer


@router.post("/{lang}/sign-in/asked")
def asked(request: Request, lang: Language, fields: OpenFields) -> Response:  # noqa: ARG001 - the guard wants a form
    """What a browser is to have signed by a passkey."""
    house = house_of(request)
    admit(house, "passkey", client_of(request))
    return JSONResponse(keys.signing_in(house))


@router.post("/{lang}/sign-in/passkey")
def by_passkey(request: Request, lang: Language, fields: OpenFields) -> Response:
    """What the passkey has signed. Answers with where to go on."""
    house = house_of(request)
    admit(house, "passkey", client_of(request))
    try:
        uuid = keys.signed_in(house, request, text(fields, "asked", 60), text(fields, "credential", 20_000))
        with house.store.read() as connection:
            person = house.register(connection).people.get(uuid)
        if person is None or not person.reports:
            raise keys.NoPasskey
    except keys.NoPasskey:
        return JSONResponse({"wrong": True}, 403)
    found = person
    answer = JSONResponse({"to": own_path(text(fields, "next")) or first_page(found.role, lang)})
    phone = shared_phone(request)
    kind, at = ("passkey", None) if phone is None else ("shared", phone.id)
    house.store.write(lambda connection: come_in(request, connection, answer, found.uuid, kind, at))
    return answer


def _of_site(register: Register, uuid: str, site: str) -> Person | None:
    found = register.people.get(uuid)
    return found if found is not None and found.reports and site in found.sites else None


def _page(
    request: Request, lang: str, onward: str, *, wrong: str = "", wrong_pin: str = "", chosen: str = "",
    status: int = 200,
) -> Response:  # fmt: skip
    house, phone = house_of(request), shared_phone(request)
    with house.store.read() as connection:
        register = house.register(connection)
    return render(
        request, "who_sign_in.html", lang, "who", status=status, onward=onward, wrong=wrong, wrong_pin=wrong_pin,
        chosen=chosen, shared=register.sites[phone.site].name if phone is not None else "",
        choices=choices(register, phone.site) if phone is not None else [], no_passkey=NO_PASSKEY,
    )  # fmt: skip
