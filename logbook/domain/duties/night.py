"""night: on an expected night somebody says that the machine was put away, or that it was not used.

Silence is the commonest fault of all, and nothing else would notice it. Its identity is `SITE/2026-03-07`, the
local date on which the night begins. What is said after the due instant does not make the night told in time.
"""

from __future__ import annotations

from logbook.domain.history import Entry
from logbook.domain.machine import Machine, on, on_night

DUTY = "night"
_KEPT = 8


@on_night
def begun(machine: Machine) -> None:
    """An expected night begins now, unless the machine is out of service."""
    begins = machine.night_next
    policy = machine.policy(begins)
    if DUTY not in policy.on or not machine.in_service:
        return
    due = machine.later(machine.night_ends, policy.night_grace, policy, begins)
    duty = machine.open(DUTY, f"{machine.site}/{machine.night_date}", begins, due)
    if duty is None:
        return
    since = begins - policy.night_window
    for at in machine.nightly:
        if at >= since:
            machine.finish(duty, at, "met")
            return


@on("put_away", "not_used")
def told(machine: Machine, entry: Entry) -> None:
    """The first word of the night, up to and at its due instant."""
    at = entry.occurred_at
    machine.nightly.append(at)
    del machine.nightly[:-_KEPT]
    for duty in machine.open_duties(DUTY):
        if at <= duty.due:
            machine.finish(duty, at, "met")
