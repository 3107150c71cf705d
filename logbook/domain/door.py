"""What may be recorded: the checks that every entry passes before it may stand in a log.

Pure, so that the replay refuses exactly what intake would. A refusal is one sentence that says what is wrong,
what was kept and what to do; `code` names it for programs.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from logbook.domain.duties import DUTIES
from logbook.domain.entries import Kind, catalogue
from logbook.domain.instants import MINUTE, Instant, text

_UUID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.ASCII)

AHEAD: Instant = 5 * MINUTE
"""How far clocks may differ: an occurred_at this much ahead is taken as recorded_at."""


class Refused(ValueError):
    """An entry that may not be recorded. Nothing of what came with it was saved."""

    def __init__(self, code: str, sentence: str) -> None:
        super().__init__(sentence)
        self.code = code


def kind_of(name: str, version: int | None = None) -> type[Kind]:
    """The class for a kind of entry, newest unless a version is given. Raises Refused if there is none."""
    found = catalogue.newest(name) if version is None else catalogue.get(name, version)
    if found is not None:
        return found
    newest = catalogue.newest(name)
    if newest is None:
        raise Refused("unknown_kind", f"There is no kind of entry {name!r}. Nothing was saved; see `logbook kinds`.")
    raise Refused(
        "unknown_version",
        f"{name!r} is known up to version {newest.version}, not {version}: this entry was written by a newer program. "
        "Nothing was saved; update this one.",
    )


def checked(name: str, data: Mapping[str, Any], version: int | None = None) -> Kind:
    """An entry's data, held against its class. Raises Refused with the first thing that is wrong."""
    found = kind_of(name, version)
    try:
        kind = found.model_validate(dict(data))
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = ".".join(str(part) for part in first["loc"]) or "its data"
        wrong = "is not a field of it" if first["type"] == "extra_forbidden" else _lower(first["msg"])
        raise Refused("bad_data", f"{name}: {where}: {wrong}. Nothing was saved.") from None
    if name == "excused" and data.get("duty") not in DUTIES:
        raise Refused(
            "unknown_duty",
            f"There is no duty {data.get('duty')!r}; the duties are {', '.join(DUTIES)}. Nothing was saved.",
        )
    return kind


def _lower(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


def parted(kind: Kind) -> tuple[dict[str, Any], dict[str, str]]:
    """The data that is hashed in clear, and the private items that are not; fields left out stay left out."""
    if not kind.model_fields_set:  # most acts say nothing but that they were done
        return {}, {}
    whole = kind.model_dump(mode="json", by_alias=True, exclude_unset=True)
    whole = {name: value for name, value in whole.items() if value is not None or isinstance(value, dict)}
    private = {name: whole.pop(name) for name in kind.private_fields() if name in whole}
    return whole, private


def settled_time(occurred_at: Instant, recorded_at: Instant) -> Instant:
    """When it happened, given when it was recorded. Raises Refused for the future."""
    if occurred_at <= recorded_at:
        return occurred_at
    if occurred_at <= recorded_at + AHEAD:
        return recorded_at
    raise Refused(
        "future_time",
        f"{text(occurred_at)} has not come yet (it is {text(recorded_at)}). Nothing was saved; send when it happened.",
    )


def id_checked(entry_id: str) -> str:
    """An entry's id: a UUID in its canonical spelling. Raises Refused."""
    if _UUID.fullmatch(entry_id):
        return entry_id
    raise Refused("bad_id", f"{entry_id!r} is not a UUID in lower case with hyphens. Nothing was saved.")


def strikable(target: str | None) -> None:
    """Whether an entry of this kind (None: there is no such entry in this log) may be struck. Raises Refused."""
    if target is None:
        raise Refused("unknown_entry", "The entry to strike is not in this machine's log. Nothing was saved.")
    found = catalogue.newest(target)
    if found is not None and not found.strikable:
        raise Refused("not_strikable", f"An entry of kind {target!r} cannot be struck. Nothing was saved.")
