"""prepared: the look-over before each start. Off unless switched on.

Met by a `prepared` from `prepared.window` before that start on; each serves one start only.
"""

from __future__ import annotations

from logbook.domain.history import Entry
from logbook.domain.machine import Machine, on

DUTY = "prepared"
_KEPT = 16  # more look-overs than anybody makes within one window


@on("start")
def started(machine: Machine, entry: Entry) -> None:
    """A start takes the earliest look-over of its window that has served no other."""
    at, policy = entry.occurred_at, machine.policy(entry.recorded_at)
    if DUTY not in policy.on:
        return
    due = machine.later(at, policy.duration("prepared.grace"), policy, entry.recorded_at)
    duty = machine.open(DUTY, entry.name, at, due)
    if duty is None:
        return
    since = at - policy.prepared_window
    for index, done in enumerate(machine.prepared):
        if done >= since:
            del machine.prepared[index]
            machine.finish(duty, done, "met")
            return


@on("prepared")
def looked_over(machine: Machine, entry: Entry) -> None:
    """A look-over serves the earliest start that waits for one, else the next."""
    waiting = machine.open_duties(DUTY)
    if waiting:
        machine.finish(waiting[0], entry.occurred_at, "met")
        return
    machine.prepared.append(entry.occurred_at)
    del machine.prepared[:-_KEPT]
