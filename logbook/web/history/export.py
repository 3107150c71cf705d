"""Histories to take away: JSON lines, and CSV for spreadsheets.

Promises the same objects as `logbook history --json`, a line each; and a CSV by RFC 4180 in which no cell that begins
like a formula is one. No name is in either.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from typing import Any

from logbook.domain.history_rows import Row

_FORMULA = ("=", "+", "-", "@", "＝", "＋", "－", "＠")
"""A cell that begins so, with or without blanks before it, is worked out by spreadsheets instead of shown (OWASP, "CSV injection")."""
_FIXED = (
    "seq", "id", "kind", "occurred_at", "recorded_at", "recorded_late", "role", "unconfirmed", "channel", "site",
    "struck_by", "erased",
)  # fmt: skip


def objects(rows: Sequence[Row], *, leads: bool) -> list[dict[str, Any]]:
    """The rows as they are given away. Why a name was looked up is the leaders' business."""
    found = []
    for row in rows:
        made = row.as_json()
        if row.told.kind == "name_opened" and not leads:
            made["data"].pop("why", None)
        found.append(made)
    return found


def jsonl(rows: Sequence[Row], *, leads: bool) -> str:
    """One object a line."""
    return "".join(json.dumps(each, ensure_ascii=False) + "\n" for each in objects(rows, leads=leads))


def table(rows: Sequence[Row], *, leads: bool) -> str:
    """CSV with a first line of names: the log's own fields, then `data.` and each field that any entry has.

    Several numbers stand in one cell with blanks between. A private word that was erased is empty, and named under
    `erased`.
    """
    given = objects(rows, leads=leads)
    fields = sorted({f"data.{name}" for each in given for name in each["data"]})
    made = io.StringIO()
    writer = csv.writer(made, lineterminator="\r\n")
    writer.writerow([*_FIXED, *fields])
    for row, each in zip(rows, given, strict=True):
        erased = " ".join(sorted(item for item, text in row.told.private.items() if text is None))
        cells = {**each, "erased": erased, **{f"data.{name}": value for name, value in each["data"].items()}}
        writer.writerow([cell(cells.get(name)) for name in (*_FIXED, *fields)])
    return made.getvalue()


def cell(value: Any) -> str:
    """One cell; a quote mark in front of what a spreadsheet would work out."""
    match value:
        case None:
            return ""
        case bool():
            return "true" if value else "false"
        case int():
            return str(value)  # a number is a number, and a negative one no formula
        case list() if all(isinstance(each, int) for each in value):
            return " ".join(map(str, value))
        case str():
            return f"'{value}" if value.lstrip().startswith(_FORMULA) or value[:1] in ("\t", "\r", "\n") else value
        case _:
            return json.dumps(value, ensure_ascii=False)
