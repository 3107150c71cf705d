"""The axis that all late rows share: twelve hours around now, in the hours of one zone, said where sites differ."""

from __future__ import annotations

from babel.dates import get_timezone_location

from logbook.domain.instants import HOUR, Instant
from logbook.domain.wallclock import instant_of, wall, zone
from logbook.domain.wording import times
from logbook.web.tonight.model import Axis, Bar, Tick

BEFORE, LENGTH = 8, 12
"""Hours shown before now, and in all."""
_EVERY = 2
_CLOSE = 9.0
"""Hundredths: a tick nearer to now than this gives way to it."""


def axis_of(now: Instant, place: str, language: str, several: bool) -> Axis:
    """The axis at an instant, in the hours of an IANA zone; `several`: the sites shown are not all in it."""
    there = zone(place)
    begins = instant_of(wall(now, there).replace(minute=0, second=0, microsecond=0), there) - BEFORE * HOUR
    ends = begins + LENGTH * HOUR

    def at(instant: Instant) -> float:
        return round(100 * (instant - begins) / (ends - begins), 2)

    ticks = []
    for hours in range(0, LENGTH + 1, _EVERY):
        instant = begins + hours * HOUR
        if abs(at(instant) - at(now)) < _CLOSE:
            continue
        anchor = "start" if hours == 0 else "end" if hours == LENGTH else "middle"
        ticks.append(Tick(at(instant), times.clock(instant, place, language).partition(" ")[0], anchor))
    clock = times.clock(now, place, language)
    return Axis(tuple(ticks), at(now), clock, begins, ends, city(place, language) if several else "")


def bar_of(axis: Axis, since: Instant) -> Bar:
    """A late row's bar, from when it was due to now."""
    length = axis.ends - axis.begins
    start = 100 * (since - axis.begins) / length
    return Bar(round(max(0.0, min(start, axis.now)), 2), axis.now, start < 0)


def city(place: str, language: str) -> str:
    """A zone as people call it: by its city."""
    return str(get_timezone_location(zone_name(place), locale=times.locale(language), return_city=True))


def zone_name(place: str) -> str:
    """The zone's name as babel takes it. Raises ValueError for none of the IANA database."""
    return zone(place).key
