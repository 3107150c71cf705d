"""Passing an alert on: a leader asks another one of the site to see to it.

Promises that whoever is asked hears of it once, in the transaction in which the log says so, and by the same item as
every other message about that alert; and that the escalation waits as long as their turn lasts, which begins when
they can have read it. Asking takes nothing in hand: until they answer, the next in line is still to come.
"""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

import msgspec

from logbook.domain import door
from logbook.domain.calendar import after, zone
from logbook.domain.instants import HOUR, Instant
from logbook.domain.machine import Machine
from logbook.domain.people import LEADERS, Person
from logbook.domain.policy import Policy
from logbook.domain.register import Register
from logbook.domain.telling.facts import item_of, tell_of
from logbook.domain.telling.items import Tell
from logbook.domain.telling.quiet import is_quiet, next_letter, span_of
from logbook.intake.reading import looker, own_words
from logbook.store import alerts, notices, words

if TYPE_CHECKING:
    from logbook.domain.history import Entry
    from logbook.intake.visit import Visit

_SPACE = uuid.UUID("3b1b0f4e-52c7-5a0d-8d0c-2f9f0d6d9a17")
"""Name space of the notices' ids: one asking, one notice."""


def reachable(person: Person) -> bool:
    """Whether there is any way by which this person may be told something."""
    text = person.phone and "text" not in person.opted_out
    return bool(text or (person.email and "mail" not in person.opted_out))


def may_be_asked(register: Register, site: str) -> list[Person]:
    """Whoever may be asked to see to an alert of a site: its supervisors, then the owners, who can be reached."""
    return [person for role in LEADERS for person in register.who(role, site) if reachable(person)]


def heard_at(person: Person, register: Register, policy: Policy, tell: Tell, now: Instant) -> Instant:
    """When somebody who is asked now can hear of it: quiet hours hold all that is not urgent."""
    span = span_of(person.quiet) if person.quiet else policy.quiet
    known = [register.sites[site].zone for site in (person.sites or tuple(register.sites)) if site in register.sites]
    place = zone(known[0] if known else "UTC")
    if tell == "urgent" or span is None or not is_quiet(span, place, now):
        return now
    return next_letter(span, place, now)


def turn_until(fold: Machine, duty: str, begins: Instant) -> Instant:
    """Until when it is the turn of whoever is asked: as long as the first in line has before the next one is told."""
    policy = fold.policy(begins)
    steps = policy.escalation(duty)
    place = fold.book.zone(fold.site, begins)
    if len(steps) < 2:
        return after(begins, policy.acknowledge_for(duty), place, policy.day_turns)
    first, second = (after(begins, step.delay, place, policy.day_turns) for step in steps[:2])
    return max(begins + HOUR, begins + second - first)


def asked(visit: Visit, entry: Entry, found: alerts.Alert) -> None:
    """Somebody was asked to see to this alert: put them down to be told. Raises door.Refused if they cannot be."""
    connection, register, data = visit.connection, visit.register, entry.data
    uuid_ = words.person_of(connection, visit.uuid, data["to"])
    person = register.people.get(uuid_ or "")
    fold = visit.watchman.machine
    if person is None or person not in may_be_asked(register, fold.site):
        raise door.Refused(
            "not_a_leader",
            "That can be asked only of a supervisor or owner of its site who can be reached. Nothing was saved.",
        )
    record = visit.watchman.ledger.active.get((found.duty, found.opened_by))
    if record is None:
        raise door.Refused("no_alert", "There is no such alert any more. Nothing was saved.")
    policy = fold.policy(visit.now)
    tell: Tell = "urgent" if tell_of(fold, record.duty, visit.now) == "urgent" else "now"
    site = register.sites[record.duty.site or fold.site]
    item = item_of(
        fold, record.duty, looker(connection, visit.uuid), uuid=visit.uuid, code=visit.code, site_name=site.name,
        zone=site.zone, number=found.number, raised_at=found.raised_at, tell=tell, serial=found.serial,
    )  # fmt: skip
    item.asked_by, item.step = entry.role, max(found.step, 2)
    if found.duty in ("fault", "repair"):
        item.note = own_words(connection, visit.uuid, fold, "fault", "note")
    ready = heard_at(person, register, policy, tell, visit.now)
    row = notices.Notice(
        str(uuid.uuid5(_SPACE, f"{entry.id} {person.uuid}")), person.uuid, visit.uuid, found.duty, found.opened_by,
        found.number, tell, msgspec.json.encode(item), visit.now, ready,
    )  # fmt: skip
    notices.add(connection, [row])
