"""The page behind a link: whom it is for and what it will do; and the tap that spends it.

Promises that looking spends nothing, however often a preview looks; that a link lets in once; and that whoever comes
by one that is over reads what to do, and not whose it was.
"""

from __future__ import annotations

from fastapi import APIRouter, Request
from sqlalchemy import Connection
from starlette.responses import RedirectResponse, Response

from logbook.domain.wording.labels import role_label
from logbook.store import pins, sessions
from logbook.web.forms import OpenFields, text
from logbook.web.house import digest, house_of
from logbook.web.pages import Language, render
from logbook.web.who import pin as pins_of
from logbook.web.who.limits import admit, client_of
from logbook.web.who.links import Seen, look
from logbook.web.who.nexts import first_page
from logbook.web.who.phones import come_in, go, label_of, make_shared, shared_phone
from logbook.web.who.shown import kept, site_names
from logbook.web.who.visitor import leave

router = APIRouter(include_in_schema=False)
OPENED = {"good": 200, "unknown": 404, "spent": 410, "late": 410}


@router.get("/{lang}/enter/{token}")
def ask(request: Request, lang: Language, token: str) -> Response:
    """What the link will do. Nothing is spent."""
    return _page(request, lang, _seen(request, token))


@router.post("/{lang}/enter/{token}")
def enter(request: Request, lang: Language, token: str, fields: OpenFields) -> Response:
    """Spend the link: sign its person in here, or make this the site's phone."""
    house, seen = house_of(request), _seen(request, token)
    if seen.state != "good" or seen.link is None:
        return _page(request, lang, seen)
    new, hashed = text(fields, "pin", 20), None
    if new and seen.person is not None:
        wrong = pins_of.refused(new, text(fields, "again", 20))
        if wrong is not None:
            return _page(request, lang, seen, wrong=wrong, status=422)
        hashed = pins_of.hashed(new)
    phone, person, link = shared_phone(request), seen.person, seen.link
    where = f"/{lang}/sign-in" if person is None else first_page(person.role, lang)
    answer = RedirectResponse(where, 303)

    def job(connection: Connection) -> bool:
        if not sessions.spend(connection, digest(token), house.now()):
            return False
        if person is None:
            go(request, connection)
            make_shared(house, connection, answer, str(link.site), label_of(request), link.made_by)
            return True
        if hashed is not None:
            pins.put(connection, person.uuid, hashed, house.now())
        kind = "shared" if phone is not None else "link" if link.purpose == "sign_in" and person.leads else "own"
        come_in(request, connection, answer, person.uuid, kind, None if phone is None else phone.id)
        return True

    if not house.store.write(job):
        return _page(request, lang, Seen("spent"))  # somebody was quicker
    if person is None:
        leave(house, answer)
    return answer


def _seen(request: Request, token: str) -> Seen:
    house = house_of(request)
    with house.store.read() as connection:
        seen = look(connection, house.register(connection), token[:200], house.now())
    if seen.state == "unknown":
        admit(house, "link", client_of(request))
    return seen


def _page(request: Request, lang: str, seen: Seen, *, wrong: str = "", status: int = 0) -> Response:
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
    person, phone = seen.person, shared_phone(request)
    sites = site_names(register, person.sites) if person is not None else ""
    return render(
        request, "who_enter.html", lang, "who", status=status or OPENED[seen.state], seen=seen, person=person,
        sites=sites, site=register.sites[seen.site].name if seen.site in register.sites else "", wrong=wrong,
        role="" if person is None else role_label(person.role, lang), kept=kept(house, register, lang),
        shared=register.sites[phone.site].name if phone is not None else "",
    )  # fmt: skip
