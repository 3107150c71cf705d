"""The machine's own facts: where it stands, its battery, whether it may run. They open no duty themselves."""

from __future__ import annotations

from logbook.domain.history import Entry
from logbook.domain.machine import FOREVER, Machine, on


@on("commissioned")
def commissioned(machine: Machine, entry: Entry) -> None:
    """First of every log."""
    machine.commissioned_at = entry.occurred_at
    machine.site, machine.battery = entry.data["site"], entry.data["battery"]
    machine.find_night(entry.occurred_at - 1)


@on("moved")
def moved(machine: Machine, entry: Entry) -> None:
    """Another site: its zone, calendar and numbers hold for what opens from here on."""
    machine.site = entry.data["site"]
    machine.find_night(entry.occurred_at - 1)


@on("battery_fitted")
def battery_fitted(machine: Machine, entry: Entry) -> None:
    """Another battery."""
    machine.battery = entry.data["battery"]


@on("held")
def held(machine: Machine, entry: Entry) -> None:
    """Do not run."""
    machine.held = True


@on("released")
def released(machine: Machine, entry: Entry) -> None:
    """May run again."""
    machine.held = False


@on("out_of_service")
def out_of_service(machine: Machine, entry: Entry) -> None:
    """No night is expected."""
    machine.in_service = False


@on("in_service")
def in_service(machine: Machine, entry: Entry) -> None:
    """Back to work."""
    machine.in_service = True


@on("retired")
def retired(machine: Machine, entry: Entry) -> None:
    """Every open duty is overtaken, and nothing opens after it."""
    for duty in list(machine.duties()):
        if duty.ended_at is None:
            machine.end(duty, entry.occurred_at, "overtaken")
        # A put-away that is still to come says when the last use's duties were due: those are kept.
        if machine.use is None or duty.opened_by != machine.use.name:
            machine.close(duty)
    machine.retired_at = entry.occurred_at
    machine.night_next = FOREVER


@on(
    "start", "put_away", "empty", "rinse", "charge", "unplug", "squeegee", "watering", "filter", "segments",
    "segment_change", "fault", "repair_requested", "repaired", "held", "out_of_service", "fill", "hours",
    "gravity", "prepared", "wipe",
)  # fmt: skip
def remember(machine: Machine, entry: Entry) -> None:
    """What was done last, and when: an alert says it, and the pages do."""
    machine.last[entry.kind] = machine.frontier
