"""A fleet's spreadsheet: its columns, a file to be filled in, and rows read within bounds.

Promises that a file that is too large, or packed too tightly, is turned away before it is believed. What the rows mean
is `sheet_plan.py`'s to say.
"""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterable
from typing import Any

from logbook.domain.wording.mark import mark

OCTETS_MOST, UNPACKED_MOST, ROWS_MOST, PARTS_MOST = 1_000_000, 20_000_000, 1_000, 200
COLUMNS = (
    "what",
    "code",
    "name",
    "zone",
    "night_from",
    "night_to",
    "site",
    "battery",
    "serial",
    "battery_set",
    "warranty_from",
    "commissioned_at",
    "role",
    "language",
    "phone",
    "email",
)
TEMPLATE = (
    COLUMNS,
    ("site", "north", "North Slip", "America/Halifax", "22:00", "06:00"),
    ("machine", "", "", "", "", "", "north", "flooded", "SN-0417", "", "", "2026-03-01T08:00:00-04:00"),
    ("person", "ana", "Ana Silva", "", "", "", "north", "", "", "", "", "", "cleaner", "es", "+19025550111", ""),
)

TOO_LARGE = mark("The file is larger than a fleet needs: at most 1000 rows and 1 MB. Nothing was read.")
UNREADABLE = mark(
    "The file is neither a table of text with commas (CSV, UTF-8) nor a workbook (XLSX). Nothing was read."
)
NO_HEAD = mark(
    "The first row must name the columns, as the template does; one of them is called what. Nothing was read."
)


class SheetRefused(ValueError):
    """A file that is not read; the message is a sentence."""


Row = dict[str, str]


def rows_of(name: str, content: bytes) -> list[Row]:
    """The rows of a file, by the names in its first row. Raises SheetRefused."""
    if len(content) > OCTETS_MOST:
        raise SheetRefused(TOO_LARGE)
    table = _workbook(content) if content[:2] == b"PK" or name.lower().endswith(".xlsx") else _text(content)
    found: list[Row] = []
    head: list[str] = []
    for number, cells in enumerate(table, 1):
        if number > ROWS_MOST + 1:
            raise SheetRefused(TOO_LARGE)
        if number == 1:
            head = [cell.strip().lower() for cell in cells]
            if "what" not in head:
                raise SheetRefused(NO_HEAD)
            continue
        row = {n: cell.strip() for n, cell in zip(head, cells, strict=False) if n in COLUMNS and cell.strip()}
        if row:
            found.append({"line": str(number), **row})
    return found


def _text(content: bytes) -> Iterable[list[str]]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise SheetRefused(UNREADABLE) from None
    first = text.partition("\n")[0]
    try:
        return list(csv.reader(io.StringIO(text), delimiter=";" if first.count(";") > first.count(",") else ","))
    except csv.Error:
        raise SheetRefused(UNREADABLE) from None


def _workbook(content: bytes) -> list[list[str]]:
    from openpyxl import load_workbook

    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            parts = packed.infolist()
            if len(parts) > PARTS_MOST or sum(part.file_size for part in parts) > UNPACKED_MOST:
                raise SheetRefused(TOO_LARGE)
            # Wherever it stands, and in UTF-16 too: a workbook declares nothing, and what is declared may grow.
            if any(b"<!DOCTYPE" in packed.read(part).replace(b"\0", b"") for part in parts):
                raise SheetRefused(UNREADABLE)
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=False, keep_links=False)
        sheet = book.worksheets[0]
        wanted = sheet.iter_rows(max_row=ROWS_MOST + 2, max_col=40, values_only=True)
        return [["" if cell is None else _cell(cell) for cell in row] for row in wanted]
    except SheetRefused:
        raise
    except Exception:  # noqa: BLE001 - whatever a broken workbook makes the reader raise, it is not readable
        raise SheetRefused(UNREADABLE) from None


def _cell(value: Any) -> str:
    return value.isoformat()[:10] if hasattr(value, "isoformat") and not hasattr(value, "tzname") else str(value)


def template(book: bool) -> bytes:
    """A file to be filled in: the first row, and an example of each kind."""
    if not book:
        out = io.StringIO()
        csv.writer(out).writerows(TEMPLATE)
        return out.getvalue().encode("utf-8-sig")
    from openpyxl import Workbook

    made, kept = Workbook(), io.BytesIO()
    sheet = made.active
    for row in TEMPLATE:
        sheet.append(list(row))  # type: ignore[union-attr]
    made.save(kept)
    return kept.getvalue()
