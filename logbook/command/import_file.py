"""Past records from a file, CSV or JSON lines, read into drafts of entries.

Promises that the same line gives the same entry however often the file comes, that a line is read whole or refused
with its number, and that nothing is guessed: a cell that is not understood refuses its line. Pure: it is given text.
"""

from __future__ import annotations

import csv
import io
import json
import re
import uuid
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from logbook.command.values import schema_of, value
from logbook.domain import instants
from logbook.domain.instants import Instant
from logbook.domain.wallclock import instant_of

_SPACE = uuid.UUID("6f0d0a5c-7e57-5d0e-9a44-0c2f8f3b9a10")
"""Name space of the ids of imported lines that have none of their own: the same line never makes two entries."""

NAMED = ("id", "machine", "kind", "occurred_at")
"""Columns that every file may have; `id` may be missing or empty. All others are the entry's data."""

_WALL = re.compile(r"\d{4}-\d\d-\d\d[ T]\d\d:\d\d(:\d\d)?")


class Unreadable(ValueError):
    """The file as a whole cannot be read; the message says why."""


class Record(NamedTuple):
    """One line, read: its number in the file, whose log, and what is to be recorded."""

    number: int
    id: str
    machine: str
    kind: str
    occurred_at: Instant
    data: dict[str, Any]


class Bad(NamedTuple):
    """One line that was refused, and the sentence for it."""

    number: int
    sentence: str


Zones = Callable[[str], ZoneInfo | None]
"""A machine's code -> the zone in which times without an offset are read; None: there is no such machine."""


def records(text: str, name: str, zone_of: Zones) -> Iterator[Record | Bad]:
    """Read a file, a line at a time. Raises Unreadable if it is no file of records at all."""
    rows = _json_lines(text) if name.lower().endswith((".jsonl", ".ndjson", ".json")) else _csv(text)
    for number, row in rows:
        if isinstance(row, str):
            yield Bad(number, row)
            continue
        try:
            yield _record(number, row, zone_of)
        except ValueError as why:
            yield Bad(number, str(why))


def _json_lines(text: str) -> Iterator[tuple[int, Mapping[str, Any] | str]]:
    for number, line in enumerate(text.split("\n"), 1):
        if not line.strip():
            continue
        try:
            row = json.loads(line)
        except (ValueError, RecursionError) as why:
            yield number, f"broken JSON: {why}"
            continue
        if not isinstance(row, dict):
            yield number, "it is no JSON object"
            continue
        data = row.pop("data", {})
        if not isinstance(data, dict):
            yield number, "its data is no JSON object"
            continue
        named = {key: row.get(key) for key in NAMED}
        if wrong := [key for key, value in named.items() if value is not None and not isinstance(value, str)]:
            yield number, f"{wrong[0]} is no text"
            continue
        yield number, {**named, "data": data}


def _csv(text: str) -> Iterator[tuple[int, Mapping[str, Any] | str]]:
    dialect = ";" if text.split("\n", 1)[0].count(";") > text.split("\n", 1)[0].count(",") else ","
    reader = csv.DictReader(io.StringIO(text, newline=""), delimiter=dialect, strict=True)
    try:
        columns = [str(column).strip() for column in reader.fieldnames or ()]
        reader.fieldnames = columns
        if lacking := [column for column in NAMED[1:] if column not in columns]:
            raise Unreadable(f"its first line must name the columns; missing: {', '.join(lacking)}")
        if len(set(columns)) < len(columns) or "" in columns:
            raise Unreadable("a column has no name, or two have the same")
        for row in reader:
            if None in row or None in row.values():
                yield reader.line_num, "it has more or fewer cells than the first line"
                continue
            cells = {column: cell.strip() for column, cell in row.items() if cell.strip()}
            if cells:
                yield reader.line_num, {**{key: cells.pop(key, None) for key in NAMED}, "cells": cells}
    except csv.Error as why:
        raise Unreadable(f"it is no CSV: {why}, near line {reader.line_num}") from None


def _record(number: int, row: Mapping[str, Any], zone_of: Zones) -> Record:
    for column in NAMED[1:]:
        if not row[column]:
            raise ValueError(f"{column} is missing")
    machine, kind = row["machine"].strip().upper(), row["kind"].strip()
    zone = zone_of(machine) or zone_of(row["machine"].strip())
    if zone is None:
        raise ValueError(f"there is no machine {row['machine']!r} in this fleet")
    if zone_of(machine) is None:
        machine = row["machine"].strip()
    if "data" in row:
        data = row["data"]
    else:
        schema = schema_of(kind)
        data = {name: value(cell, schema.get(name, {})) for name, cell in row["cells"].items()}
    at = moment(row["occurred_at"].strip(), zone)
    return Record(number, row["id"] or own_id(machine, kind, at, data), machine, kind, at, data)


def moment(text: str, zone: ZoneInfo) -> Instant:
    """An RFC 3339 time, or one of the site's wall clock without an offset. Raises ValueError."""
    if _WALL.fullmatch(text):
        return instant_of(datetime.fromisoformat(text), zone)
    return instants.parse(text)


def own_id(machine: str, kind: str, at: Instant, data: Mapping[str, Any]) -> str:
    """The id of a line that has none: made of what it says, so that the same line is the same entry."""
    said = json.dumps([machine, kind, instants.text(at), data], sort_keys=True, separators=(",", ":"))
    return str(uuid.uuid5(_SPACE, said))
