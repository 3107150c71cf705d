"""Templates: where a value stands in what a gateway says, and where ours go in what it is told.

Promises that a value is only ever a value: what is put in cannot end a string, a header or an address, is not looked
at for placeholders of its own, and a name that we do not know is told when the template is read.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from typing import Any
from urllib.parse import quote

_PLACE = re.compile(r"\{([A-Za-z_]+)\}")
_STEP = re.compile(r"[^.\s]+")


def names(template: Any) -> Iterator[str]:
    """The placeholders in a string, or in all strings of a table or list; keys of tables are not templates."""
    if isinstance(template, str):
        yield from _PLACE.findall(template)
    elif isinstance(template, Mapping):
        for inner in template.values():
            yield from names(inner)
    elif isinstance(template, list):
        for inner in template:
            yield from names(inner)


def unknown(template: Any, known: Collection[str]) -> str | None:
    """The first placeholder that is none of these, or None."""
    return next((name for name in names(template) if name not in known), None)


def filled(template: Any, values: Mapping[str, str]) -> Any:
    """A copy with every placeholder replaced, once: a value that looks like a placeholder stays as it is."""
    if isinstance(template, str):
        return _PLACE.sub(lambda match: values[match[1]], template)
    if isinstance(template, Mapping):
        return {key: filled(inner, values) for key, inner in template.items()}
    if isinstance(template, list):
        return [filled(inner, values) for inner in template]
    return template


def filled_address(template: str, values: Mapping[str, str]) -> str:
    """An address with its placeholders replaced, each character that means something there percent-encoded."""
    return str(filled(template, {name: quote(value, safe="") for name, value in values.items()}))


def is_path(path: str) -> bool:
    """Whether this can name a place: `id`, `message.id`, `messages.0.id`."""
    return bool(path) and all(_STEP.fullmatch(step) for step in path.split("."))


def at_path(said: Any, path: str) -> Any:
    """What stands at a place in something that was JSON; a number is a place in a list. None if nothing does."""
    for step in path.split("."):
        if isinstance(said, dict):
            said = said.get(step)
        elif isinstance(said, list) and step.isascii() and step.isdigit() and len(step) < 6 and int(step) < len(said):
            said = said[int(step)]
        else:
            return None
    return said
