"""Phones and computers: on which somebody is signed in, which are a site's own, and how they are taken away.

Promises that a session is taken away only by whoever it belongs to, or by a leader of one of that person's sites; and
that a browser is known by its kind alone ("Android, Firefox"): what else it says of itself is not kept.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from fastapi import Request
from sqlalchemy import Connection
from starlette.responses import Response

from logbook.domain.instants import DAY, Instant
from logbook.domain.wording.mark import mark
from logbook.store import sessions, shared_phones
from logbook.store.sessions import Session
from logbook.store.shared_phones import SharedPhone
from logbook.web.house import House, digest, house_of
from logbook.web.who.visitor import NotYours, Visitor, begin, cookie_name

PHONE, TABLET, COMPUTER, OTHER = mark("Phone"), mark("Tablet"), mark("Computer"), mark("Phone or computer")

# In the order in which they are looked for: most browsers claim to be several.
_SYSTEMS = (("iPhone", "iPhone"), ("iPad", "iPad"), ("Android", "Android"), ("CrOS", "ChromeOS"),
            ("Windows", "Windows"), ("Macintosh", "macOS"), ("Linux", "Linux"))  # fmt: skip
_BROWSERS = ((r"Edg(?:A|iOS)?/", "Edge"), (r"OPR/|Opera", "Opera"), (r"SamsungBrowser/", "Samsung Internet"),
             (r"Firefox/|FxiOS/", "Firefox"), (r"Chrome/|CriOS/|Chromium/", "Chrome"), (r"Safari/", "Safari"))  # fmt: skip
_KINDS = {"iPhone": PHONE, "Android": PHONE, "iPad": TABLET, "ChromeOS": COMPUTER, "Windows": COMPUTER,
          "macOS": COMPUTER, "Linux": COMPUTER}  # fmt: skip
_PHONE_LASTS: Instant = 400 * DAY


@dataclass(frozen=True, slots=True)
class Seat:
    """Where somebody is signed in. `what`: phone, tablet or computer, to be said in the reader's language."""

    id: str
    what: str
    label: str
    kind: str
    made_at: Instant
    seen_at: Instant
    here: bool


def label_of(request: Request) -> str:
    """What a browser is, in two words; "" if it does not say."""
    said = request.headers.get("user-agent", "")[:400]
    system = next((name for mark_, name in _SYSTEMS if mark_ in said), "")
    browser = next((name for pattern, name in _BROWSERS if re.search(pattern, said)), "")
    return ", ".join(each for each in (system, browser) if each)


def what_is(label: str) -> str:
    """Phone, tablet or computer, by a label; the sentence's English."""
    return _KINDS.get(label.partition(",")[0], OTHER)


def seats(connection: Connection, person: str, now: Instant, here: str = "") -> list[Seat]:
    """Where a person is signed in now, the latest seen first. `here`: the session that asks."""
    found = [
        Seat(row.id, what_is(row.label), row.label, row.kind, row.made_at, row.seen_at, row.id == here)
        for row in sessions.of_person(connection, person) if row.lives(now)
    ]  # fmt: skip
    return sorted(found, key=lambda seat: (not seat.here, -seat.seen_at, seat.id))


def revoke(house: House, by: Visitor, session: str) -> Session:
    """Take a session away: nothing that it still holds is accepted. Raises NotYours."""

    def job(connection: Connection) -> Session:
        row = sessions.by_id(connection, session)
        if row is None:
            raise NotYours
        _may(house, connection, by, row.person)
        sessions.revoke(connection, row.id, house.now())
        return row

    return house.store.write(job)


def revoke_all(house: House, by: Visitor, person: str) -> int:
    """Take away every session of a person; answers with how many. Raises NotYours."""

    def job(connection: Connection) -> int:
        _may(house, connection, by, person)
        return sessions.revoke_all(connection, person, house.now())

    return house.store.write(job)


def _may(house: House, connection: Connection, by: Visitor, person: str) -> None:
    known = house.register(connection).people.get(person)
    if known is None or not (by.person.uuid == person or by.person.answers_for(known)):
        raise NotYours


# -- phones of a site -------------------------------------------------------------------------------------------


def shared_at(house: House, by: Visitor, site: str) -> list[SharedPhone]:
    """The phones of a site that still serve, for a leader of it. Raises NotYours."""
    if not by.leads or not by.at(site):
        raise NotYours
    with house.store.read() as connection:
        return [phone for phone in shared_phones.of_site(connection, site) if phone.revoked_at is None]


def revoke_shared(house: House, by: Visitor, phone: str) -> SharedPhone:
    """A phone is its site's no longer; who is signed in on it is signed in no longer. Raises NotYours."""

    def job(connection: Connection) -> SharedPhone:
        row = shared_phones.by_id(connection, phone)
        if row is None or not by.leads or not by.at(row.site):
            raise NotYours
        shared_phones.revoke(connection, phone, house.now())
        return row

    return house.store.write(job)


def shared_cookie(house: House) -> str:
    """The name of the cookie by which a site's phone is known."""
    return f"{cookie_name(house)}-phone"


def shared_phone(request: Request) -> SharedPhone | None:
    """The site's phone that asks, or None."""
    house = house_of(request)
    token = request.cookies.get(shared_cookie(house))
    if not token:
        return None
    with house.store.read() as connection:
        found = shared_phones.of_hash(connection, digest(token))
        known = found is not None and found.revoked_at is None and found.site in house.register(connection).sites
    return found if known else None


def make_shared(
    house: House, connection: Connection, response: Response, site: str, label: str, by: str | None
) -> SharedPhone:
    """Make the browser that is answered a phone of this site, in the transaction of this connection."""
    token, now = house.token(), house.now()
    row = SharedPhone(house.intake.new_id(), digest(token), site, label, by, now, now)
    shared_phones.add(connection, row)
    response.set_cookie(
        shared_cookie(house), token, max_age=_PHONE_LASTS // 1_000_000, path="/", secure=house.secure, httponly=True,
        samesite="lax",
    )  # fmt: skip
    return row


# -- coming and going -------------------------------------------------------------------------------------------


def come_in(
    request: Request, connection: Connection, response: Response, person: str, kind: str, phone: str | None = None
) -> Session:
    """Sign somebody in with a token of its own, in the transaction of this connection; whoever was here goes."""
    house = house_of(request)
    before = go(request, connection)
    if phone is not None:
        shared_phones.seen(connection, phone, house.now())
    if before is not None and before.person != person:
        # Browsers may take seconds over it, so only where there was somebody whose pages could be left.
        response.headers["Clear-Site-Data"] = '"cache"'
    return begin(house, connection, response, person, kind, label_of(request), phone)


def go(request: Request, connection: Connection) -> Session | None:
    """End the session of the browser that asks, and answer with it, or with None if it has none."""
    house = house_of(request)
    token = request.cookies.get(cookie_name(house))
    found = sessions.of_hash(connection, digest(token)) if token else None
    if found is not None:
        sessions.end(connection, found.id, house.now())
    return found
