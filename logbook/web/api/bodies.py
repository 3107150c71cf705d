"""What a program sends: JSON in UTF-8, within bounds, held against its form.

Promises that whatever else comes is a problem with the place where it is wrong, and that nothing gets past that a
database or the log's bytes could not hold.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, TypeVar

from fastapi import Depends, Request
from pydantic import BaseModel, ValidationError

from logbook.web.api.problems import Problem, pointer

MOST = 1_000_000
"""Octets of a body: a hundred entries with long notes, and to spare."""
FAULTS_MOST = 20

T = TypeVar("T", bound=BaseModel)


@dataclass(frozen=True, slots=True)
class Body:
    """A body as it came, or what was wrong with it: told only to whoever has a key."""

    octets: bytes = b""
    wrong: Problem | None = None

    def read(self, form: type[T]) -> T:
        """The body as this form. Raises Problem."""
        if self.wrong is not None:
            raise self.wrong
        try:
            self.octets.decode("utf-8")
        except UnicodeDecodeError as why:
            raise Problem("malformed", f"The body is not UTF-8 (octet {why.start}). Nothing was saved.") from None
        try:
            read = form.model_validate_json(self.octets)
        except ValidationError as why:
            raise _problem(why) from None
        if b"\\u0000" in self.octets:
            where = _nul(read.model_dump())
            if where is not None:
                raise Problem("invalid", "The character U+0000 cannot be kept. Nothing was saved.",
                              errors=[(where, "holds the character U+0000")])  # fmt: skip
        return read


async def body_of(request: Request) -> Body:
    """The body of a request, or what is wrong with it; nothing is raised before it is known who asks."""
    kind, _semicolon, rest = request.headers.get("content-type", "").partition(";")
    charset = rest.strip().lower().removeprefix("charset=").strip('" ')
    packed = request.headers.get("content-encoding", "identity").strip().lower()
    if kind.strip().lower() != "application/json" or charset not in ("", "utf-8", "utf8") or packed != "identity":
        said = "The body must be JSON in UTF-8, unpacked, and be called application/json. Nothing was saved."
        return Body(wrong=Problem("not_json", said, headers={"Accept-Encoding": "identity"}))
    octets = bytearray()
    async for part in request.stream():
        octets += part
        if len(octets) > MOST:
            said = f"The body has more than {MOST:,} octets. Nothing was saved; send fewer entries at a time."
            return Body(wrong=Problem("too_large", said, headers={"Connection": "close"}))
    return Body(bytes(octets))


Sent = Annotated[Body, Depends(body_of)]
"""What an operation that is sent something is given."""


def _problem(why: ValidationError) -> Problem:
    errors = why.errors(include_url=False, include_input=False, include_context=False)
    if errors[0]["type"] == "json_invalid":
        return Problem("malformed", f"The body is not JSON: {errors[0]['msg']}. Nothing was saved.")
    faults = [(pointer(*error["loc"]), _lower(error["msg"])) for error in errors[:FAULTS_MOST]]
    where, what = faults[0]
    return Problem("invalid", f"{where or 'The body'}: {what}. Nothing was saved.", errors=faults)


def _lower(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


def _nul(value: Any, where: str = "") -> str | None:
    """Where the first U+0000 is, as a pointer."""
    if isinstance(value, str):
        return where if "\0" in value else None
    if isinstance(value, dict):
        for name, each in value.items():
            found = where if "\0" in str(name) else _nul(each, where + pointer(name))
            if found is not None:
                return found
    elif isinstance(value, (list, tuple)):
        for number, each in enumerate(value):
            found = _nul(each, where + pointer(number))
            if found is not None:
                return found
    return None


def contents(form: type[BaseModel]) -> dict[str, Any]:
    """What the description says of a body of this form."""
    return {
        "requestBody": {
            "required": True,
            "content": {"application/json": {"schema": {"$ref": f"#/components/schemas/{form.__name__}"}}},
        }
    }
