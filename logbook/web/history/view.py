"""What the templates print: the page of a machine, and the page of one opened name.

Promises plain words and finished numbers; templates only lay them out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from logbook.domain.instants import Instant
from logbook.domain.reporting import Judged
from logbook.domain.wallclock import zone
from logbook.domain.wording import capital, times
from logbook.domain.wording.duties import WORDS, duty_label
from logbook.domain.wording.labels import entry_label, role_label
from logbook.web.history import drawing
from logbook.web.history.asked import KINDS, ROLES, Asked, chosen, local
from logbook.web.history.drawing import NARROW, WIDE, Line, WeekLine
from logbook.web.history.entries import Page, Shown, page_of, sayer_of
from logbook.web.history.nights import Night, noon
from logbook.web.history.saying import Sayer
from logbook.web.history.seen import Seen
from logbook.web.history.summary import facts, summary
from logbook.web.history.weeks import DutyRow, Year
from logbook.web.pages import words
from logbook.web.who.visitor import Visitor

PRINT_MOST = 12_000
"""Entries on one page, for printing."""


@dataclass(frozen=True, slots=True)
class NightShown:
    """One night in words, and its narrow drawing."""

    day: str
    said: str
    strip: Line


@dataclass(frozen=True, slots=True)
class DutyShown:
    """One duty's year: its wide line, its two narrow halves, its count."""

    label: str
    wide: WeekLine
    halves: tuple[WeekLine, WeekLine]
    count: str
    said: str


@dataclass(frozen=True, slots=True)
class DepartureShown:
    """One departure in words."""

    day: str
    duty: str
    word: str
    said: str
    why: str
    alarms: tuple[str, ...]
    word_said: str


@dataclass(frozen=True, slots=True)
class MachinePage:
    """Everything on a machine's page."""

    code: str
    site: str
    zone: str
    facts: tuple[str, ...]
    summary: tuple[str, ...]
    known: str
    known_local: str
    unknown: bool
    past: bool
    wrong: bool
    full: bool
    leads: bool
    mine: frozenset[str]
    nights: tuple[NightShown, ...]
    chart: tuple[Line, ...]
    chart_height: float
    hours: tuple[tuple[str, float], ...]
    narrow_hours: tuple[tuple[str, float], ...]
    earlier: str
    later: str
    more_nights: tuple[tuple[int, str], ...]
    duties: tuple[DutyShown, ...]
    months: tuple[tuple[str, float], ...]
    blank: float
    halves: tuple[str, str]
    young: bool
    departures: tuple[DepartureShown, ...]
    carded: str
    entries: Page
    kinds: tuple[tuple[str, str], ...]
    roles: tuple[tuple[str, str], ...]
    head: str
    head_seq: int
    printed: str
    retired: bool


def machine_page(
    found: Seen, wanted: Asked, visitor: Visitor, language: str, now: Instant, *, wrong: bool
) -> MachinePage:
    """The page of a machine for one visitor."""
    said = words(language, "history")
    say = Sayer(said, found.now)
    full = visitor.role != "cleaner"
    nights = found.nights(wanted)
    chart, height = drawing.lines(nights, WIDE, say.departure, say.silence)
    strips, _height = drawing.lines(nights, NARROW, say.departure, say.silence)
    the_year = found.year()
    own = list(found.rows) if full else [row for row in found.rows if row.told.id in found.mine]
    picked = chosen(own, wanted, zone(found.zone), found.departed())
    shown = sayer_of(say, found.rows, found.zone_of, leads=visitor.leads)
    page = page_of(picked, wanted.before, everything=wanted.all and len(picked) <= PRINT_MOST, say=shown)
    kinds = sorted(((kind, entry_label(kind, language)) for kind in KINDS), key=lambda each: each[1])
    machine = found.folded.machine
    site = found.register.sites.get(machine.site or found.site)
    earlier, later = _around(nights, wanted, found)
    return MachinePage(
        found.machine.code, site.name if site else found.site, found.zone, facts(found, say), summary(found, the_year, say, full=full),
        times.moment(found.now, found.zone, language, 0),
        local(found.now, zone(found.zone)), not found.rows, found.past, wrong, full, visitor.leads, found.mine,
        tuple(NightShown(say.day(night), say.night(night), strip) for night, strip in zip(nights, strips, strict=True)),
        tuple(chart), height, tuple(drawing.hours(WIDE)), tuple(drawing.hours(NARROW, 6)), earlier, later,
        tuple((count, wanted.query(nights=count, until="")) for count in (14, 31, 92) if count != wanted.nights),
        tuple(_duty(row, say) for row in the_year.rows) if full else (), _months(the_year, language), _blank(the_year, found),
        _halves(the_year, language), _young(the_year),
        tuple(_departure(each, found, say) for each in the_year.departures) if full else (),
        said.plural("%(n)s was told with the closing card.", "%(n)s were told with the closing card.", the_year.carded)
        if the_year.carded else "",
        page, tuple(kinds), tuple((role, role_label(role, language)) for role in ROLES), found.head,
        found.rows[-1].told.seq if found.rows else 0, times.utc(now), machine.retired_at is not None,
    )  # fmt: skip


