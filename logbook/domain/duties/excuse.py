"""An excuse ends one duty, by a supervisor's word. It never counts as kept."""

from __future__ import annotations

from logbook.domain.duties import filter, segments, watering
from logbook.domain.duties.recurring import Recurring
from logbook.domain.history import Entry
from logbook.domain.machine import Machine, on

_RECURRING: dict[str, Recurring] = {rule.DUTY: rule.RULE for rule in (watering, filter, segments)}


@on("excused")
def excused(machine: Machine, entry: Entry) -> None:
    """Ends the duty at the excuse's own instant, if it was open then; a recurring one opens anew from it."""
    name, opened_by, at = entry.data["duty"], entry.data["opened_by"], entry.occurred_at
    machine.excuses.setdefault(f"{name} {opened_by}", at)
    duty = machine.member(name, opened_by)
    if duty is None or at < duty.opened_at:
        return
    if name in _RECURRING:
        if duty.ended_at is None:
            _RECURRING[name].excused(machine, duty, entry)
        return
    if duty.excused_at is None:
        duty.excused_at = at
    if duty.ended_at is None:
        if name in ("rinse", "squeegee", "charge"):
            machine.end(duty, at, "excused")
        else:
            machine.finish(duty, at, "excused")
