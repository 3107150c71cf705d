"""From a machine and one of its duties to the item that people read, and to what a night's alert takes along."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from logbook.domain.instants import Instant
from logbook.domain.machine import FOREVER, Duty, Machine
from logbook.domain.telling.items import Act, Item, Tell

OF_A_USE = ("rinse", "squeegee", "charge")
_MATTERS: dict[str, tuple[str, ...]] = {
    "rinse": ("start", "put_away", "empty", "rinse"),
    "squeegee": ("start", "put_away", "squeegee"),
    "charge": ("start", "put_away", "charge", "unplug"),
    "watering": ("watering", "charge", "put_away"),
    "filter": ("filter", "put_away"),
    "prepared": ("start", "prepared"),
    "segments": ("segments", "segment_change"),
    "segments_low": ("segments", "segment_change"),
    "segments_gone": ("segments", "start"),
    "fault": ("fault", "repair_requested"),
    "repair": ("repair_requested", "fault"),
    "held_start": ("start", "held", "out_of_service"),
    "delivery": (),
    "night": ("put_away", "start", "charge"),
}


def night_of(machine: Machine, duty: Duty) -> Duty | None:
    """The untold expected night to which a use's duty belongs, if that night stands open: it speaks for both."""
    if duty.duty not in OF_A_USE:
        return None
    for night in machine.open_duties("night"):
        window = machine.policy(night.opened_at).night_window
        if night.opened_at - window <= duty.opened_at <= night.due:
            return night
    return None


def along(machine: Machine, night: Duty) -> list[str]:
    """The use duties that a night's alert speaks for: those of the same machine-night that have not ended."""
    found = []
    for name in OF_A_USE:
        for duty in machine.open_duties(name):
            if night_of(machine, duty) is night and name not in found:
                found.append(name)
    return found


def nights_running(machine: Machine, night: Duty) -> int:
    """How many expected nights running, up to and with this one, nobody said anything about."""
    untold = {duty.opened_at for duty in machine.open_duties("night") if duty.opened_at <= night.opened_at}
    calendar = machine.book.nights(night.site, night.opened_at)
    if calendar is None:
        return 1
    first = min(untold, default=night.opened_at)
    running = 0
    for expected in reversed(calendar.between(first - 1, night.opened_at)):
        if expected.begins not in untold:
            break
        running += 1
    return max(running, 1)


def uncharged(machine: Machine) -> Duty | None:
    """The charge still owed by the latest use that was put away, if it stands."""
    use = machine.use
    if use is None or use.put_away is None:
        return None
    duty = machine.standing.get("charge", {}).get(use.name)
    return duty if duty is not None and duty.ended_at is None else None


def before_night(machine: Machine, now: Instant) -> Instant:
    """When a machine that is not on charge is to be told of before its next night, if after `now`; else FOREVER."""
    if machine.night_next >= FOREVER or uncharged(machine) is None:
        return FOREVER
    at = machine.night_next - machine.policy(now).charge_before_night
    return at if at > now else FOREVER


def tell_of(machine: Machine, duty: Duty, now: Instant) -> Tell:
    """How an alert of this duty is told; so many nights running without a word are urgent."""
    policy = machine.policy(now)
    if duty.duty == "night" and nights_running(machine, duty) >= policy.number("nights_untold_urgent"):
        return "urgent"
    tell: Tell = policy.tell(duty.duty)  # type: ignore[assignment]  # policy's check allows only these words
    return tell


Look = Callable[[int], tuple[str, dict[str, Any]]]
"""Looks an entry of the machine up by its seq: (role of who reported it, data)."""


def item_of(
    machine: Machine, duty: Duty, look: Look, *, uuid: str, code: str, site_name: str, zone: str, number: int,
    raised_at: Instant, tell: Tell, serial: int | None = None, outcome: str | None = None,
) -> Item:  # fmt: skip
    """Everything that a message about this alert may say, taken from the machine as it is now."""
    acts = {kind: machine.last[kind] for kind in _MATTERS.get(duty.duty, ()) if kind in machine.last}
    item = Item(
        duty=duty.duty, opened_by=duty.opened_by, machine=uuid, code=code, site=duty.site, site_name=site_name,
        zone=zone, opened_at=duty.opened_at, due_at=duty.due, raised_at=raised_at, tell=tell, number=number,
        serial=serial, outcome=outcome, last={kind: Act(at, look(seq)[0]) for kind, (at, seq) in acts.items()},
    )  # fmt: skip
    if machine.night_next < FOREVER:
        item.next_night = machine.night_next
    if duty.duty == "rinse" and "empty" in acts:
        item.emptied = acts["empty"][0] >= duty.opened_at
    if duty.duty in ("charge", "night") and "put_away" in acts:
        item.charge_pct = look(acts["put_away"][1])[1].get("charge_pct")
    if duty.duty in ("segments_low", "segments_gone", "segments") and "segments" in machine.last:
        lengths = look(machine.last["segments"][1])[1]["left_um"]
        item.least_um = min(lengths)
        item.head = lengths.index(item.least_um) + 1 if len(lengths) > 1 else 0
    if duty.duty == "night":
        item.along = along(machine, duty)
        item.nights = nights_running(machine, duty)
    return item
