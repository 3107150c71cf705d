"""What the pages of signing in show, worked out: whom a shared phone offers, and what is kept for how long."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection

from logbook.domain.instants import DAY
from logbook.domain.register import Register
from logbook.domain.wording.times import days_of
from logbook.store import pins
from logbook.web.house import House


@dataclass(frozen=True, slots=True)
class Kept:
    """How long words are kept, in words: raw texts, photographs, other words of one's own."""

    texts: str
    photographs: str
    words: str


@dataclass(frozen=True, slots=True)
class Choice:
    """Somebody of a site, as their colleagues call them."""

    person: str
    name: str


def kept(house: House, register: Register, language: str) -> Kept:
    """As policy has it for the fleet now."""
    policy = register.fleet_policy(house.now())
    texts, photographs, others = (
        days_of(policy.duration(key).days, language) for key in ("keep_texts", "keep_photographs", "keep_private")
    )
    return Kept(texts, photographs, others)


def choices(register: Register, site: str) -> list[Choice]:
    """Who may sign in on a site's phone, by first names; where two share one, with a letter of the next."""
    here = [
        person for person in register.people.values()
        if person.reports and site in person.sites and person.name
    ]  # fmt: skip
    firsts = [(person.name or "").split()[0] for person in here]
    named = []
    for person, first in zip(here, firsts, strict=True):
        rest = (person.name or "").split()[1:]
        alike = firsts.count(first) > 1 and rest
        named.append(Choice(person.uuid, f"{first} {rest[-1][0]}." if alike else first))
    return sorted(named, key=lambda each: (each.name.casefold(), each.person))


def has_pin(connection: Connection, person: str) -> bool:
    """Whether a person has a PIN."""
    return pins.of(connection, person) is not None


def site_names(register: Register, sites: tuple[str, ...]) -> str:
    """The names of sites, in one line."""
    return ", ".join(register.sites[site].name for site in sites if site in register.sites)


def days(span: int, language: str) -> str:
    """A span in whole days, in words."""
    return days_of(span // DAY, language)
