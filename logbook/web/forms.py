"""Forms as they come back: read within bounds, and only if they were made for whoever sends them."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Annotated

from fastapi import Depends, Request
from python_multipart.multipart import parse_options_header
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException

from logbook.web.house import house_of
from logbook.web.who.visitor import NotSignedIn, csrf_holds, visitor

FIELDS_MOST = 400
PART_MOST = 256_000
"""Octets of one field that is no file."""


class StaleForm(Exception):
    """The form was made for another session, or by another site."""


async def open_form(request: Request) -> AsyncIterator[FormData]:
    """A dependency: the fields of a form of anybody; the guard has seen that it comes from a page of ours.

    Files that came with it, even empty ones, are closed when it has been answered.
    """
    _kind, options = parse_options_header(request.headers.get("content-type"))
    if options.get(b"charset", b"utf-8").lower() not in (b"utf-8", b"us-ascii"):
        # Pages of ours send UTF-8 alone; among the others are some that make what no text may hold.
        raise HTTPException(415)
    async with request.form(max_files=2, max_fields=FIELDS_MOST, max_part_size=PART_MOST) as fields:
        yield fields


def form(request: Request, fields: Annotated[FormData, Depends(open_form)]) -> FormData:
    """A dependency: the fields of a form of somebody signed in. Raises NotSignedIn, or StaleForm."""
    found = visitor(request)
    if found is None:
        raise NotSignedIn
    if not csrf_holds(house_of(request), found.session, text(fields, "csrf")):
        raise StaleForm
    return fields


Fields = Annotated[FormData, Depends(form)]
OpenFields = Annotated[FormData, Depends(open_form)]
"""What a page is given: the fields of a form of somebody signed in; of anybody."""


def text(fields: FormData, name: str, most: int = 4_000) -> str:
    """One field as text without surrounding blanks; "" if it is missing, a file, or longer than `most`."""
    value = fields.get(name)
    if not isinstance(value, str) or len(value) > most:
        return ""
    return value.replace("\0", "").strip()  # which not every database can keep
