"""Answers to alerts: what their entries say, and whether a live one is in somebody's hands or somebody was only asked.

Promises to follow the log: `acknowledged` takes an alert in hand, or gives it back when it says "until now";
`passed_on` asks and takes nothing in hand. Writes nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from sqlalchemy import Connection

from logbook.domain.calendar import after
from logbook.domain.instants import Instant, parse, text
from logbook.domain.machine import Machine
from logbook.evidence.form import read as read_form
from logbook.store import tellings
from logbook.store.alerts import Alert


class Until(NamedTuple):
    """Until when an alert is in somebody's hands, and until when it is the turn of somebody who was asked.

    Microseconds UTC; None where that is not so. Never both.
    """

    in_hand: Instant | None = None
    asked: Instant | None = None


NOBODY = Until()


def about(alert: Alert) -> dict[str, str | int]:
    """Which alert an answer is to, as its entry's data says it."""
    return {
        "duty": alert.duty, "opened_by": alert.opened_by, "number": alert.number, "due_at": text(alert.due_at)
    }  # fmt: skip


def taken(alert: Alert, fold: Machine, now: Instant, until: Instant | None = None) -> dict[str, str | int]:
    """The data of an `acknowledged`: in hand until then; None: for as long as policy lets an alert of its duty wait."""
    if until is None:
        policy = fold.policy(now)
        until = after(now, policy.acknowledge_for(alert.duty), fold.book.zone(fold.site, now), policy.day_turns)
    return {**about(alert), "until": text(until)}


def until(connection: Connection, found: Iterable[Alert]) -> dict[int, Until]:
    """By serial, of those alerts that were ever answered: what the last answer amounts to. The others are NOBODY."""
    answered = [each for each in found if each.acknowledged_until is not None]
    last: dict[tuple[str, str, str, int], Until] = {}
    for machine in {each.machine for each in answered}:
        for row in tellings.answers(connection, machine, 0):
            data = read_form(row.bytes).data
            ends = parse(data["until"])
            made = Until(asked=ends) if row.kind == "passed_on" else Until(in_hand=ends)
            if row.kind == "acknowledged" and ends <= row.recorded_at:
                made = NOBODY
            last[(machine, data["duty"], data["opened_by"], data["number"])] = made
    return {each.serial: last.get((each.machine, each.duty, each.opened_by, each.number), NOBODY) for each in answered}
