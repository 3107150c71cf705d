"""What can go wrong, by name: each problem's status and title, and the one form in which it is told (RFC 9457).

Promises that every answer that is no success has this form, that its `detail` says what was kept and what to do, and
that the inside of the program is never told.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import JSONResponse

MEDIA_TYPE = "application/problem+json"
TYPES = "/api/v1/problems/"
"""Where each type is explained."""


@dataclass(frozen=True, slots=True)
class Sort:
    """A sort of problem: its status, its title, and what a program does about it."""

    status: int
    title: str
    do: str


SORTS: dict[str, Sort] = {
    "malformed": Sort(400, "The request cannot be read", "Mend the request; the same again fails again."),
    "no_key": Sort(401, "No key was given", "Send the header `Authorization: Bearer` with the key."),
    "unknown_key": Sort(401, "The key is not good", "The key is misspelt, or was taken away: ask an owner for another."),
    "not_in_scope": Sort(403, "The key may not do this", "Ask an owner for a key that may."),
    "not_allowed": Sort(403, "The reporter may not record this", "Report it in the name of somebody whose role may."),
    "not_there": Sort(404, "There is no such thing", "Look at the address, and at the sites that the key has to do with."),
    "wrong_method": Sort(405, "That is not done here", "The header `Allow` names what is."),
    "id_reused": Sort(409, "The id is another entry's", "Give each entry an id of its own, and keep it when sending again."),
    "alert_over": Sort(409, "The alert is over", "Nothing: only the log clears an alert, and it has."),
    "too_large": Sort(413, "That is too much at once", "Send fewer entries at a time."),
    "not_json": Sort(415, "That is not JSON", "Send `Content-Type: application/json`, in UTF-8, unpacked."),
    "invalid": Sort(422, "Something in it is not as it must be", "`errors` says where, if it is in one place."),
    "refused": Sort(422, "The log does not take this", "`code` and `detail` say why; the same again fails again."),
    "unknown_reporter": Sort(422, "The reporter is nobody whom the key may name", "Name a person of the key's sites."),
    "too_often": Sort(429, "The key asks too often", "Wait as long as `Retry-After` says; send more entries a request."),
    "failed": Sort(500, "The program has failed", "Send it again with the same ids; tell whoever runs the logbook."),
    "unavailable": Sort(503, "The logbook cannot be read or written now", "Send it again in a while, with the same ids."),
}  # fmt: skip
"""Every sort of problem, by the last part of its type."""


class Fault(BaseModel):
    """One thing that is wrong, and where."""

    model_config = ConfigDict(extra="forbid")

    pointer: Annotated[str, Field(description="Where in the body (RFC 6901), or the name of a parameter.")]
    detail: Annotated[str, Field(description="What is wrong there.")]


class ProblemBody(BaseModel):
    """What went wrong (RFC 9457)."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"title": "Problem"})

    type: Annotated[str, Field(description="Which sort of problem; at this address it is explained.")]
    title: Annotated[str, Field(description="The sort of problem in a few words.")]
    status: Annotated[int, Field(ge=400, le=599)]
    detail: Annotated[str, Field(description="What happened, what was kept, what to do: for a person to read.")]
    instance: Annotated[str, Field(description="The path that was asked for.")]
    code: Annotated[str | None, Field(description="The log's own name for why it refused.")] = None
    errors: Annotated[list[Fault] | None, Field(description="Each thing that is wrong in what was sent.")] = None


class Problem(Exception):
    """Ends a request with a problem. `sort` is one of SORTS."""

    def __init__(
        self, sort: str, detail: str, *, code: str | None = None, errors: Iterable[tuple[str, str]] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:  # fmt: skip
        super().__init__(detail)
        self.sort = sort
        self.detail = detail
        self.code = code
        self.errors = tuple(errors)
        self.headers = dict(headers or {})


def told(request: Request, problem: Problem) -> JSONResponse:
    """The answer for a problem."""
    sort = SORTS[problem.sort]
    body: dict[str, Any] = {
        "type": TYPES + problem.sort, "title": sort.title, "status": sort.status, "detail": problem.detail,
        "instance": printable(request.url.path),
    }  # fmt: skip
    if problem.code is not None:
        body["code"] = problem.code
    if problem.errors:
        body["errors"] = [{"pointer": where, "detail": what} for where, what in problem.errors]
    headers = {"Cache-Control": "no-store", **problem.headers}
    return JSONResponse(body, sort.status, media_type=MEDIA_TYPE, headers=headers)


def printable(text: str) -> str:
    """Text that somebody sent, as it can be sent back: what is no Unicode text is replaced."""
    return text.encode("utf-8", "replace").decode()[:400]


def pointer(*parts: str | int) -> str:
    """A JSON pointer (RFC 6901)."""
    return "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in parts)


def shown(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """What the description says of an operation's problems."""
    made: dict[int | str, dict[str, Any]] = {}
    for status in statuses:
        sorts = {name: sort for name, sort in SORTS.items() if sort.status == status}
        said = "; ".join(sort.title for sort in sorts.values())
        examples = {
            name: {
                "summary": sort.title,
                "value": {
                    "type": TYPES + name, "title": sort.title, "status": status, "detail": f"{sort.do}",
                    "instance": "/api/v1/…",
                },
            }
            for name, sort in sorts.items()
        }  # fmt: skip
        made[status] = {"description": said, "content": {MEDIA_TYPE: {"schema": _REF, "examples": examples}}}
        if status in _HEADERS:
            made[status]["headers"] = _HEADERS[status]
    return made


_REF = {"$ref": "#/components/schemas/Problem"}
_text = {"schema": {"type": "string"}}
_HEADERS: dict[int, dict[str, Any]] = {
    401: {"WWW-Authenticate": {"description": "RFC 6750, section 3.", "required": True, **_text}},
    405: {"Allow": {"description": "What is done here.", "required": True, **_text}},
    429: {"Retry-After": {"description": "Seconds to wait.", "required": True, "schema": {"type": "integer", "minimum": 1}}},
}  # fmt: skip
