"""segments_low: at or under the reorder length, 1/4 in of abrasive (common practice, no source): order now.

Opened by the first reading that is low, due at once; ended by new segments, by a later reading above, or by an
order for this machine's segments. After a change of segments the readings begin anew.
"""

from __future__ import annotations

from logbook.domain.history import Entry
from logbook.domain.machine import Machine, on

DUTY = "segments_low"


@on("segments")
def read(machine: Machine, entry: Entry) -> None:
    """A reading: low when its least head is at or under the reorder length and there is still some left."""
    at, policy = entry.occurred_at, machine.policy(entry.recorded_at)
    least, before = min(entry.data["left_um"]), machine.least_um
    machine.least_um = least
    for duty in machine.open_duties(DUTY):
        if least > duty.mark:
            machine.finish(duty, at, "met")
    if DUTY in policy.on and 0 < least <= policy.reorder_um and (before is None or before > policy.reorder_um):
        opened = machine.open(DUTY, entry.name, at, entry.recorded_at)
        if opened is not None:
            opened.mark = policy.reorder_um


@on("segment_change")
def changed(machine: Machine, entry: Entry) -> None:
    """New segments: earlier readings say nothing of them."""
    machine.least_um = None
    for duty in machine.open_duties(DUTY):
        machine.finish(duty, entry.occurred_at, "met")


@on("ordered")
def ordered(machine: Machine, entry: Entry) -> None:
    """An order for this machine's segments: by name, by their part number, or by naming nothing else."""
    part = entry.data.get("part")
    if part not in (None, "segments"):
        fit = machine.book.segments(entry.recorded_at)
        if fit is None or fit.part != part:
            return
    for duty in machine.open_duties(DUTY):
        machine.finish(duty, entry.occurred_at, "met")
