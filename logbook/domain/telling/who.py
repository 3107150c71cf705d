"""To whom an alert goes, and whether at once or with the morning's letter; each answer with its reason."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, Protocol
from zoneinfo import ZoneInfo

import msgspec

from logbook.domain.instants import Instant
from logbook.domain.policy import Policy, Step
from logbook.domain.telling.items import Tell
from logbook.domain.telling.quiet import Span, is_quiet

Reason = Literal[
    "at_once", "whatever_the_hour", "held_by_quiet_hours", "with_the_letter", "over_already", "told_by_the_night",
    "switched_off", "nobody_to_tell",
]  # fmt: skip
ROLES = ("supervisor", "owner")
"""Who hears of an alert when nobody has the role that policy names: the next one up does."""


class Reader(Protocol):
    """A person as far as telling is concerned."""

    @property
    def uuid(self) -> str:
        """Who."""


class Roster(Protocol):
    """What telling asks of the register."""

    def who(self, role: str, site: str) -> Sequence[Reader]:
        """Everyone in that role for a site, who may be told."""

    def quiet(self, person: Reader, policy: Policy) -> Span:
        """Their quiet hours: their own, else policy's."""

    def zone_of(self, person: Reader, now: Instant) -> ZoneInfo:
        """The zone in which their day turns."""


class Notice(msgspec.Struct, frozen=True):
    """One person is to be told. `ready_at` None: with their next letter. `way`: mail or text, None for theirs."""

    person: str
    tell: Tell
    ready_at: Instant | None
    reason: Reason
    way: str | None = None


def in_role(roster: Roster, role: str, site: str) -> tuple[str, Sequence[Reader]]:
    """Those in a role for a site, or in the next role up that has anybody. Returns the role found too."""
    higher = ROLES[ROLES.index(role) + 1 :] if role in ROLES else ROLES
    for each in (role, *higher):
        people = roster.who(each, site)
        if people:
            return each, people
    return role, ()


def notices(
    roster: Roster, policy: Policy, step: Step, tell: Tell, site: str, now: Instant, *, over: bool = False
) -> list[Notice]:
    """Whom one step of an alert's telling reaches, and when. `over`: it was raised and cleared at once."""
    if tell == "none":
        return []
    _role, people = in_role(roster, step.role, site)
    told = []
    for person in people:
        ready: Instant | None = None
        reason: Reason
        if over:
            reason = "over_already"
        elif tell == "urgent":
            ready, reason = now, "whatever_the_hour"
        elif tell == "letter":
            reason = "with_the_letter"
        elif is_quiet(roster.quiet(person, policy), roster.zone_of(person, now), now):
            reason = "held_by_quiet_hours"
        else:
            ready, reason = now, "at_once"
        told.append(Notice(person.uuid, tell, ready, reason, step.way))
    return told
