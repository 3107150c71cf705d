"""What waits for a leader's word: texts that were kept aside, and numbers that joined by a plate's word."""

from __future__ import annotations

from collections.abc import Sequence

from logbook.domain.instants import Instant
from logbook.domain.people import Person
from logbook.domain.register import Register
from logbook.domain.wording import times
from logbook.domain.wording.labels import role_label
from logbook.store.heard import STRANGERS, Heard
from logbook.web.pages import Words
from logbook.web.tonight.model import Choice, Newcomer, Text

_MACHINES = "aside: "
"""How a text begins to be kept that a machine sent, or that was forged or too large: nobody's eye is needed."""


def texts(
    rows: Sequence[Heard], register: Register, sites: frozenset[str], say: Words, place: str, now: Instant
) -> tuple[Text, ...]:  # fmt: skip
    """The texts that wait: everybody's who is not known, and those of people of these sites that could not be read."""
    found = []
    for row in rows:
        stranger = row.outcome in STRANGERS
        person = sender_of(register, row.sender)
        if row.outcome.startswith(_MACHINES) or (not stranger and not _of(person, sites)):
            continue
        about = "" if stranger or person is None else role_label(person.role, say.language)
        way = say.plain("mail") if row.channel == "mail" else say.plain("text")
        found.append(
            Text(
                row.id,
                times.moment(row.received_at, place, say.language, now),
                way,
                last_digits(row.sender),
                row.sender,
                row.text,
                stranger,
                about,
            )
        )
    return tuple(found)


def sender_of(register: Register, sender: str) -> Person | None:
    """Whose number or address this is."""
    return register.person_by_email(sender) if "@" in sender else register.person_by_phone(sender)


def _of(person: Person | None, sites: frozenset[str]) -> bool:
    return person is not None and bool(sites & set(person.sites))


def last_digits(number: str) -> str:
    """As much of a number, or of an address, as tells it from others: its last four signs."""
    kept = number.partition("@")[0] if "@" in number else number
    return f"…{kept[-4:]}"


def newcomers(register: Register, sites: frozenset[str]) -> tuple[Newcomer, ...]:
    """Whoever gave a plate's word and waits, at these sites."""
    return tuple(
        Newcomer(
            person.uuid, person.name or "", last_digits(person.phone or ""),
            ", ".join(register.sites[site].name for site in person.sites if site in register.sites),
        )
        for person in register.people.values()
        if person.state == "unconfirmed" and _of(person, sites)
    )  # fmt: skip


def senders(register: Register, sites: frozenset[str], say: Words) -> tuple[Choice, ...]:
    """Whose a text may be: everybody who reports at these sites, by name."""
    found = [
        Choice(person.uuid, person.name or person.key or "", role_label(person.role, say.language))
        for person in register.people.values()
        if person.reports and person.role in ("cleaner", "keeper") and _of(person, sites)
    ]
    return tuple(sorted(found, key=lambda each: (each.name.casefold(), each.person)))
