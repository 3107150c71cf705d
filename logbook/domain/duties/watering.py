"""watering: once a week on a flooded battery, with distilled water (common practice, no source).

Plates that fall dry are lost for good. Another battery overtakes the old one's turn.
"""

from __future__ import annotations

from logbook.domain.duties.recurring import Recurring
from logbook.domain.history import Entry
from logbook.domain.machine import Machine, on

DUTY = "watering"


class _Watering(Recurring):
    def __init__(self) -> None:
        super().__init__(DUTY, "watering")
        on("battery_fitted")(self.fitted)

    def wanted(self, machine: Machine) -> bool:
        return machine.battery == "flooded"

    def fitted(self, machine: Machine, entry: Entry) -> None:
        """Another battery: the old one's thirst is nobody's any more."""
        for duty in machine.open_duties(DUTY):
            machine.finish(duty, entry.occurred_at, "overtaken")
        self.open(machine, entry)


RULE = _Watering()
