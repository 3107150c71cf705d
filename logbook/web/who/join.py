"""Whoever scans a plate without being signed in: chooses their name on a site's phone, has a link, or is new.

Promises that nobody is let in without the word that stands on the plate, that a newcomer is marked as unconfirmed and
a supervisor hears of them at once, and that a number which is somebody's is not handed to whoever types it: its owner
is sent a link instead.
"""

from __future__ import annotations

import hashlib
import unicodedata
import uuid

from fastapi import APIRouter, Request
from sqlalchemy import Connection
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from logbook.domain import door
from logbook.domain.instants import HOUR
from logbook.domain.wording.mark import mark
from logbook.intake import PROGRAM, Receipt
from logbook.intake.joining import joining
from logbook.watch.announcing import announce
from logbook.web.forms import OpenFields, text
from logbook.web.ground import led_up
from logbook.web.house import House, house_of
from logbook.web.pages import Language, render
from logbook.web.who.limits import admit, client_of
from logbook.web.who.nexts import first_page
from logbook.web.who.phones import come_in, shared_phone
from logbook.web.who.sending import known_by, number_of, send_link
from logbook.web.who.shown import choices, kept
from logbook.web.who.visitor import visitor

router = APIRouter(include_in_schema=False)

NAME_MOST = 60
WRONG_WORD = mark("That is not the word on a plate here. Nothing was saved. Look at the plate, and type its word.")
NO_NAME = mark("Say what you are called. Nothing was saved.")
NO_NUMBER = mark("That is no phone number. Nothing was saved. Type it with its country in front, beginning with +.")


@router.get("/{lang}/join/{code}")
def ask(request: Request, lang: Language, code: str) -> Response:
    """Who are you? Whoever is signed in goes on to the machine."""
    if visitor(request) is not None:
        return RedirectResponse(f"/{lang}/m/{_plain(code)}", 303)
    return _page(request, lang, code)


@router.post("/{lang}/join/{code}")
def join(request: Request, lang: Language, code: str, fields: OpenFields) -> Response:
    """A newcomer's word, name and number."""
    house, client = house_of(request), client_of(request)
    admit(house, "join", client)
    name, phone = name_of(text(fields, "name", 200)), text(fields, "phone", 60)
    number = number_of(house, phone)
    if not name or number is None:
        return _page(request, lang, code, fields, NO_NUMBER if name else NO_NAME)
    with house.store.read() as connection:
        register = house.register(connection)
    if register.site_of_word(text(fields, "word", 60)) is None:
        admit(house, "word", client)
        admit(house, "words", "")
        return _page(request, lang, code, fields, WRONG_WORD)
    nonce = text(fields, "once", 60) or house.token(16)
    id_, person = made_of(nonce, "entry"), made_of(nonce, "person")
    known = known_by(house, register, number)
    if known is not None and known.uuid != person:
        send_link(house, number)
        return render(request, "who_sent.html", lang, "who", joined=True)
    answer = RedirectResponse("/", 303)

    def also(connection: Connection, receipt: Receipt) -> None:
        now = house.now()
        # The same form again: whoever holds it may come in, but only while it may still be the same tap.
        if receipt.entries[0].repeated and now - receipt.entries[0].recorded_at > HOUR:
            return
        here = house.register(connection)
        come_in(request, connection, answer, person, "own")
        announce(
            connection, here, site=site, name=name, phone=number, now=now, routes=house.routes,
            id_for=lambda leader: made_of(nonce, f"waits {leader}"),
        )  # fmt: skip

    try:
        with house.store.read() as connection:
            draft, site = joining(
                house.intake, connection, id=id_, person=person, word=text(fields, "word", 60), name=name,
                phone=number, language=lang,
            )  # fmt: skip
        house.intake.record([draft], PROGRAM, also=also)
    except door.Refused:
        return _page(request, lang, code, fields, WRONG_WORD)
    answer.headers["location"] = _onward(house, lang, code, site)
    return answer


def name_of(said: str) -> str:
    """A name as it is kept: one line, no control or direction characters, not too long; "" if nothing is left."""
    plain = "".join(" " if unicodedata.category(each) in ("Cc", "Cf", "Zl", "Zp") else each for each in said)
    return " ".join(unicodedata.normalize("NFC", plain).split())[:NAME_MOST]


def made_of(nonce: str, what: str) -> str:
    """An id that only whoever holds the form could have made: the log shows the id, and not what it is made of."""
    made = hashlib.sha256(f"join\0{what}\0{nonce}".encode()).digest()[:16]
    return str(uuid.UUID(bytes=made, version=4))


def _onward(house: House, lang: str, code: str, site: str) -> str:
    """The machine whose plate was scanned, if it stands at the newcomer's site; else their machines."""
    with house.store.read() as connection:
        register = house.register(connection)
        record = register.by_code.get(_plain(code))
        ground = None if record is None else led_up(house, connection, register, record)
    if ground is None or ground.site.code != site:
        return first_page("cleaner", lang)
    return f"/{lang}/m/{ground.code}"


def _plain(code: str) -> str:
    """A plate's code as it may stand in an address."""
    return "".join(each for each in code.strip().upper()[:8] if each.isascii() and each.isalnum())


def _page(request: Request, lang: str, code: str, fields: FormData | None = None, wrong: str = "") -> Response:
    house, phone = house_of(request), shared_phone(request)
    with house.store.read() as connection:
        register = house.register(connection)
    known = _plain(code) in register.by_code
    given = {name: "" if fields is None else text(fields, name, 200) for name in ("word", "name", "phone")}
    return render(
        request, "who_join.html", lang, "who", status=422 if wrong else 200, code=_plain(code), known=known,
        shared=register.sites[phone.site].name if phone is not None else "",
        choices=choices(register, phone.site) if phone is not None else [], given=given, wrong=wrong,
        once=(fields is not None and text(fields, "once", 60)) or house.token(16),
        kept=kept(house, register, lang), onward=f"/{lang}/m/{_plain(code)}" if known else "", wrong_pin="", chosen="",
        line=house.line or "",
    )  # fmt: skip
