"""The keeper's page: what is shown, and the forms that write entries about keys, the drawer, orders and deliveries.

Every form carries the id of the entry it will write, so that sent twice it is one entry.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from sqlalchemy import Connection
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from logbook.domain.door import Refused
from logbook.domain.history import Entry
from logbook.domain.wording.labels import entry_label
from logbook.domain.wording.mark import mark
from logbook.evidence.form import read as read_form
from logbook.intake import Draft
from logbook.store import log
from logbook.web.forms import Fields, text
from logbook.web.ground import ground_of, grounds_of
from logbook.web.house import House, house_of
from logbook.web.keeper.view import KINDS, Stand, stand
from logbook.web.pages import Language, render
from logbook.web.who.visitor import NotYours, Visitor, need

router = APIRouter()
Keeper = Annotated[Visitor, Depends(need("keeper", "supervisor", "owner"))]

_NO_NUMBER = mark("Write how many pieces, such as 6. Nothing was saved.")
_NO_PART = mark("Write which part. Nothing was saved.")
_NOT_SAVED = mark("That could not be saved: %(why)s")


@router.get("/{lang}/keeper", include_in_schema=False)
def keeper(request: Request, lang: Language, who: Keeper, done: str = "", of: str = "") -> Response:
    """The machines of the visitor's sites. `done`, `of`: what was just written, and of which machine."""
    return _page(request, lang, who, done=done if done in KINDS else "", of=of)


@router.post("/{lang}/keeper/{code}", include_in_schema=False)
def write(request: Request, lang: Language, who: Keeper, code: str, fields: Fields) -> Response:
    """One entry of one machine. Raises NotYours for a machine of another site."""
    house = house_of(request)
    with house.store.read() as connection:
        machine = ground_of(house, connection, who.person, code)
    act = text(fields, "act", 20)
    if act not in KINDS or (act == "received" and not _ordered(house, machine.uuid, text(fields, "order", 64))):
        raise NotYours
    data, wrong = _data(act, fields)
    if wrong:
        return _page(request, lang, who, wrong=wrong, of=machine.code, status=422)
    try:
        house.intake.record([Draft(text(fields, "id", 40), machine.uuid, act, data)], who.by("form"))
    except Refused as why:
        return _page(request, lang, who, wrong=_NOT_SAVED, why=str(why), of=machine.code, status=422)
    return RedirectResponse(f"/{lang}/keeper?done={act}&of={machine.code}#{machine.code}", 303)


def _data(act: str, fields: FormData) -> tuple[dict[str, Any], str]:
    """What the entry says, and what is wrong with what was typed."""
    qty, part = text(fields, "qty", 12), text(fields, "part", 200)
    number = int(qty) if qty.isascii() and qty.isdigit() else None
    least = 1 if act == "ordered" else 0
    match act:
        case "counted" | "ordered":
            if number is None or not least <= number <= 100_000:
                return {}, _NO_NUMBER
            return ({"part": part, "qty": number}, "") if part else ({}, _NO_PART)
        case "received":
            if qty and number is None:
                return {}, _NO_NUMBER
            return {"order": text(fields, "order", 64), **({} if number is None else {"qty": number})}, ""
        case _:
            return {}, ""  # a key: never to whom, for that would be a worker's name


def _ordered(house: House, machine: str, order: str) -> bool:
    with house.store.read() as connection:
        return any(each.kind == "ordered" and each.id == order for each in _entries(connection, machine))


def _page(
    request: Request, lang: str, who: Visitor, *, done: str = "", of: str = "", wrong: str = "", why: str = "",
    status: int = 200,
) -> Response:  # fmt: skip
    house = house_of(request)
    with house.store.read() as connection:
        sites = _sites(house, connection, who, lang)
    return render(
        request, "keeper.html", lang, "keeper", status=status, sites=sites, of=of, wrong=wrong, why=why,
        done=entry_label(done, lang) if done else "", new_id=house.intake.new_id,
        orders=[(each.code, order) for _name, some in sites for each in some for order in each.orders],
    )  # fmt: skip


def _sites(house: House, connection: Connection, who: Visitor, lang: str) -> list[tuple[str, list[Stand]]]:
    """(site's name, its machines) of the visitor's sites, by name and code; machines that are retired are left out."""
    found: dict[str, list[Stand]] = {}
    for each in grounds_of(house, connection, who.person):
        fit = each.register.segments(each.uuid, each.now)
        told = _entries(connection, each.uuid)
        line = stand(each.code, each.machine, told, fit.part if fit else None, each.site.zone, each.now, lang)
        found.setdefault(each.site.code, []).append(line)
    sites = house.register(connection).sites
    return [(sites[code].name, some) for code, some in found.items()]


def _entries(connection: Connection, machine: str) -> Iterator[Entry]:
    """A machine's entries about keys and parts, less those that were struck."""
    struck = log.struck(connection, machine)
    for row in log.by_seq(connection, machine):
        if row.kind in KINDS and row.id not in struck:
            data = read_form(row.bytes).data
            yield Entry(row.seq, row.id, row.kind, row.occurred_at, row.recorded_at, row.root or row.id, data)
