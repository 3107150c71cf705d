"""From words that somebody typed to the data of an entry, by the form that its kind has."""

from __future__ import annotations

import json
from typing import Any

from logbook.domain import door


def schema_of(kind: str) -> dict[str, Any]:
    """The JSON schema of each field of a kind's data, by name. Raises door.Refused for an unknown kind."""
    properties: dict[str, Any] = door.kind_of(kind).model_json_schema(by_alias=True)["properties"]
    return properties


def value(word: str, schema: dict[str, Any]) -> Any:
    """One value: text for a field that holds text, else a number, a list or a switch.

    Whole numbers between blanks or commas are a list. What is none of them stays text, and the door says what is
    wrong with it.
    """
    forms = schema.get("anyOf", [schema])
    if not any(form.get("type") in ("integer", "array", "object", "boolean") for form in forms):
        return word
    parts = word.replace(",", " ").split()
    if any(form.get("type") == "array" for form in forms) and parts and all(part.isdecimal() for part in parts):
        return [int(part) for part in parts]
    try:
        return json.loads(word)
    except ValueError:
        return word
