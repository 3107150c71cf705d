"""charge: on the charger after every use (common practice, no source), or it goes out uncharged.

As the other duties of a use, and more: an unplug undoes a charge of the closing, and only charges before the
next use's start count. With none, the duty is overtaken at that start, assumed or not.
"""

from __future__ import annotations

from logbook.domain.duties.after_use import AfterUse
from logbook.domain.history import Entry
from logbook.domain.instants import Instant
from logbook.domain.machine import Duty, Machine, Use, on

DUTY = "charge"


class _Charge(AfterUse):
    def __init__(self) -> None:
        super().__init__(DUTY)
        on("unplug")(self.unplugged)

    def done(self, machine: Machine, entry: Entry) -> None:
        machine.charges.append(entry.occurred_at)
        for duty in machine.open_duties(DUTY):
            self._met(machine, duty, entry.occurred_at)

    def unplugged(self, machine: Machine, entry: Entry) -> None:
        """What was plugged in before is plugged in no more."""
        machine.charges.clear()

    def opened(self, machine: Machine, use: Use, before: Use | None) -> None:
        """It went out again: an earlier use that was not charged before this start never was."""
        for duty in list(machine.standing.get(DUTY, {}).values()):
            if use.assumed and duty.ended_at is not None and duty.ended_at >= use.first:
                self._taken_back(machine, duty, use.first, before)
            if duty.ended_at is None:
                machine.end(duty, use.first, "overtaken")
            machine.close(duty)
        if not use.assumed:
            machine.charges.clear()
        self._owe(machine, use)

    def _taken_back(self, machine: Machine, duty: Duty, start: Instant, before: Use | None) -> None:
        """A charge at or after an assumed start is the next use's; an earlier one of the closing may still count."""
        earlier = [at for at in before.charges if at < start] if before and before.name == duty.opened_by else []
        if earlier:
            machine.end(duty, earlier[-1], "met")
        else:
            machine.end(duty, start, "overtaken")

    def went_on(self, machine: Machine, use: Use) -> None:
        machine.charges.clear()
        super().went_on(machine, use)

    def latest(self, machine: Machine, since: Instant) -> Instant | None:
        closing = [at for at in machine.charges if at >= since]
        if machine.use is not None:
            machine.use.charges = closing
        return closing[-1] if closing else None


RULE = _Charge()
