"""A fleet from a spreadsheet: a template, a dry run line by line, and then all of it or nothing. For owners."""

from __future__ import annotations

import json
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import FormData, UploadFile
from starlette.responses import RedirectResponse, Response

from logbook.domain.door import Refused
from logbook.domain.fleetfile import FleetFileError
from logbook.domain.wording.mark import mark
from logbook.intake.fleet import apply
from logbook.web.forms import form, text
from logbook.web.house import house_of
from logbook.web.pages import Language, render
from logbook.web.register import objections
from logbook.web.register.sheet_plan import Line, plan
from logbook.web.register.sheets import COLUMNS, OCTETS_MOST, Row, SheetRefused, rows_of, template
from logbook.web.who.visitor import Owner

router = APIRouter()
_CARRIED_MOST = 250_000
DOES = {
    "added": mark("is added"),
    "changed": mark("is changed"),
    "same": mark("stays as it is"),
    "wrong": mark("is wrong"),
}
KINDS = {"site": mark("site"), "machine": mark("machine"), "person": mark("person")}
_NO_FILE = mark("Choose a file first. Nothing was read.")
_STILL_WRONG = mark("Some lines are wrong, so nothing was saved: a fleet is taken whole or not at all.")


async def sent(fields: Annotated[FormData, Depends(form)]) -> tuple[FormData, str, bytes]:
    """A dependency: the fields, and the file that came with them, read one octet past the bound."""
    file = fields.get("file")
    if not isinstance(file, UploadFile):
        return fields, "", b""
    return fields, file.filename or "", await file.read(OCTETS_MOST + 1)


Sent = Annotated[tuple[FormData, str, bytes], Depends(sent)]


@router.get("/{lang}/register/import", include_in_schema=False)
def ask(request: Request, lang: Language, who: Owner) -> Response:  # noqa: ARG001 - owners alone
    """The form, and templates."""
    return _page(request, lang)


@router.get("/{lang}/register/import/template.{kind}", include_in_schema=False)
def empty(lang: Language, who: Owner, kind: str) -> Response:  # noqa: ARG001 - owners alone
    """A template to fill in, as CSV or as a workbook."""
    book = kind == "xlsx"
    media = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet" if book else "text/csv; charset=utf-8"
    name = "fleet.xlsx" if book else "fleet.csv"
    return Response(template(book), media_type=media, headers={"Content-Disposition": f'attachment; filename="{name}"'})


@router.post("/{lang}/register/import", include_in_schema=False)
def look(request: Request, lang: Language, who: Owner, came: Sent) -> Response:  # noqa: ARG001 - owners alone
    """The dry run: what each line would do. Nothing is saved."""
    _fields, name, content = came
    if not content:
        return _page(request, lang, wrong=_NO_FILE, status=422)
    house = house_of(request)
    try:
        rows = rows_of(name, content)
        with house.store.read() as connection:
            lines, _file, firm = plan(rows, house.register(connection), house.now())
    except (SheetRefused, FleetFileError) as why:
        return _page(request, lang, wrong=str(why), status=422)
    carried = json.dumps(firm, ensure_ascii=False)
    good = bool(firm) and all(line.does != "wrong" for line in lines) and len(carried) < _CARRIED_MOST
    return _page(request, lang, lines=lines, carried=carried if good else "", status=200 if good else 422)


@router.post("/{lang}/register/import/now", include_in_schema=False)
def now(request: Request, lang: Language, who: Owner, came: Sent) -> Response:
    """All of it, or nothing."""
    house = house_of(request)
    try:
        rows = _carried(text(came[0], "rows", _CARRIED_MOST))
        with house.store.read() as connection:
            lines, file, _firm = plan(rows, house.register(connection), house.now())
        if not rows or any(line.does == "wrong" for line in lines):
            return _page(request, lang, lines=lines, wrong=_STILL_WRONG, status=422)
        apply(house.intake, file, who.by("form"))
    except (SheetRefused, FleetFileError, Refused) as why:
        return _page(request, lang, wrong=str(why), status=422)
    return RedirectResponse(f"/{lang}/register?done=saved", 303)


def _carried(said: str) -> list[Row]:
    try:
        rows = json.loads(said)
        return [
            {n: str(row[n]).encode(errors="replace").decode() for n in ("line", *COLUMNS) if n in row} for row in rows
        ]
    except (ValueError, TypeError, RecursionError):
        return []


def _page(
    request: Request,
    lang: str,
    *,
    lines: list[Line] | None = None,
    carried: str = "",
    wrong: str = "",
    status: int = 200,
) -> Response:
    return render(
        request,
        "register_import.html",
        lang,
        "register",
        status=status,
        lines=lines or [],
        carried=carried,
        wrong=wrong,
        reason=objections.reasons(lang),
        does=DOES,
        kinds=KINDS,
    )
