"""Nights, noon to noon by the wall clock of the site: when the machine worked and charged, and what was done.

Promises to show what is known at an instant and nothing more: a start that nobody told is marked assumed, an end that
nobody told is left open. It draws nothing and says nothing; `drawing` and `saying` do.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from logbook.domain.history import Entry
from logbook.domain.instants import Instant
from logbook.domain.machine import FOREVER
from logbook.domain.reporting import DEPARTURES, Folded, Judged
from logbook.domain.wallclock import instant_of, wall

NIGHTS, MOST = 14, 92
"""How many nights are shown where nobody asks for more, and how many at most."""
ACTS = (
    "empty", "rinse", "squeegee", "charge", "unplug", "watering", "filter", "segments", "segment_change", "fault",
    "repair_requested", "repaired", "held", "released", "out_of_service", "in_service", "not_used", "battery_fitted",
    "moved",
)  # fmt: skip
"""What a night tells of, besides work."""

Zone = Callable[[Instant], str]
"""The name of the zone of the site where the machine stood at an instant."""


@dataclass(frozen=True, slots=True)
class Spell:
    """A stretch of work or of charging. `begun`, `over`: whether each end is told, and lies within this night."""

    what: Literal["work", "charge"]
    begins: Instant
    ends: Instant
    begun: bool = True
    over: bool = True
    cut: bool = False
    """Nobody said that it was put away, and it can hardly still be out."""


@dataclass(frozen=True, slots=True)
class Night:
    """One line. `day`: the local date on whose noon it begins. `now`: the moment known, if it lies within."""

    day: date
    zone: str
    begins: Instant
    ends: Instant
    expected: bool
    spells: tuple[Spell, ...]
    acts: tuple[Entry, ...]
    departures: tuple[Judged, ...]
    now: Instant | None

    @property
    def silent(self) -> bool:
        """Nothing was told of it."""
        return not self.acts and not self.worked

    @property
    def worked(self) -> bool:
        """Whether it was out at all, as far as is known."""
        return any(spell.what == "work" for spell in self.spells)

    @property
    def idle(self) -> bool:
        """Nothing was told of it, or that the machine stood unused."""
        return self.silent or (not self.worked and any(act.kind == "not_used" for act in self.acts))


def night_of(at: Instant, zone: ZoneInfo) -> date:
    """The night to which an instant belongs: the date on whose noon it began."""
    return (wall(at, zone) - timedelta(hours=12)).date()


def noon(day: date, zone: ZoneInfo) -> Instant:
    """Noon of a local date."""
    return instant_of(datetime.combine(day, time(12)), zone)


def nights(
    folded: Folded, judged: Sequence[Judged], place: Zone, zones: Callable[[str], ZoneInfo], known_at: Instant,
    last: date, how_many: int,
) -> list[Night]:  # fmt: skip
    """The nights up to and with `last`, the oldest first, each by the clock of where the machine stood at its noon."""
    spells = [*_work(folded, known_at), *_charging(folded, known_at)]
    acts = [entry for entry in folded.entries if entry.kind in ACTS]
    departures = [each for each in judged if each.word in DEPARTURES]
    found = []
    for back in range(how_many - 1, -1, -1):
        day = last - timedelta(days=back)
        name = place(noon(day, zones(place(known_at))))
        zone = zones(name)
        begins, ends = noon(day, zone), noon(day + timedelta(days=1), zone)
        if folded.machine.commissioned_at is None or ends <= folded.machine.commissioned_at or begins > known_at:
            continue
        found.append(
            Night(
                day, name, begins, ends, _expected(folded, begins, ends),
                tuple(_within(spell, begins, ends) for spell in spells if spell.begins < ends and spell.ends > begins),
                tuple(act for act in acts if begins <= act.occurred_at < ends),
                tuple(each for each in departures if begins <= each.at < ends),
                known_at if begins <= known_at < ends else None,
            )
        )  # fmt: skip
    return found


def _within(spell: Spell, begins: Instant, ends: Instant) -> Spell:
    return Spell(
        spell.what, max(spell.begins, begins), min(spell.ends, ends), spell.begun and spell.begins >= begins,
        spell.over and spell.ends <= ends, spell.cut and spell.ends <= ends,
    )  # fmt: skip


def _work(folded: Folded, known_at: Instant) -> list[Spell]:
    found = []
    for use in folded.uses:
        if use.put_away is not None:
            found.append(Spell("work", use.first, use.put_away, begun=not use.assumed))
        elif known_at <= use.cut_off:
            found.append(Spell("work", use.first, known_at, over=False))
        else:
            found.append(Spell("work", use.first, use.cut_off, over=False, cut=True))
    return found


def _charging(folded: Folded, known_at: Instant) -> list[Spell]:
    """From being put on charge until it is taken off, goes out again, or as long as nothing else is known."""
    events: list[tuple[Instant, int]] = []
    for entry in folded.entries:
        if entry.kind in ("charge", "unplug"):
            events.append((entry.occurred_at, 1 if entry.kind == "charge" else 0))
        elif entry.kind == "start":
            events.append((entry.occurred_at, 0))
    # An assumed start takes it off too; at one instant, what takes it off comes first.
    events += [(use.first, 0) for use in folded.uses if use.assumed]
    found: list[Spell] = []
    since: Instant | None = None
    for at, on in sorted(events):
        if on and since is None:
            since = at
        elif not on and since is not None:
            found.append(Spell("charge", since, at))
            since = None
    if since is not None and since < known_at:
        found.append(Spell("charge", since, min(known_at, folded.machine.retired_at or FOREVER), over=False))
    return [spell for spell in found if spell.ends > spell.begins]


def _expected(folded: Folded, begins: Instant, ends: Instant) -> bool:
    site = ""
    for entry in folded.entries:
        if entry.occurred_at >= ends:
            break
        if entry.kind in ("commissioned", "moved"):
            site = entry.data["site"]
    calendar = folded.machine.book.nights(site, begins) if site else None
    return calendar is not None and bool(calendar.between(begins - 1, ends - 1))
