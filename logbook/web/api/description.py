"""The interface's own description (OpenAPI 3.1), made from the operations and from the catalogue of kinds.

Promises that what can be posted is described kind by kind, with an example each, so that a new kind of entry needs
nothing written here.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from logbook.domain.entries import Kind, catalogue
from logbook.web.api.problems import ProblemBody
from logbook.web.api.reporting import can_be_posted
from logbook.web.api.shapes import Posted, Posting, Taking

TITLE = "Machine logbook"
VERSION = "1.0.0"
_REF = "#/components/schemas/{model}"
_MACHINE, _ID, _WHEN = "B7H", "0192d5c8-0000-7000-8000-000000000042", "2026-03-09T09:12:00Z"
TEXT = """\
What was done on each machine, what is still owed, and which alerts are out; and a way to report.

**Keys.** `logbook key add`, or an owner on the Register's page of keys, makes a key and shows it once. Send it as
`Authorization: Bearer …`. A key has its sites, and does what it was made for: `read`, `words` (people's own words in what
it reads), `post`, `lead` (to report in the name of supervisors and owners), `alerts` (to take one in hand). Cookies
are never looked at.

**Sending again.** An entry's `id` is given by whoever first wrote it down. Send it until it is answered: it stands in
the log once. The same `id` with other content is a problem (409), and the entry that has it stands.

**Times and quantities.** RFC 3339, answered in UTC. Whole numbers, in the unit that the name ends with.

**Problems.** Whatever goes wrong is answered as `application/problem+json` (RFC 9457); `detail` says what was kept and
what to do. An address that is not there answers 404, a method that is not done there 405 with `Allow`.

**Pages.** A list has `next`, the address of the next page, or null. **Tags.** What is read has an `ETag`; sent back in
`If-None-Match`, it is answered 304 for as long as nothing changed.
"""


def describe(api: FastAPI) -> Callable[[], dict[str, Any]]:
    """What `api.openapi` is to be: made when it is first asked for."""
    made: dict[str, Any] = {}

    def openapi() -> dict[str, Any]:
        if not made:
            made.update(_description(api))
        return made

    return openapi


def _description(api: FastAPI) -> dict[str, Any]:
    document = get_openapi(
        title=api.title, version=api.version, openapi_version="3.1.0", description=api.description, routes=api.routes,
        servers=api.servers,
    )  # fmt: skip
    schemas = document["components"]["schemas"]
    for name in ("HTTPValidationError", "ValidationError"):
        schemas.pop(name, None)
    for path in document["paths"].values():
        for operation in path.values():
            # What the framework would say of a refusal; ours is a problem, and every operation names its own.
            if "HTTPValidationError" in str(operation["responses"].get("422")):
                del operation["responses"]["422"]
            for status, answer in operation["responses"].items():
                if status == "200" and "get" in path:
                    answer.setdefault("headers", {})["ETag"] = {"required": True, "schema": {"type": "string"}}
    schemas["Problem"] = ProblemBody.model_json_schema(ref_template=_REF)
    schemas["Taking"] = Taking.model_json_schema(ref_template=_REF)
    schemas["Posting"] = Posting.model_json_schema(ref_template=_REF)
    for each in list(schemas.values()):
        schemas.update({name: part for name, part in each.pop("$defs", {}).items() if name != "Posted"})
    kinds = [kind for kind in catalogue if can_be_posted(kind)]
    schemas.update({_name(kind): _posted(kind) for kind in kinds})
    refs = {kind.kind: _REF.format(model=_name(kind)) for kind in kinds}
    schemas["Posting"]["properties"]["entries"]["items"] = {
        "oneOf": [{"$ref": ref} for ref in refs.values()],
        "discriminator": {"propertyName": "kind", "mapping": refs},
    }
    body = document["paths"]["/entries"]["post"]["requestBody"]["content"]["application/json"]
    body["examples"] = {kind.kind: {"summary": kind.meaning, "value": example(kind)} for kind in kinds}
    return document


def example(kind: type[Kind]) -> dict[str, Any]:
    """A body that posts one entry of a kind."""
    entry: dict[str, Any] = {"id": _ID, "machine": _MACHINE, "kind": kind.kind, "occurred_at": _WHEN}
    if kind.example:
        entry["data"] = kind.example
    return {"reporter": "ana", "entries": [entry]}


def _name(kind: type[Kind]) -> str:
    return "Posted_" + kind.kind


def _posted(kind: type[Kind]) -> dict[str, Any]:
    """The schema of an entry of one kind, as it is posted."""
    data = kind.model_json_schema(ref_template=_REF)
    whole = Posted.model_json_schema(ref_template=_REF)
    fields: dict[str, Any] = whole["properties"]
    fields["kind"] = {"const": kind.kind, "type": "string"}
    fields["occurred_at"] = {
        "type": ["string", "null"], "format": "date-time",
        "description": "When it happened; left out, when it is recorded. Up to 5 min ahead is taken as now.",
    }  # fmt: skip
    fields["data"] = {name: part for name, part in data.items() if name not in ("title", "description")}
    needed = ["id", "machine", "kind", *(["data"] if data.get("required") else [])]
    return {
        "type": "object", "title": kind.kind, "description": kind.meaning, "additionalProperties": False,
        "required": needed, "properties": fields,
    }  # fmt: skip