def _around(nights: Sequence[Night], wanted: Asked, found: Seen) -> tuple[str, str]:
    """The queries of the nights before and after those shown; "" where there are none."""
    from datetime import date, timedelta

    if not nights:
        return "", ""
    begun = found.folded.machine.commissioned_at
    earlier = ""
    if begun is not None and nights[0].begins > begun:
        earlier = wanted.query(until=(nights[0].day - timedelta(days=1)).isoformat())
    later = ""
    if wanted.until and nights[-1].ends <= found.now:
        later = wanted.query(until=(date.fromisoformat(wanted.until) + timedelta(days=wanted.nights)).isoformat())
    return earlier, later


def _duty(row: DutyRow, say: Sayer) -> DutyShown:
    counts = row.counts
    if WORDS[row.duty].at_once and row.all:
        return _at_once(row, say)
    said = [f"{say.number(counts[word])} {say.report(word)}" for word in ("kept", "told_late", "late", "missed", "excused", "not_due")
            if counts[word]]  # fmt: skip
    return DutyShown(
        capital(duty_label(row.duty, say.language)), drawing.week_line(row, drawing.WEEK_LEFT),
        (drawing.week_line(row, 0, 0, drawing.HALF), drawing.week_line(row, 0, drawing.HALF, 52)),
        _counted(row, say), ", ".join(said),
    )  # fmt: skip


def _at_once(row: DutyRow, say: Sayer) -> DutyShown:
    """Of what is due the moment it arises nothing can be in time: said is how often, and how long it took."""
    plural, counts, ended = say.words.plural, row.counts, row.on_time + row.counts["late"]
    often = str(plural("%(n)s time", "%(n)s times", row.all, n=say.number(row.all)))
    said = [often]
    if ended:
        span = say.span(row.longest or 0)
        said.append(
            str(
                plural(
                    "%(n)s ended within %(span)s", "%(n)s ended within %(span)s", ended, n=say.number(ended), span=span
                )
            )
        )
    said += [f"{say.number(counts[word])} {say.report(word)}" for word in ("missed", "excused") if counts[word]]
    return DutyShown(
        capital(duty_label(row.duty, say.language)), drawing.week_line(row, drawing.WEEK_LEFT),
        (drawing.week_line(row, 0, 0, drawing.HALF), drawing.week_line(row, 0, drawing.HALF, 52)), often, ", ".join(said),
    )  # fmt: skip


def _counted(row: DutyRow, say: Sayer) -> str:
    if not row.all:
        return say.report("not_due")
    if not row.on_time:
        return say.words.plain("none of %(all)s", all=say.number(row.all))
    return say.words.plain("%(done)s of %(all)s", done=say.number(row.on_time), all=say.number(row.all))


def _months(year: Year, language: str) -> tuple[tuple[str, float], ...]:
    from babel.dates import format_date

    found, seen_months = [], set()
    for number, monday in enumerate(year.mondays):
        key = (monday.year, monday.month)
        if key not in seen_months and monday.day <= 7:
            label = format_date(monday, "LLL", locale=times.locale(language))
            found.append((label, round(drawing.WEEK_LEFT + number * drawing.WEEK, 1)))
        seen_months.add(key)
    return tuple(found)


def _blank(year: Year, found: Seen) -> float:
    """Where to write that the machine was not in the fleet yet, if that takes many weeks; else 0."""
    begun = found.folded.machine.commissioned_at
    weeks = 0 if begun is None else sum(noon(monday, zone(found.zone)) < begun for monday in year.mondays[1:])
    return round(drawing.WEEK_LEFT + weeks * drawing.WEEK / 2, 1) if weeks >= 16 else 0


def _halves(year: Year, language: str) -> tuple[str, str]:
    first, second = year.mondays[0], year.mondays[drawing.HALF]
    return times.day(first.isoformat(), language), times.day(second.isoformat(), language)


def _young(year: Year) -> bool:
    """Whether the first half of the year holds nothing at all."""
    return not any(cell.week < drawing.HALF for row in year.rows for cell in row.cells)


def _departure(each: Judged, found: Seen, say: Sayer) -> DepartureShown:
    place, duty = found.zone_of(each.duty.site), each.duty
    why = ""
    if each.word == "excused":
        for row in found.rows:
            data = row.told.data
            if row.struck_by is None and row.told.kind == "excused" and (data["duty"], data["opened_by"]) == duty.key:
                why = row.told.private.get("why") or ""
    return DepartureShown(
        say.stamp(each.at, place), capital(duty_label(duty.duty, say.language)), each.word, say.happened(each, place), why,
        tuple(say.alarms(each, place)), say.report(each.word),
    )  # fmt: skip


# -- a name -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class NamePage:
    """The entry whose name somebody wants to open."""

    code: str
    site: str
    entry: Shown


def name_page(found: Seen, seq: int, language: str) -> NamePage | None:
    """The entry behind which a name may be opened; None if there is none, or nobody is behind it."""
    say = Sayer(words(language, "history"), found.now)
    for row in found.rows:
        if row.told.seq == seq:
            entry = sayer_of(say, found.rows, found.zone_of, leads=True)(row)
            site = found.register.sites.get(row.site)
            return NamePage(found.machine.code, site.name if site else "", entry) if entry.person else None
    return None
