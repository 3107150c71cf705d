"""The addresses of histories: the list, a machine's own page, its exports, a name opened on purpose, calendars.

Promises that another site's machine is not there; that a keeper opens no name, and a cleaner sees own entries alone;
and that each name that was shown is an entry of the machine's log.
"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request
from sqlalchemy import Connection
from starlette.datastructures import FormData
from starlette.responses import Response

from logbook.domain.instants import MINUTE, Instant, text
from logbook.domain.register import Register
from logbook.domain.wallclock import zone
from logbook.intake import Draft
from logbook.intake.reading import told_of
from logbook.store import sessions, words
from logbook.web.forms import form
from logbook.web.forms import text as field
from logbook.web.history import calendar, export
from logbook.web.history.asked import Asked, asked, known_at
from logbook.web.history.list_view import list_page
from logbook.web.history.listing import listed
from logbook.web.history.seen import Seen, machine_of, seen
from logbook.web.history.view import machine_page, name_page
from logbook.web.house import House, house_of
from logbook.web.pages import Language, render
from logbook.web.who.visitor import Leader, NotYours, Visitor, need

router = APIRouter(include_in_schema=False)
Anybody = Annotated[Visitor, Depends(need())]
Watching = ("keeper", "supervisor", "owner")
"""Who may take a history away, and subscribe to what is due."""
OPEN_FOR = 10 * MINUTE
"""How long the form that opened a name may be sent again; after that it is opened anew, and logged anew."""


@router.get("/{lang}/history")
def histories(request: Request, lang: Language, visitor: Anybody, q: str = "") -> Response:
    """The machines of the visitor's sites."""
    house = house_of(request)
    with house.store.read() as connection:
        found = listed(house, connection, visitor, q[:60])
    return render(
        request, "history_list.html", lang, "history", page=list_page(found, q[:60], lang, house.now()),
        calendar=calendar_path(house, visitor, lang, str(request.base_url).rstrip("/")),
    )  # fmt: skip


@router.get("/{lang}/due.ics")
def due(request: Request, lang: Language, visitor: Annotated[Visitor, Depends(need(*Watching))]) -> Response:
    """What is due at the visitor's sites, for whoever is signed in."""
    return _calendar(house_of(request), visitor, lang, None)


@router.get("/{lang}/due/{person}.{proof}.ics")
def subscribed(request: Request, lang: Language, person: str, proof: str) -> Response:
    """The same for a calendar, which brings no cookie: the address is the proof, as long as its session lives."""
    house = house_of(request)
    now = house.now()
    with house.store.read() as connection:
        known = house.register(connection).people.get(person)
        if known is None or not known.reports or known.role not in Watching:
            raise NotYours
        for session in sessions.of_person(connection, person):
            if session.lives(now) and house.signed("calendar", f"{person} {session.id}", proof):
                break
        else:
            raise NotYours
    return _calendar(house, Visitor(session, known, ""), lang, None)


@router.get("/{lang}/history/{code}.ics")
def due_of_one(
    request: Request, lang: Language, code: str, visitor: Annotated[Visitor, Depends(need(*Watching))]
) -> Response:
    """What is due on one machine."""
    return _calendar(house_of(request), visitor, lang, code)


@router.get("/{lang}/history/{code}.csv")
def as_table(
    request: Request,
    lang: Language,  # noqa: ARG001 - names the language of the address, and is looked at by no export
    code: str,
    visitor: Annotated[Visitor, Depends(need(*Watching))],
) -> Response:
    """The entries asked for, for a spreadsheet."""
    found, wanted, _wrong = _seen(request, visitor, code)
    made = export.table(found.exported(wanted), leads=visitor.leads)
    return _file(made, "text/csv; charset=utf-8; header=present", found, "csv")


@router.get("/{lang}/history/{code}.jsonl")
def as_lines(
    request: Request,
    lang: Language,  # noqa: ARG001 - names the language of the address, and is looked at by no export
    code: str,
    visitor: Annotated[Visitor, Depends(need(*Watching))],
) -> Response:
    """The entries asked for, an object a line: those of `logbook history --json`."""
    found, wanted, _wrong = _seen(request, visitor, code)
    return _file(export.jsonl(found.exported(wanted), leads=visitor.leads), "application/jsonl", found, "jsonl")


@router.get("/{lang}/history/{code}")
def history(request: Request, lang: Language, code: str, visitor: Anybody) -> Response:
    """One machine's history."""
    found, wanted, wrong = _seen(request, visitor, code)
    house = house_of(request)
    page = machine_page(found, wanted, visitor, lang, house.now(), wrong=wrong)
    address = (house.address or str(request.base_url).rstrip("/")) + f"/{lang}/history/{found.machine.code}"
    return render(request, "history_machine.html", lang, "history", page=page, asked=wanted, address=address)


