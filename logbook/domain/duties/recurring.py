"""What watering, filter and segments have in common: each act opens the next, so one is always owed."""

from __future__ import annotations

from logbook.domain.history import Entry
from logbook.domain.machine import Duty, Machine, on


class Recurring:
    """A duty of every so often. `acts`: the kinds that end one and open the next."""

    def __init__(self, duty: str, *acts: str) -> None:
        self.duty = duty
        self.every = f"{duty}.every"
        on("commissioned")(self.open)
        on(*acts)(self.done)

    def wanted(self, machine: Machine) -> bool:
        """Whether this machine owes it at all."""
        return True

    def open(self, machine: Machine, entry: Entry) -> None:
        """A new turn begins with this entry."""
        policy = machine.policy(entry.recorded_at)
        if self.duty not in policy.on or not self.wanted(machine):
            return
        due = machine.later(entry.occurred_at, policy.duration(self.every), policy, entry.recorded_at)
        machine.open(self.duty, entry.name, entry.occurred_at, due)

    def done(self, machine: Machine, entry: Entry) -> None:
        """The act: ends the open turn and opens the next."""
        for duty in machine.open_duties(self.duty):
            machine.finish(duty, entry.occurred_at, "met")
        self.open(machine, entry)

    def excused(self, machine: Machine, duty: Duty, entry: Entry) -> None:
        """An excused turn is over, and the next begins with the excuse."""
        machine.finish(duty, entry.occurred_at, "excused")
        self.open(machine, entry)
