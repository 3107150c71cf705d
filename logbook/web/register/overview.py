"""The Register's first page: the sites with what is in them, and what is missing to begin, in the order of need."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import Response

from logbook.domain.people import Person
from logbook.domain.register import Register
from logbook.domain.wording.mark import mark
from logbook.store import sessions
from logbook.watch.roster import ways
from logbook.web.house import house_of
from logbook.web.pages import Language, render
from logbook.web.register.ground import Known, machines_of, sites_of
from logbook.web.who.visitor import Leader

router = APIRouter()


@dataclass(frozen=True, slots=True)
class SiteLine:
    """A site as the first page lists it."""

    code: str
    name: str
    zone: str
    nights: bool
    machines: tuple[str, ...]
    cleaners: int
    others: int


@dataclass(frozen=True, slots=True)
class Todo:
    """What is missing to begin: a sentence with `%(site)s` where a site is meant, and where it is done."""

    say: str
    do: str
    where: str
    site: str = ""


def lines(register: Register, sites: Mapping[str, str], machines: Mapping[str, Known]) -> list[SiteLine]:
    """The sites, with what is in them."""
    found = []
    for code, name in sites.items():
        own = [m for m in machines.values() if m.site == code and m.fold.retired_at is None]
        people = [p for p in register.people.values() if p.state == "member" and code in p.sites]
        cleaners = sum(p.role == "cleaner" for p in people)
        record = register.sites[code]
        nights = bool(record.nights) or any(m.record.nights for m in own)
        found.append(
            SiteLine(code, name, record.zone, nights, tuple(m.code for m in own), cleaners, len(people) - cleaners)
        )
    return found


def todos(register: Register, found: Sequence[SiteLine], *, owner: bool, reached: frozenset[str]) -> list[Todo]:
    """What is missing, in the order in which somebody new needs it. `reached`: who has a phone signed in, by uuid."""
    missing: list[Todo] = []
    if not found:
        if owner:
            missing.append(Todo(mark("There is no site yet."), mark("Add the first site"), "sites/new"))
        return missing
    for site in found:
        people = [p for p in register.people.values() if p.state == "member" and p.at(site.code)]
        cleaners = [p for p in people if p.role == "cleaner"]
        if not site.machines:
            missing.append(
                Todo(
                    mark("%(site)s has no machine yet."),
                    mark("Add a machine"),
                    f"machines/new?site={site.code}",
                    site.name,
                )
            )
        if not cleaners:
            missing.append(
                Todo(
                    mark("Nobody cleans at %(site)s yet."),
                    mark("Add a cleaner"),
                    f"people/new?site={site.code}&role=cleaner",
                    site.name,
                )
            )
        elif not any(_reports(p, reached) for p in cleaners):
            missing.append(
                Todo(
                    mark("No cleaner at %(site)s has a phone yet."),
                    mark("Send a link to a phone"),
                    f"people/{cleaners[0].uuid}",
                    site.name,
                )
            )
        if not any(p.leads and ways(p) for p in people):
            missing.append(
                Todo(
                    mark("No one is told what is late at %(site)s: no supervisor has a mail address."),
                    mark("Add one"),
                    f"people/new?site={site.code}&role=supervisor",
                    site.name,
                )
            )
        if not site.nights:
            missing.append(
                Todo(
                    mark("No night is expected at %(site)s: a night without a word would not be noticed."),
                    mark("Say which nights"),
                    f"sites/{site.code}",
                    site.name,
                )
            )
        if site.code not in register.words:
            missing.append(
                Todo(
                    mark("The plates of %(site)s have no joining word."),
                    mark("Choose one"),
                    f"sites/{site.code}",
                    site.name,
                )
            )
    return missing


def _reports(person: Person, reached: frozenset[str]) -> bool:
    return bool(person.phone) or person.uuid in reached


@router.get("/{lang}/register", include_in_schema=False)
def overview(request: Request, lang: Language, who: Leader, done: str = "") -> Response:
    """Sites, and what is missing."""
    house = house_of(request)
    now = house.now()
    with house.store.read() as connection:
        register = house.register(connection)
        machines = machines_of(house, connection, who)
        reached = frozenset(
            p.uuid
            for p in register.people.values()
            if p.role == "cleaner" and any(s.lives(now) for s in sessions.of_person(connection, p.uuid))
        )
    found = lines(register, sites_of(register, who), machines)
    waiting = sum(p.state == "unconfirmed" and any(who.at(s) for s in p.sites) for p in register.people.values())
    return render(
        request,
        "register_overview.html",
        lang,
        "register",
        sites=found,
        fleet=register.name,
        done=done,
        todos=todos(register, found, owner=who.role == "owner", reached=reached),
        waiting=waiting,
    )
