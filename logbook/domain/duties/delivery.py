"""delivery: what was ordered should come within days; an order that is forgotten is a machine that stands."""

from __future__ import annotations

from logbook.domain.history import Entry
from logbook.domain.machine import Machine, on

DUTY = "delivery"


@on("ordered")
def ordered(machine: Machine, entry: Entry) -> None:
    """Every order is a delivery to wait for."""
    policy = machine.policy(entry.recorded_at)
    if DUTY in policy.on:
        due = machine.later(entry.occurred_at, policy.duration("delivery.within"), policy, entry.recorded_at)
        opened = machine.open(DUTY, entry.name, entry.occurred_at, due)
        if opened is not None:
            opened.alias = entry.id


@on("received")
def received(machine: Machine, entry: Entry) -> None:
    """The goods of that order came, whether it is known by its own id or by that of the order it corrected."""
    order = entry.data["order"]
    for duty in machine.open_duties(DUTY):
        if order in (duty.opened_by, duty.alias):
            machine.finish(duty, entry.occurred_at, "met")
