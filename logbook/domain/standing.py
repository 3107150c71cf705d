"""How a machine stands: whether it may be run, and if not, what keeps it from running.

Promises one order for every page, answer and program: what says most outweighs the rest. A machine that is out of
service is expected of nobody, so it comes before one that is merely held; a leader's word comes before a bare head,
because only a leader takes it back. It says how things stand, never what is owed; that is `logbook.domain.owed`.
"""

from __future__ import annotations

from typing import Literal

from logbook.domain.instants import Instant
from logbook.domain.machine import Machine
from logbook.domain.owed import is_out

Stop = Literal["retired", "out_of_service", "held", "bare_head"]
"""What keeps a machine from running. bare_head: a head without abrasive would cut the floor (common practice, no source)."""
Standing = Literal[Stop, "in_use", "ready"]


def stop_of(machine: Machine) -> Stop | None:
    """What keeps it from running, or None if it may be run as far as is known."""
    if machine.retired_at is not None:
        return "retired"
    if not machine.in_service:
        return "out_of_service"
    if machine.held:
        return "held"
    return "bare_head" if machine.segment_gone else None


def standing_of(machine: Machine, now: Instant) -> Standing:
    """How it stands at `now`, to which time must have been led. One that is run although it must not be is stopped."""
    stop = stop_of(machine)
    if stop is not None:
        return stop
    return "in_use" if is_out(machine, now) else "ready"
