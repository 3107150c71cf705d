"""What a reader asked for in the address: which entries, which nights, and as known at which moment.

Promises that whatever stands in an address is read or passed over, never an error; and that a link made from it says
the same again, but for what it changes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from logbook.domain.entries import catalogue
from logbook.domain.history_rows import Row
from logbook.domain.instants import Instant, parse
from logbook.domain.wallclock import instant_of, wall
from logbook.web.history.nights import MOST, NIGHTS

ROLES = ("cleaner", "keeper", "supervisor", "owner", "clock", "program")
KINDS = tuple(kind.kind for kind in catalogue if kind.log == "machine")
_LAST_YEAR = 9_000
"""Beyond it calendars come to their end, and nothing was ever known."""
ABOUT_ALERTS = frozenset({"alert_raised", "alert_escalated", "alert_cleared", "acknowledged", "excused"})


@dataclass(frozen=True, slots=True)
class Asked:
    """The address, read. `since`, `to`: local dates; `only`: departures, struck or nothing; `before`: a seq."""

    kind: str = ""
    role: str = ""
    since: str = ""
    to: str = ""
    only: str = ""
    before: int | None = None
    all: bool = False
    nights: int = NIGHTS
    until: str = ""
    known: str = ""

    @property
    def filters(self) -> bool:
        """Whether not every entry is asked for."""
        return bool(self.kind or self.role or self.since or self.to or self.only)

    def query(self, **changes: Any) -> str:
        """The address's query with some of it changed; "" if there is nothing to say."""
        asked = replace(self, **changes)
        said = {
            "known": asked.known, "kind": asked.kind, "role": asked.role, "from": asked.since, "to": asked.to,
            "only": asked.only, "before": asked.before or "", "all": "1" if asked.all else "",
            "nights": asked.nights if asked.nights != NIGHTS else "", "until": asked.until,
        }  # fmt: skip
        kept = {name: value for name, value in said.items() if value != ""}
        return f"?{urlencode(kept)}" if kept else ""

    def export(self) -> str:
        """The same for an export, which knows no pages and no nights."""
        return self.query(before=None, all=False, nights=NIGHTS, until="")


def asked(query: Mapping[str, str]) -> Asked:
    """Read an address's query. What cannot be read is as if it were not there."""

    def one_of(name: str, known: tuple[str, ...]) -> str:
        value = query.get(name, "")
        return value if value in known else ""

    return Asked(
        one_of("kind", KINDS), one_of("role", ROLES), _day(query.get("from", "")), _day(query.get("to", "")),
        one_of("only", ("departures", "struck")), _number(query.get("before", ""), 2**53),
        query.get("all") == "1", _number(query.get("nights", ""), MOST) or NIGHTS, _day(query.get("until", "")),
        query.get("known", "").strip()[:40],
    )  # fmt: skip


def _day(text: str) -> str:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return ""
    return day.isoformat() if 1970 <= day.year <= _LAST_YEAR else ""


def _number(text: str, most: int) -> int | None:
    if not (text.isascii() and text.isdigit() and len(text) < 17):
        return None
    return min(int(text), most) or None


def known_at(text: str, zone: ZoneInfo) -> Instant | None:
    """A past moment as somebody wrote it: by the wall clock of the site, or with its offset (RFC 3339).

    Raises ValueError for what is neither; None for "".
    """
    if not text:
        return None
    try:
        at = parse(text)
    except ValueError:
        moment = datetime.fromisoformat(text)
    else:
        if at < 0:
            raise ValueError(f"{text!r} is before anything was written down")
        return at
    if moment.tzinfo is not None or not 1970 <= moment.year <= _LAST_YEAR:
        raise ValueError(f"{text!r} is no moment")
    return instant_of(moment, zone)


def local(at: Instant, zone: ZoneInfo) -> str:
    """An instant as a form's field for a moment has it: 2026-03-03T12:00."""
    return wall(at, zone).isoformat(timespec="minutes")


def chosen(rows: list[Row], wanted: Asked, zone: ZoneInfo, departed: frozenset[str]) -> list[Row]:
    """The rows that were asked for, in their order. `departed`: ids of entries that ended a duty late.

    A departure is what the clock or a leader wrote about one, what ended one late, and what was recorded late.
    """
    since = instant_of(datetime.fromisoformat(wanted.since), zone) if wanted.since else None
    to = instant_of(datetime.fromisoformat(wanted.to) + timedelta(days=1), zone) if wanted.to else None

    def fits(row: Row) -> bool:
        told = row.told
        if (wanted.kind and told.kind != wanted.kind) or (wanted.role and told.role != wanted.role):
            return False
        if (since is not None and told.occurred_at < since) or (to is not None and told.occurred_at >= to):
            return False
        if wanted.only == "struck":
            return row.struck_by is not None or told.kind == "void"
        if wanted.only == "departures":
            return told.kind in ABOUT_ALERTS or row.late or told.id in departed
        return True

    return [row for row in rows if fits(row)]
