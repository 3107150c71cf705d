"""To whom an alert goes and when: each answer with its reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from logbook.domain.instants import parse
from logbook.domain.policy import Policy, resolve
from logbook.domain.telling.items import Tell
from logbook.domain.telling.quiet import Span, span_of
from logbook.domain.telling.who import Reader, Reason, in_role, notices

DAY = parse("2026-03-03T15:00:00Z")
NIGHT = parse("2026-03-03T06:00:00Z")


@dataclass(frozen=True)
class Somebody:
    uuid: str


@dataclass
class People:
    roles: dict[str, list[str]] = field(default_factory=dict)

    def who(self, role: str, site: str) -> Sequence[Reader]:
        return [Somebody(name) for name in self.roles.get(role, [])]

    def quiet(self, person: Reader, policy: Policy) -> Span:
        return span_of("21:00-06:30") if person.uuid != "owl" else (0, 0)

    def zone_of(self, person: Reader, now: int) -> ZoneInfo:
        return ZoneInfo("America/Halifax")


POLICY = resolve({})
STEP = POLICY.escalation("rinse")[0]


@pytest.mark.parametrize(
    ("tell", "now", "over", "ready", "reason"),
    [
        ("now", DAY, False, DAY, "at_once"),
        ("now", NIGHT, False, None, "held_by_quiet_hours"),
        ("urgent", NIGHT, False, NIGHT, "whatever_the_hour"),
        ("urgent", NIGHT, True, None, "over_already"),
        ("now", DAY, True, None, "over_already"),
        ("letter", DAY, False, None, "with_the_letter"),
        ("letter", NIGHT, False, None, "with_the_letter"),
    ],
)
def test_when_somebody_is_told_and_why(tell: Tell, now: int, over: bool, ready: int | None, reason: Reason) -> None:
    [told] = notices(People({"supervisor": ["lee"]}), POLICY, STEP, tell, "HX", now, over=over)
    assert (told.person, told.tell, told.ready_at, told.reason) == ("lee", tell, ready, reason)


def test_nobody_is_told_of_what_is_only_on_the_page() -> None:
    assert notices(People({"supervisor": ["lee"]}), POLICY, STEP, "none", "HX", DAY) == []


def test_quiet_hours_are_each_persons_own() -> None:
    told = notices(People({"supervisor": ["lee", "owl"]}), POLICY, STEP, "now", "HX", NIGHT)
    assert [(each.person, each.reason) for each in told] == [("lee", "held_by_quiet_hours"), ("owl", "at_once")]


@pytest.mark.parametrize(
    ("roles", "asked", "found"),
    [
        ({"supervisor": ["lee"], "owner": ["jo"]}, "supervisor", ("supervisor", ["lee"])),
        ({"owner": ["jo"]}, "supervisor", ("owner", ["jo"])),
        ({"supervisor": ["lee"]}, "owner", ("owner", [])),
        ({"supervisor": ["lee"], "owner": ["jo"]}, "owner", ("owner", ["jo"])),
        ({"supervisor": ["lee"]}, "keeper", ("supervisor", ["lee"])),
        ({"owner": ["jo"]}, "keeper", ("owner", ["jo"])),
        ({}, "supervisor", ("supervisor", [])),
    ],
)
def test_the_next_in_line_and_never_one_before(roles: dict[str, list[str]], asked: str, found: Any) -> None:
    role, people = in_role(People(roles), asked, "HX")
    assert (role, [each.uuid for each in people]) == found
