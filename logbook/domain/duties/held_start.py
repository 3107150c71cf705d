"""held_start: a machine that must not run was started. Due at once: somebody may be about to be hurt."""

from __future__ import annotations

from logbook.domain.history import Entry
from logbook.domain.machine import Machine, on

DUTY = "held_start"


@on("start")
def started(machine: Machine, entry: Entry) -> None:
    """Each start while held or out of service."""
    if (machine.held or not machine.in_service) and DUTY in machine.policy(entry.recorded_at).on:
        machine.open(DUTY, entry.name, entry.occurred_at, entry.recorded_at)


@on("put_away", "released", "in_service")
def over(machine: Machine, entry: Entry) -> None:
    """It stands again, or it may run."""
    for duty in machine.open_duties(DUTY):
        machine.finish(duty, entry.occurred_at, "met")
