"""What is due, as a calendar to subscribe to (iCalendar, RFC 5545).

Promises one event a duty, under a name that stays the same however often it is fetched, in UTC; and nobody's name.
Which machines are in it is decided by who asks.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta

from icalendar import Calendar, Event, vText

from logbook.domain.instants import Instant, to_datetime
from logbook.domain.machine import Machine
from logbook.domain.wording import capital, speech
from logbook.domain.wording.cautions import care
from logbook.domain.wording.duties import WORDS, duty_label
from logbook.web.pages import words


@dataclass(frozen=True, slots=True)
class Due:
    """A duty of one machine that has not ended."""

    uuid: str
    code: str
    site: str
    duty: str
    opened_by: str
    due: Instant


def due_of(uuid: str, code: str, site: str, fold: Machine) -> list[Due]:
    """The open duties of one machine, the soonest due first."""
    found = [
        Due(uuid, code, site, duty.duty, duty.opened_by, duty.due) for duty in fold.duties() if duty.ended_at is None
    ]
    return sorted(found, key=lambda each: (each.due, each.duty))


def calendar(found: Iterable[Due], name: str, origin: str, language: str, now: Instant, address: str = "") -> bytes:
    """The calendar. `origin`: the fleet's, so that the events of two fleets are never taken for one another.

    `address`: where the pages are reached, for a link to the machine's history; "" for none.
    """
    say, plain = speech(language, "alerts"), words(language, "history").plain
    made = Calendar()
    made.add("PRODID", "-//machine-logbook//history//EN")
    made.add("VERSION", "2.0")
    made.add("METHOD", "PUBLISH")
    # RFC 7986; said to be text, because the library does not know the name and would not escape it.
    made.add("NAME", vText(name))
    made.add("X-WR-CALNAME", vText(name))
    made.add("REFRESH-INTERVAL", timedelta(hours=1), parameters={"VALUE": "DURATION"})
    for each in found:
        event, label = Event(), duty_label(each.duty, language)
        if each.due <= now:
            label = plain("%(duty)s, late", duty=label)
        event.add("UID", f"{_name(each)}@{origin.partition('/')[0]}")
        event.add("DTSTAMP", to_datetime(now).replace(microsecond=0))
        event.add("DTSTART", to_datetime(each.due).replace(microsecond=0))
        event.add("SUMMARY", f"{each.code}: {label}")
        event.add("LOCATION", each.site)
        lines = [say(WORDS[each.duty].do), care(WORDS[each.duty].cautions, language)]
        event.add("DESCRIPTION", "\n".join(capital(line) for line in lines if line))
        event.add("TRANSP", "TRANSPARENT")
        if address:
            event.add("URL", f"{address}/{language}/history/{each.code}")
        made.add_component(event)
    return bytes(made.to_ical())


def _name(each: Due) -> str:
    """The event's name: the duty's identity, as a digest, because opening ids say more than a calendar should."""
    return hashlib.sha256(f"{each.uuid}\0{each.duty}\0{each.opened_by}".encode()).hexdigest()[:32]
