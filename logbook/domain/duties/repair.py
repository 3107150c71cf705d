"""repair: asked for is not done; owed within days."""

from __future__ import annotations

from logbook.domain.history import Entry
from logbook.domain.machine import Machine, on

DUTY = "repair"


@on("repair_requested")
def opened(machine: Machine, entry: Entry) -> None:
    """A repair was asked for."""
    policy = machine.policy(entry.recorded_at)
    if DUTY in policy.on:
        due = machine.later(entry.occurred_at, policy.duration("repair.within"), policy, entry.recorded_at)
        machine.open(DUTY, entry.name, entry.occurred_at, due)


@on("repaired")
def repaired(machine: Machine, entry: Entry) -> None:
    """It is mended."""
    for duty in machine.open_duties(DUTY):
        machine.finish(duty, entry.occurred_at, "met")
