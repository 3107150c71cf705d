"""When it happened, as the form says it: so many minutes ago, or by the clock on the wall. Pure."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from logbook.domain.door import AHEAD
from logbook.domain.instants import HOUR, MINUTE, Instant, from_datetime, to_datetime
from logbook.domain.wallclock import minutes_of_day, wall, zone
from logbook.domain.wording.mark import mark

AGO = (0, 5, 15, 30, 60)
"""Minutes, as the form offers them."""
WITHIN = 14 * HOUR
"""A clock time without a date is the latest such time, within a night's reach: as for texts."""

NO_TIME = mark("That time cannot be read. Nothing was saved. Write it like 05:10.")
TOO_FAR = mark("That time was more than 14 hours ago, or has not come yet. Nothing was saved.")
SKIPPED = mark("The clocks went forward: there was no such time that night. Nothing was saved.")
TWICE = mark(
    "The clocks went back: that time came twice that night. Nothing was saved. Choose the first or the second."
)
WHICH = ("1", "2")
"""What the form says of a time that came twice: the first, or the second."""


class NoSuchTime(Exception):
    """`sentence`: of the room's catalogue."""

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


def moment(ago: str, at: str, place: str, now: Instant, which: str = "") -> Instant | None:
    """The instant meant, or None for now. A clock time outweighs minutes. Raises NoSuchTime."""
    if at:
        return _by_clock(at, place, now, which)
    if ago in ("", "0"):
        return None
    if ago not in map(str, AGO):
        raise NoSuchTime(NO_TIME)
    return now - int(ago) * MINUTE


def repeats(place: str, now: Instant) -> bool:
    """Whether the clocks there go back within a night's reach of now, so that a time of that night has to say which.

    Both ways: a phone may show this night's page as it was kept before.
    """
    there = zone(place)
    before, after = (to_datetime(at).astimezone(there).utcoffset() for at in (now - WITHIN, now + WITHIN))
    return before is not None and after is not None and after < before


def _by_clock(at: str, place: str, now: Instant, which: str) -> Instant:
    try:
        minutes = minutes_of_day(at)
    except ValueError:
        raise NoSuchTime(NO_TIME) from None
    today = wall(now, zone(place)).replace(second=0, microsecond=0)
    meant = today.replace(hour=minutes // 60, minute=minutes % 60)
    skipped = False
    # Tomorrow's too: up to five minutes ahead is now, and midnight may lie between.
    for days in (1, 0, -1):
        readings, gap = _readings(meant + timedelta(days=days), place)
        within = [each for each in readings if now - WITHIN <= each <= now + AHEAD]
        if gap:
            skipped = skipped or bool(within)
        elif len(within) > 1:
            if which not in WHICH:
                raise NoSuchTime(TWICE)
            return min(within[WHICH.index(which)], now)
        elif within:
            return min(within[0], now)
    raise NoSuchTime(SKIPPED if skipped else TOO_FAR)


def _readings(shown: datetime, place: str) -> tuple[list[Instant], bool]:
    """The instants at which that wall showed this: one, or two; and whether it never did (then: as if it had)."""
    there = zone(place)
    found = []
    for fold in (0, 1):
        at = from_datetime(shown.replace(tzinfo=there, fold=fold).astimezone(UTC))
        if at not in found:
            found.append(at)
    true = [at for at in found if wall(at, there) == shown]
    return (true, False) if true else (found[:1], True)
