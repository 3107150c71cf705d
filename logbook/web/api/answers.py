"""Answers: JSON with a tag, so that a program that asks again for what has not changed is told just that."""

from __future__ import annotations

import hashlib
from typing import Annotated, Any

from fastapi import Query, Request
from pydantic import BaseModel
from starlette.responses import Response

from logbook.domain import instants
from logbook.domain.instants import Instant
from logbook.web.api.problems import Problem

JSON = "application/json"
Time = Annotated[str | None, Query(max_length=40, json_schema_extra={"format": "date-time"})]
"""A parameter that is an instant, as RFC 3339 has it."""


def read(request: Request, form: BaseModel) -> Response:
    """The answer to a reading. The tag is weak: the octets may leave packed or not (RFC 9110, section 8.8.1)."""
    content = form.model_dump_json(by_alias=True).encode()
    tag = f'W/"{hashlib.sha256(content).hexdigest()[:32]}"'
    headers = {"ETag": tag, "Cache-Control": "private, no-cache", "Vary": "Authorization"}
    if _known(request.headers.get("if-none-match", ""), tag):
        return Response(status_code=304, headers=headers)
    return Response(content, media_type=JSON, headers=headers)


def written(form: BaseModel, *, new: bool) -> Response:
    """The answer to what was recorded: it is on the disk."""
    return Response(
        form.model_dump_json().encode(), 201 if new else 200, {"Cache-Control": "no-store"}, media_type=JSON
    )


def _known(said: str, tag: str) -> bool:
    """Whether a tag is among those of If-None-Match, compared weakly (RFC 9110, section 13.1.2)."""
    tags = {each.strip().removeprefix("W/") for each in said.split(",")}
    return "*" in tags or tag.removeprefix("W/") in tags


def following(request: Request, **changed: Any) -> str:
    """The address of the next page: the same, with another place to go on from."""
    url = request.url.include_query_params(**changed)
    return f"{url.path}?{url.query}"


def instant(name: str, said: str | None) -> Instant | None:
    """An instant that was given as a parameter. Raises Problem."""
    if said is None:
        return None
    try:
        return instants.parse(said)
    except ValueError:
        raise Problem(
            "invalid", f"{name}: write an RFC 3339 time, such as 2026-03-09T09:30:00Z. Nothing was done.",
            errors=[(name, "is no RFC 3339 time")],
        ) from None  # fmt: skip


READ: dict[int | str, dict[str, Any]] = {
    304: {
        "description": "Nothing has changed since the answer whose tag was sent in If-None-Match.",
        "headers": {"ETag": {"required": True, "schema": {"type": "string"}}},
    }
}
