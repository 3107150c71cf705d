"""The register as one machine's fold asks it: the same answers, remembered, because they are asked so often."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from logbook.domain.calendar import Nights
from logbook.domain.entries.fleet import SegmentFit
from logbook.domain.instants import Instant
from logbook.domain.machine import FOREVER
from logbook.domain.policy import Policy
from logbook.domain.register import Register


class MachineBook:
    """What `logbook.domain.machine.Book` asks for, out of the register, for one machine.

    What is asked again of one site, between the same two changes of the register, is answered from memory.
    """

    __slots__ = ("_from", "_machine", "_nights", "_policy", "_register", "_site", "_until")

    def __init__(self, register: Register, machine: str) -> None:
        self._register = register
        self._machine = machine
        self._site: str | None = None
        self._from: Instant = 0
        self._until: Instant = 0
        self._policy: Policy | None = None
        self._nights: Nights | None = None

    def policy(self, site: str, at: Instant) -> Policy:
        """The numbers in force for this machine at a site."""
        if self._from <= at < self._until and site == self._site and self._policy is not None:
            return self._policy
        policy = self._policy = self._register.policy(self._machine, site, at)
        self._nights = self._register.nights(self._machine, site, at)
        self._site, self._from, self._until = site, at, self._register.next_change(at)
        return policy

    def zone(self, site: str, at: Instant) -> ZoneInfo:
        """The site's zone."""
        return self._register.zone(site, at)

    def nights(self, site: str, at: Instant) -> Nights | None:
        """The machine's own calendar of expected nights, else its site's, else None."""
        if self._from <= at < self._until and site == self._site:
            return self._nights
        return self._register.nights(self._machine, site, at)

    def segments(self, at: Instant) -> SegmentFit | None:
        """Which segments the machine takes."""
        return self._register.segments(self._machine, at)

    def next_change(self, at: Instant) -> Instant:
        """The first instant after `at` from which any of these answers may differ, else FOREVER."""
        if self._from <= at < self._until:
            return self._until
        return min(self._register.next_change(at), FOREVER)
