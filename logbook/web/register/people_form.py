"""The form of a person: what it asks, and the entry it says. Never writes.

Never lets a supervisor make an owner, or change somebody's sites that are not theirs.
"""

from __future__ import annotations

from typing import Any

from starlette.datastructures import FormData

from logbook.domain.people import Person, email_key
from logbook.domain.register import Register
from logbook.domain.wording.labels import role_label
from logbook.domain.wording.mark import mark
from logbook.web.forms import text
from logbook.web.house import House
from logbook.web.pages import NAMES
from logbook.web.register.fields import Field, Sheet, given, many
from logbook.web.register.ground import sites_of
from logbook.web.register.plates_of import spaced
from logbook.web.who.sending import number_of
from logbook.web.who.visitor import NotYours, Visitor

ROLES = ("cleaner", "keeper", "supervisor", "owner")
NAME, PHONE, MAIL = mark("Name"), mark("Phone number"), mark("Mail address")
_NO_SITE = mark("Choose at least one site: without one they would see nothing. Nothing was saved.")
_NO_PHONE = mark("That is not a phone number with its country in front, such as +1 902 555 0141. Nothing was saved.")
_PHONE_TAKEN = mark("Somebody else has this number. Nothing was saved; take it from them first, or choose another.")
_MAIL_WRONG = mark("That is not a mail address. Nothing was saved.")
_MAIL_TAKEN = mark("Somebody else has this mail address. Nothing was saved.")
_ELSEWHERE = mark(
    "They work at sites that are not yours too, so only an owner can change what they do. Nothing was saved."
)
LAST_OWNER = mark("This is the only owner, and nobody could act for the fleet any more. Nothing was saved.")
_NO_NAME = mark("Say what they are called. Nothing was saved.")


def _roles(who: Visitor, lang: str) -> tuple[tuple[str, str], ...]:
    return tuple((r, role_label(r, lang)) for r in ROLES if r != "owner" or who.role == "owner")


def sheet(
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
    """The form, empty, as somebody is known, or as it was filled in."""

    def was(name: str, kept: str) -> str:
        return kept if fields is None else text(fields, name)

    ticked = many(fields, "site") if fields is not None else person.sites if person else (site,)
    known = person or Person("", role=role or "cleaner", language=register.language)
    parts = [
        Field("name", NAME, value=was("name", known.name or ""), needed=True),
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
            PHONE,
            "tel",
            was("phone", spaced(known.phone) or ""),
            mark("with its country in front, such as +1 902 555 0141; needed to report by text"),
        ),
        Field("email", MAIL, "email", was("email", known.email or ""), mark("needed to be told by mail")),
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
    if person is not None and role != person.role and any(not who.at(s) for s in person.sites):
        raise ValueError(_ELSEWHERE)
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
    if person is not None and person.role == "owner" and role != "owner" and only_owner(register, person):
        raise ValueError(LAST_OWNER)
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


def only_owner(register: Register, person: Person) -> bool:
    """Whether nobody else could act for the fleet."""
    return not any(
        p.role == "owner" and p.state == "member" and p.uuid != person.uuid for p in register.people.values()
    )
