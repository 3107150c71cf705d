"""Times as the people of a site say them: its wall clock, in their language.

Promises that no sentence shows UTC or the server's zone, and that of an hour which an autumn change repeats it is
said which one is meant. It never asks what time it is: `now` is an argument, and tells only whether a day must be
named too.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from babel.dates import format_date, format_datetime

from logbook.domain.instants import DAY, HOUR, MINUTE, Instant, to_datetime
from logbook.domain.wallclock import wall, zone
from logbook.domain.wording import speech

# Spanish as in the Americas (CLDR), where a decimal point is the commoner sign and months are written "sept".
_LOCALES = {"en": "en", "es": "es_419"}


def locale(language: str) -> str:
    """The CLDR locale in which days, months and numbers of this language are written."""
    return _LOCALES.get(language, "en")


def clock(at: Instant, place: str, language: str) -> str:
    """The wall clock alone: `05:42`, or `01:15 (second)` of two. `place` is an IANA zone name."""
    return _pattern(at, place, language, "HH:mm")


def day_clock(at: Instant, place: str, language: str) -> str:
    """The day and the wall clock: `Tue 10 Mar 12:00`."""
    return _pattern(at, place, language, "EEE d MMM HH:mm")


def moment(at: Instant, place: str, language: str, now: Instant) -> str:
    """The wall clock, with the day where it is not today's, and the year where it is not this one."""
    then, today = wall(at, zone(place)), wall(now, zone(place))
    if then.date() == today.date():
        return clock(at, place, language)
    pattern = "EEE d MMM HH:mm" if then.year == today.year else "EEE d MMM y HH:mm"
    return _pattern(at, place, language, pattern)


def since(at: Instant, place: str, language: str, now: Instant) -> str:
    """`since 05:42`."""
    say = speech(language, "alerts")
    return say("since %(time)s") % {"time": moment(at, place, language, now)}


def day(written: str, language: str) -> str:
    """A local date as people say it: `Sat 7 Mar`. Raises ValueError for what is no ISO 8601 date."""
    return format_date(date.fromisoformat(written), "EEE d MMM", locale=locale(language))


def utc(at: Instant) -> str:
    """For a message that belongs to no site: `2026-03-10 12:00 UTC`."""
    return to_datetime(at).strftime("%Y-%m-%d %H:%M UTC")


def span(micros: int, language: str) -> str:
    """Elapsed time, rounded down: `40 min`, `9 h 20 min`, from two days on `3 days 4 h`. Nothing is negative."""
    say = speech(language, "alerts")
    minutes = max(0, micros) // MINUTE
    in_minutes, in_hours = say("%(minutes)s min"), say("%(hours)s h")
    if minutes < 60:
        return in_minutes % {"minutes": minutes}
    hours, rest = divmod(minutes, 60)
    if micros < 2 * DAY:
        whole = in_hours % {"hours": hours}
        return f"{whole} {in_minutes % {'minutes': rest}}" if rest else whole
    days, rest = divmod(micros // HOUR, 24)
    whole = days_of(days, language)
    return f"{whole} {in_hours % {'hours': rest}}" if rest else whole


def days_of(count: int, language: str) -> str:
    """`1 day`, `3 days`."""
    return speech(language, "alerts").plural("%(n)s day", "%(n)s days", count) % {"n": count}


def _pattern(at: Instant, place: str, language: str, pattern: str) -> str:
    shown = wall(at, zone(place))
    words = format_datetime(shown, pattern, locale=locale(language))
    which = _which(at, place, shown)
    if which is None:
        return words
    say = speech(language, "alerts")
    which_one = say("first") if which == 1 else say("second")
    return f"{words} ({which_one})"


def _which(at: Instant, place: str, shown: datetime) -> int | None:
    """1 or 2 if the wall clock shows this time twice that night, else None."""
    there = zone(place)
    first, second = (shown.replace(tzinfo=there, fold=fold).astimezone(UTC) for fold in (0, 1))
    # In a gap the two readings differ as well, but the later one comes first (PEP 495); `shown` is never in a gap.
    if second - first <= timedelta(0):
        return None
    return 1 if to_datetime(at) < second else 2
