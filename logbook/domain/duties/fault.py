"""fault: passed on within hours, or mended: a fault that nobody asked about is a machine that fails at night."""

from __future__ import annotations

from logbook.domain.history import Entry
from logbook.domain.machine import Machine, on

DUTY = "fault"


@on("fault")
def opened(machine: Machine, entry: Entry) -> None:
    """Every fault is owed an answer."""
    policy = machine.policy(entry.recorded_at)
    if DUTY in policy.on:
        within = policy.duration("fault.answer_within")
        due = machine.later(entry.occurred_at, within, policy, entry.recorded_at)
        machine.open(DUTY, entry.name, entry.occurred_at, due)


@on("repair_requested", "repaired")
def answered(machine: Machine, entry: Entry) -> None:
    """A repair asked for, or done, answers every fault told before it."""
    for duty in machine.open_duties(DUTY):
        machine.finish(duty, entry.occurred_at, "met")
