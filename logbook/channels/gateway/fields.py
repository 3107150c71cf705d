"""Fields: what a signed post says, read strictly.

Promises that a body has one meaning or none: a key that stands twice, a number that is none, letters that are not
UTF-8, or nesting without end make it unreadable, and the sentence says which field is at fault. Never guesses.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qsl

from logbook.channels.gateway.checks import Format
from logbook.channels.gateway.posts import Inward, Receipts
from logbook.channels.gateway.signature import instant_of
from logbook.channels.gateway.templates import at_path
from logbook.domain.instants import Instant
from logbook.domain.people import phone_key

ID_MOST, SENDER_MOST, FIELDS_MOST = 200, 64, 200


class UnreadableError(ValueError):
    """A post without the fields that the template names. Says what is wrong, as one sentence."""


@dataclass(frozen=True, slots=True)
class Text:
    """A text as posted; `at` None: it said nothing of when it was received."""

    id: str
    sender: str
    text: str
    at: Instant | None


@dataclass(frozen=True, slots=True)
class Receipt:
    """A word about a message: `arrived` None says nothing yet."""

    reference: str
    arrived: bool | None
    detail: str


def text_of(body: bytes, template: Inward) -> Text:
    """Read a text. Raises UnreadableError."""
    said = _read(body, template.format)
    sender = _plain(_field(said, template.format, "sender", template.sender), "sender", SENDER_MOST, template.format)
    words = _field(said, template.format, "text", template.text)
    if not isinstance(words, str):
        raise UnreadableError(f"The field {template.text} (text) is no text.")
    at = None
    if template.at is not None and _found(said, template.format, template.at) is not None:
        at = instant_of(_found(said, template.format, template.at))
        if at is None:
            raise UnreadableError(f"The field {template.at} (at) is neither an RFC 3339 time nor seconds since 1970.")
    id_ = _plain(_field(said, template.format, "id", template.id), "id", ID_MOST, template.format)
    return Text(id_.strip(), _number(sender, template), _storable(words), at)


def receipt_of(body: bytes, template: Receipts) -> Receipt:
    """Read a receipt. Raises UnreadableError."""
    said = _read(body, template.format)
    reference = _plain(_field(said, template.format, "id", template.id), "id", ID_MOST, template.format).strip()
    state = _plain(_field(said, template.format, "state", template.state), "state", ID_MOST, template.format).strip()
    more = _found(said, template.format, template.detail) if template.detail is not None else None
    shown = " ".join(_storable(f"{state} {more}" if isinstance(more, str | int) else state).split())[:200]
    word = state.casefold()
    return Receipt(reference, True if word in template.arrived else False if word in template.failed else None, shown)


def _read(body: bytes, format: Format) -> Any:
    try:
        content = body.decode("utf-8")
    except UnicodeDecodeError:
        raise UnreadableError("The body is not UTF-8.") from None
    return parsed(content) if format == "json" else _read_form(content)


def parsed(content: str) -> Any:
    """JSON that has one meaning. Raises UnreadableError."""
    try:
        return json.loads(content, object_pairs_hook=_once, parse_constant=_no_number)
    except UnreadableError:
        raise
    except RecursionError:
        raise UnreadableError("The body is nested too deeply.") from None
    except ValueError:
        raise UnreadableError("The body is not JSON (RFC 8259).") from None


def _read_form(content: str) -> Any:
    if not content.isascii():
        raise UnreadableError("The body is not a form: it holds letters that are not percent-encoded.")
    try:
        pairs = parse_qsl(
            content, keep_blank_values=True, strict_parsing=True, errors="strict", max_num_fields=FIELDS_MOST
        )
    except ValueError:  # UnicodeDecodeError is one
        raise UnreadableError("The body is not a form (application/x-www-form-urlencoded, UTF-8).") from None
    return _once(pairs)


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise UnreadableError("The body holds one field twice, and it cannot be known which is meant.")
    return found


def _no_number(said: str) -> Any:
    raise UnreadableError(f"The body holds {said}, which is no number of JSON.")


def _found(said: Any, format: Format, path: str) -> Any:
    return at_path(said, path) if format == "json" else said.get(path) if isinstance(said, Mapping) else None


def _field(said: Any, format: Format, name: str, path: str) -> Any:
    found = _found(said, format, path)
    if found is None:
        raise UnreadableError(f"The field {path} ({name}) is missing.")
    return found


def _plain(value: Any, name: str, most: int, format: Format) -> str:
    """A short word: an id, a number, a state. JSON may give it as a whole number."""
    if isinstance(value, int) and not isinstance(value, bool):
        value = str(value) if abs(value) < 10**most else ""
    if not isinstance(value, str) or not value.strip() or len(value) > most or not value.isprintable():
        raise UnreadableError(f"The field of {name} is empty, too long, or no plain word.")
    # An unencoded plus in a form is a blank: a number that begins with one had a plus.
    return "+" + value.strip() if format == "form" and name == "sender" and value[:1] == " " else value


def _number(sender: str, template: Inward) -> str:
    """The sender as people's numbers are kept; a carrier's short number or name stays as it is."""
    bare = sender.strip()
    digits = "".join(char for char in bare if char not in " -().")
    if template.add_plus and digits.isascii() and digits.isdigit() and len(digits) > 6:
        bare = "+" + digits
    try:
        return phone_key(bare)
    except ValueError:
        return bare


def _storable(text: str) -> str:
    """Without what no database keeps as text: NUL, and halves of characters, each shown as U+FFFD."""
    return "".join("\ufffd" if char == "\0" or "\ud800" <= char <= "\udfff" else char for char in text)
