"""How an answer is shown: as JSON for programs, as a table for people.

Promises that nothing which somebody wrote can steer the terminal: signs that are no letters are shown as such. Times
are those of the wall clock at the site, with the zone's name for it.
"""

from __future__ import annotations

import json
import sys
import unicodedata
from collections.abc import Iterable, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from logbook.domain import instants
from logbook.domain.instants import Instant


def as_json(answer: Any) -> None:
    """One JSON text on one line of stdout."""
    print(json.dumps(answer))


def clean(text: str) -> str:
    """The text without anything that a terminal would obey."""
    return "".join(
        "\N{REPLACEMENT CHARACTER}" if unicodedata.category(sign) in ("Cc", "Cf", "Cs") else sign for sign in text
    )


def wall_clock(at: Instant | None, zone: ZoneInfo) -> str:
    """`2026-03-10 12:00 ADT`: the wall clock at the site and what its zone is called then."""
    if at is None:
        return ""
    local = instants.to_datetime(at).astimezone(zone)
    return f"{local:%Y-%m-%d %H:%M} {local.tzname() or zone.key}"


def utc(at: Instant | None) -> str | None:
    """RFC 3339 in UTC, for JSON."""
    return None if at is None else instants.text(at)


def line(text: str = "") -> None:
    """One line for people, on stdout."""
    print(clean(text))


def table(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """A table for people: ruled on a terminal, else bare columns that other programs can cut."""
    cells = [[clean("" if cell is None else str(cell)) for cell in row] for row in rows]
    if sys.stdout.isatty():
        _ruled(columns, cells)
        return
    widths = [max(len(name), *(len(row[n]) for row in cells)) if cells else len(name) for n, name in enumerate(columns)]
    for row in (list(columns), *cells):
        print("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())


def _ruled(columns: Sequence[str], cells: Sequence[Sequence[str]]) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    made = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False)
    for name in columns:
        made.add_column(Text(name), overflow="fold")
    for row in cells:
        made.add_row(*(Text(cell) for cell in row))
    Console(highlight=False).print(made)
