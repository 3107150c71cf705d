"""segments_gone: a head with no abrasive left. Running it grinds steel on the floor (common practice, no source).

Opened by such a reading, and again by each start while the last reading has one; due at once.
"""

from __future__ import annotations

from logbook.domain.history import Entry
from logbook.domain.machine import Machine, on

DUTY = "segments_gone"


def _open(machine: Machine, entry: Entry) -> None:
    if DUTY in machine.policy(entry.recorded_at).on:
        machine.open(DUTY, entry.name, entry.occurred_at, entry.recorded_at)


def _end(machine: Machine, entry: Entry) -> None:
    for duty in machine.open_duties(DUTY):
        machine.finish(duty, entry.occurred_at, "met")


@on("segments")
def read(machine: Machine, entry: Entry) -> None:
    """A reading with a head at 0 opens one; a reading with every head above 0 ends all."""
    machine.segment_gone = min(entry.data["left_um"]) == 0
    if machine.segment_gone:
        _open(machine, entry)
    else:
        _end(machine, entry)


@on("segment_change")
def changed(machine: Machine, entry: Entry) -> None:
    """New segments end it."""
    machine.segment_gone = False
    _end(machine, entry)


@on("start")
def started(machine: Machine, entry: Entry) -> None:
    """Started with a bare head: each time is a matter of its own."""
    if machine.segment_gone:
        _open(machine, entry)
