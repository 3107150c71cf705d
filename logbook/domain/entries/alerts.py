"""Entries that the clock writes about a duty that was not done in time, and a person's answer to one."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field

from logbook.domain.entries.base import CLOCK, LEADERS, EntryId, Kind, ShortText, catalogue

Rfc3339 = Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?Z$")]
Number = Annotated[int, Field(ge=1)]
Outcome = Literal["withdrawn", "excused", "overtaken", "late", "told_late", "not_due"]
_DUTY: dict[str, Any] = {
    "duty": "rinse", "opened_by": "0192d5c8-0000-7000-8000-000000000001", "number": 1,
    "due_at": "2026-03-09T09:30:00Z",
}  # fmt: skip


class _Alert(Kind):
    """One alert is a duty's identity and a number: 1, 2, 3 … for each time that duty was raised."""

    by = CLOCK
    strikable = False

    duty: ShortText
    opened_by: ShortText
    number: Number
    due_at: Rfc3339


@catalogue.add
class AlertRaised(_Alert):
    """A duty is overdue. `serial` is the short number by which people answer it."""

    kind = "alert_raised"
    meaning: ClassVar[str] = "The clock raised an alert: a duty is overdue."
    example: ClassVar[dict[str, Any]] = {**_DUTY, "serial": 41}

    serial: Number | None = None


@catalogue.add
class AlertEscalated(_Alert):
    """The next person in line was told."""

    kind = "alert_escalated"
    meaning: ClassVar[str] = "The alert was passed on to the next in line."
    example: ClassVar[dict[str, Any]] = {**_DUTY, "step": 2, "role": "owner"}

    step: Number
    role: ShortText


@catalogue.add
class AlertCleared(_Alert):
    """The alert is over. Only the log clears one."""

    kind = "alert_cleared"
    meaning: ClassVar[str] = "The alert is over."
    example: ClassVar[dict[str, Any]] = {**_DUTY, "outcome": "late"}

    outcome: Outcome


@catalogue.add
class Acknowledged(Kind):
    """Someone has it until `until`; the escalation waits that long."""

    kind = "acknowledged"
    by = LEADERS
    strikable = False
    meaning: ClassVar[str] = "Someone took an alert in hand."
    example: ClassVar[dict[str, Any]] = {**_DUTY, "until": "2026-03-09T17:30:00Z"}

    duty: ShortText
    opened_by: ShortText
    number: Number
    due_at: Rfc3339 | None = None
    until: Rfc3339


@catalogue.add
class PassedOn(Kind):
    """A leader asked another one of the site to see to an alert; the escalation waits until then for their answer.

    `to`: who was asked, by their pseudonym on this machine, so that an erasure reaches it. `role`: in which role.
    """

    kind = "passed_on"
    by = LEADERS
    strikable = False
    meaning: ClassVar[str] = "Somebody was asked by another to see to an alert."
    example: ClassVar[dict[str, Any]] = {
        **_DUTY, "to": "0192d5c8-0000-7000-8000-00000000000a", "role": "supervisor", "until": "2026-03-09T11:30:00Z",
    }  # fmt: skip

    duty: ShortText
    opened_by: ShortText
    number: Number
    due_at: Rfc3339 | None = None
    to: EntryId
    role: ShortText
    until: Rfc3339