@router.get("/{lang}/history/{code}/name/{seq}")
def ask_for_name(request: Request, lang: Language, code: str, seq: int, visitor: Leader) -> Response:
    """Before a name is opened: whose entry it is, and what is written down about the opening."""
    return _name(request, lang, code, seq, visitor)


@router.post("/{lang}/history/{code}/name/{seq}")
def open_name(
    request: Request, lang: Language, code: str, seq: int, visitor: Leader, fields: Annotated[FormData, Depends(form)]
) -> Response:
    """Open the name behind an entry: it is written down first, then shown on this answer alone."""
    why, id_ = field(fields, "why", 400), field(fields, "id", 40)
    if not why:
        return _name(request, lang, code, seq, visitor, error="why")
    house = house_of(request)
    with house.store.read() as connection:
        machine, register, _site = machine_of(house, connection, visitor, code)
        entry, reporter = _reporter(connection, machine.uuid, register, seq)
        person = words.person_of(connection, machine.uuid, reporter)
    draft = Draft(id_, machine.uuid, "name_opened", {"entry": entry, "why": why})
    written = house.intake.record([draft], visitor.by("form")).entries[0]
    if written.repeated and house.now() - written.recorded_at > OPEN_FOR:
        return _name(request, lang, code, seq, visitor, error="old")
    known = register.people.get(person) if person is not None else None
    return _name(request, lang, code, seq, visitor, opened=True, name=None if known is None else known.name)


# -- what they share --------------------------------------------------------------------------------------------


def calendar_path(house: House, visitor: Visitor, language: str, here: str) -> str:
    """The address of the visitor's calendar; it ends with the session in which it was made. "" for whoever has none.

    `here`: where the pages were reached just now, if no address is set.
    """
    if visitor.role not in Watching or visitor.session.kind == "shared":
        return ""
    proof = house.sign("calendar", f"{visitor.person.uuid} {visitor.session.id}")
    return f"{house.address or here}/{language}/due/{visitor.person.uuid}.{proof}.ics"


def _seen(request: Request, visitor: Visitor, code: str) -> tuple[Seen, Asked, bool]:
    """The history asked for; whether the moment asked for could not be read."""
    house, wanted = house_of(request), asked(request.query_params)
    with house.store.read() as connection:
        machine, register, site = machine_of(house, connection, visitor, code)
        moment, wrong = _moment(house, register.sites[site].zone, wanted)
        return seen(house, connection, visitor, machine, register, site, moment), wanted, wrong


def _moment(house: House, place: str, wanted: Asked) -> tuple[Instant | None, bool]:
    try:
        moment = known_at(wanted.known, zone(place))
    except (ValueError, OverflowError):
        return None, True
    return (None, False) if moment is None or moment >= house.now() else (moment, False)


def _calendar(house: House, visitor: Visitor, language: str, code: str | None) -> Response:
    found = []
    with house.store.read() as connection:
        register = house.register(connection)
        only = None if code is None else machine_of(house, connection, visitor, code)[0]
        for machine in register.machines.values() if only is None else (only,):
            watchman = house.intake.watchman(connection, register, machine.uuid)
            watchman.advance(max(house.now(), watchman.now))  # in memory: nights that have begun since
            site = register.sites.get(watchman.machine.site)
            if site is not None and visitor.at(site.code):
                found += calendar.due_of(machine.uuid, machine.code, site.name, watchman.machine)
    name = register.name if only is None else f"{only.code}, {register.name}"
    found.sort(key=lambda each: (each.due, each.code, each.duty))
    made = calendar.calendar(found, name, register.origin, language, house.now(), house.address)
    return Response(
        made, media_type="text/calendar; charset=utf-8", headers={"Content-Disposition": 'inline; filename="due.ics"'}
    )


def _file(content: str, kind: str, found: Seen, ending: str) -> Response:
    stem = "".join(each if each.isascii() and each.isalnum() else "-" for each in found.machine.code)
    moment = f"-known-{text(found.now)[:16].replace(':', '')}Z" if found.past else ""
    named = {"Content-Disposition": f'attachment; filename="history-{stem}{moment}.{ending}"'}
    return Response(content.encode(), media_type=kind, headers=named)


def _reporter(connection: Connection, machine: str, register: Register, seq: int) -> tuple[str, str]:
    for told in told_of(connection, machine, register):
        if told.seq == seq and told.reporter and told.role not in ("clock", "program"):
            return told.id, told.reporter
    raise NotYours


def _name(
    request: Request, language: Language, code: str, seq: int, visitor: Visitor, *, error: str = "",
    opened: bool = False, name: str | None = None,
) -> Response:  # fmt: skip
    house = house_of(request)
    with house.store.read() as connection:
        machine, register, site = machine_of(house, connection, visitor, code)
        found = seen(house, connection, visitor, machine, register, site, None)
    page = name_page(found, seq, language)
    if page is None:
        raise NotYours
    return render(
        request, "history_name.html", language, "history", status=422 if error else 200, page=page, error=error,
        opened=opened, name=name, id=house.intake.new_id(),
    )  # fmt: skip
