"""The page of keys: by which other programs read and report. For owners.

Promises that a key is shown once, in the answer to the form that made it, that sending the form twice makes one, and
that a key which was taken away stays in the list. Never shows a key again: it is not kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import APIRouter, Request
from sqlalchemy import Connection
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from logbook.domain.door import id_checked
from logbook.domain.instants import Instant
from logbook.domain.keyring import SCOPES, TOKEN_BYTES, Key, KeyRefused, checked, token_hash, token_of
from logbook.domain.people import Person
from logbook.domain.register import Register
from logbook.domain.wording.labels import role_label
from logbook.domain.wording.mark import mark
from logbook.domain.wording.times import span
from logbook.store import api_keys
from logbook.web.forms import Fields, text
from logbook.web.house import house_of
from logbook.web.pages import Language, render
from logbook.web.who.visitor import NotYours, Owner

router = APIRouter()

MAY = {
    "read": mark("Read machines, what is owed, histories, alerts and policy."),
    "words": mark("With what it reads, read what people wrote in their own words."),
    "post": mark("Report what cleaners and keepers did."),
    "lead": mark("Report in the name of supervisors and owners too."),
    "alerts": mark("Take an alert in hand, in the name of a supervisor or an owner."),
}
_WHY = {
    "label": mark("Say which program has the key, in 1 to 80 characters. No key was made."),
    "scope": mark("Tick what the key may do. No key was made."),
    "site": mark("One of these sites is not there any more. No key was made."),
    "person": mark("That person does not report here any more. No key was made."),
    "twice": mark(
        "This key was made already, and it was shown then. If nobody copied it, take it away and make another."
    ),
}


@dataclass(frozen=True, slots=True)
class Line:
    """A key as the list shows it. `sites` empty: all; `person`: in whose name; ages in words, "" for never."""

    id: str
    label: str
    may: tuple[str, ...]
    sites: tuple[str, ...]
    person: str
    made: str
    used: str
    gone: str


@dataclass(frozen=True, slots=True)
class Entered:
    """What was put into the form, shown again where it could not be done."""

    label: str = ""
    may: tuple[str, ...] = ("read",)
    sites: tuple[str, ...] = ()
    person: str = ""


def lines(keys: list[Key], register: Register, now: Instant, language: str) -> tuple[list[Line], list[Line]]:
    """The keys in use and those that were taken away, the newest first."""

    def age(at: Instant | None) -> str:
        return "" if at is None else span(max(0, now - at), language)

    shown = [
        Line(
            key.id, key.label, tuple(scope for scope in SCOPES if scope in key.may),
            tuple(register.sites[code].name if code in register.sites else code for code in key.sites),
            "" if key.person is None else called(register.people.get(key.person), language),
            age(key.made_at), age(key.used_at), age(key.revoked_at),
        )
        for key in reversed(keys)
    ]  # fmt: skip
    return [line for line in shown if not line.gone], [line for line in shown if line.gone]


def called(person: Person | None, language: str) -> str:
    """Somebody as an owner knows them; of one who was erased, the role is left."""
    if person is None:
        return "?"
    return f"{person.name or person.key or '?'}, {role_label(person.role, language)}"


@router.get("/{lang}/register/keys", include_in_schema=False)
def shown(request: Request, lang: Language, who: Owner) -> Response:  # noqa: ARG001 - asked for by whom is known
    """Which keys there are, and the form for another."""
    return _page(request, lang)


@router.post("/{lang}/register/keys", include_in_schema=False)
def make(request: Request, lang: Language, who: Owner, fields: Fields) -> Response:
    """Make a key, and show it this once."""
    house = house_of(request)
    entered = Entered(text(fields, "label"), _all(fields, "may"), _all(fields, "site"), text(fields, "person"))
    id_ = id_checked(text(fields, "id", 40))
    with house.store.read() as connection:
        register = house.register(connection)
        if api_keys.by_id(connection, id_) is not None:
            return _page(request, lang, wrong=_WHY["twice"], status=409)
    person = register.people.get(entered.person)
    if entered.person and (person is None or not person.reports):
        return _page(request, lang, entered=entered, wrong=_WHY["person"], status=422)
    try:
        label = checked(entered.label, list(entered.may), list(entered.sites), register.sites)
    except KeyRefused as why:
        return _page(request, lang, entered=entered, wrong=_WHY[why.code], status=422)
    token, now = token_of(house.draw(TOKEN_BYTES)), house.now()
    key = Key(
        id_, token_hash(token), label, frozenset(entered.may), entered.sites, None if person is None else person.uuid,
        who.person.uuid, now,
    )  # fmt: skip

    def job(connection: Connection) -> bool:
        if api_keys.by_id(connection, id_) is not None:
            return False
        api_keys.add(connection, key)
        return True

    if not house.store.write(job):
        return _page(request, lang, wrong=_WHY["twice"], status=409)
    return _page(request, lang, token=token, made=label)


@router.post("/{lang}/register/keys/{id}/gone", include_in_schema=False)
def take_away(request: Request, lang: Language, who: Owner, id: str, fields: Fields) -> Response:  # noqa: ARG001 - read for their token
    """What comes with this key from now on is turned away."""
    house = house_of(request)
    now = house.now()

    def job(connection: Connection) -> bool:
        api_keys.revoke(connection, id, now)
        return api_keys.by_id(connection, id) is not None

    if not house.store.write(job):
        raise NotYours
    return RedirectResponse(f"/{lang}/register/keys", 303)


def _all(fields: FormData, name: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(each for each in fields.getlist(name) if isinstance(each, str) and len(each) <= 40))


def _page(
    request: Request, lang: str, *, entered: Entered | None = None, wrong: str = "", token: str = "", made: str = "",
    status: int = 200,
) -> Response:  # fmt: skip
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
        used, gone = lines(api_keys.every(connection), register, house.now(), lang)
    people: Mapping[str, str] = {
        person.uuid: called(person, lang) for person in register.people.values() if person.reports
    }
    return render(
        request, "register_keys.html", lang, "keys", status=status, used=used, gone=gone, token=token, made=made, wrong=wrong,
        entered=entered or Entered(), id=house.intake.new_id(), scopes=MAY, address=house.address,
        sites=sorted((site.code, site.name) for site in register.sites.values()),
        people=sorted(people.items(), key=lambda each: each[1].casefold()), headers={"Cache-Control": "no-store"},
    )  # fmt: skip
