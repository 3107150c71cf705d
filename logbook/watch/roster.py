"""The register as telling asks it: who has a role at a site, their quiet hours, their zone."""

from __future__ import annotations

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from logbook.domain.calendar import zone
from logbook.domain.instants import Instant
from logbook.domain.people import Person
from logbook.domain.policy import Policy
from logbook.domain.register import Register
from logbook.domain.telling.quiet import Span, span_of
from logbook.domain.telling.who import Reader

NEVER: Span = (0, 0)


class RegisterRoster:
    """See `logbook.domain.telling.who.Roster`."""

    def __init__(self, register: Register) -> None:
        self._register = register

    def who(self, role: str, site: str) -> Sequence[Person]:
        """The members with that role at a site who can be reached by some way."""
        return [person for person in self._register.who(role, site) if reachable(person)]

    def quiet(self, person: Reader, policy: Policy) -> Span:
        """Their own quiet hours, else policy's; never, where policy has none."""
        own = self._register.people[person.uuid].quiet
        if own:
            return span_of(own)
        return policy.quiet if policy.quiet is not None else NEVER

    def zone_of(self, person: Reader, now: Instant) -> ZoneInfo:
        """The zone of the first site they have to do with; an owner's is that of the fleet's first site."""
        sites = self._register.people[person.uuid].sites or tuple(self._register.sites)
        for site in sites:
            if site in self._register.sites:
                return self._register.zone(site, now)
        return zone("UTC")


def reachable(person: Person) -> bool:
    """Whether there is any way by which a person may be told something."""
    return bool(ways(person))


def ways(person: Person) -> list[tuple[str, str]]:
    """(way, address) by which a person may be told, in the order in which they are tried."""
    found = []
    if person.phone and "text" not in person.opted_out:
        found.append(("text", person.phone))
    if person.email and "mail" not in person.opted_out:
        found.append(("mail", person.email))
    return found
