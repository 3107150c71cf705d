"""Every entry as it is shown: both its times, the role, what was said, and what became of it since.

Promises roles and never names; that what was struck stays in sight, with the entry that struck it and why; and that
a page is the same page tomorrow, because it begins at a number of the log.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from logbook.domain.entries.faults import PHOTO_ITEM
from logbook.domain.history_rows import Row
from logbook.domain.wallclock import wall, zone
from logbook.domain.wording import capital, times
from logbook.domain.wording.labels import entry_label, role_label
from logbook.web.history.saying import Sayer

PAGE = 50


@dataclass(frozen=True, slots=True)
class Link:
    """Another entry that this one is about. `what`: strikes, corrects, name, photo, struck, corrected."""

    what: str
    seq: int


@dataclass(frozen=True, slots=True)
class Shown:
    """One entry, in words. `words`: (item, text) of private words, the text None where they were erased."""

    seq: int
    id: str
    what: str
    happened: str
    recorded: str
    late: bool
    role: str
    channel: str
    said: tuple[str, ...]
    words: tuple[tuple[str, str | None], ...]
    photo: bool
    card: bool
    unconfirmed: bool
    struck: bool
    struck_why: str | None
    links: tuple[Link, ...]
    person: bool
    """Somebody reported it, so that there is a name to open."""


@dataclass(frozen=True, slots=True)
class Page:
    """Some entries, the newest first. `older`, `newest`: where to go on, as a seq to begin before; None: nowhere."""

    entries: tuple[Shown, ...]
    of: int
    older: int | None
    newer: int | None
    first: bool


def page_of(
    rows: Sequence[Row], before: int | None, *, everything: bool, say: Callable[[Row], Shown], most: int = PAGE
) -> Page:
    """The newest `most` rows of lower number than `before`. `rows`: those asked for, in the order of recording."""
    below = [row for row in rows if before is None or row.told.seq < before]
    shown = list(reversed(below if everything else below[-most:]))
    older = shown[-1].told.seq if shown and len(shown) < len(below) else None
    above = [row.told.seq for row in rows if before is not None and row.told.seq >= before]
    newer = None
    if above:
        newer = above[most - 1] + 1 if len(above) >= most else above[-1] + 1
    return Page(tuple(say(row) for row in shown), len(rows), older, newer, before is None or not above)


def sayer_of(say: Sayer, rows: Sequence[Row], zone_of: Callable[[str], str], *, leads: bool) -> Callable[[Row], Shown]:
    """Says a row. `rows`: the whole log, in which the others are found that it is about."""
    seqs: Mapping[str, int] = {row.told.id: row.told.seq for row in rows}
    voids = {row.told.id: row for row in rows if row.told.kind == "void"}
    corrected = {row.told.data["corrects"]: row.told.seq for row in rows if row.told.data.get("corrects")}

    def links(row: Row) -> list[Link]:
        told, found = row.told, []
        target, first = told.data.get("entry"), told.data.get("corrects")
        if target in seqs:
            found.append(Link({"void": "strikes", "photo": "photo"}.get(told.kind, "name"), seqs[str(target)]))
        if first in seqs:
            found.append(Link("corrects", seqs[str(first)]))
        if row.struck_by in seqs:
            found.append(Link("struck", seqs[row.struck_by or ""]))
        if told.id in corrected:
            found.append(Link("corrected", corrected[told.id]))
        return found

    def shown(row: Row) -> Shown:
        told, place = row.told, zone_of(row.site)
        happened, recorded = wall(told.occurred_at, zone(place)), wall(told.recorded_at, zone(place))
        near = happened.date() == recorded.date()
        void = voids.get(row.struck_by or "")
        private = {} if told.kind == "name_opened" and not leads else told.private
        return Shown(
            told.seq, told.id, capital(entry_label(told.kind, say.language)), say.stamp(told.occurred_at, place),
            times.clock(told.recorded_at, place, say.language) if near else say.stamp(told.recorded_at, place),
            row.late, role_label(told.role, say.language), say.channel(told.channel),
            (*say.of_duty(told.kind, told.data, place, told.recorded_at), *say.quantities(told.data)),
            tuple((item, text) for item, text in private.items() if item != PHOTO_ITEM or text is None),
            private.get(PHOTO_ITEM) is not None and row.struck_by is None,
            told.data.get("told") == "card", told.unconfirmed, row.struck_by is not None,
            None if void is None else void.told.private.get("why"), tuple(links(row)),
            bool(told.reporter) and told.role not in ("clock", "program"),
        )  # fmt: skip

    return shown
