"""Whether a live alert is in somebody's hands, or somebody was only asked: what the table's one instant does not tell.

Promises to follow the log: `acknowledged` takes an alert in hand, or gives it back when it says "until now";
`passed_on` asks and takes nothing in hand. Writes nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from sqlalchemy import Connection

from logbook.domain.instants import Instant, parse
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
