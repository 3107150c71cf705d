"""Stories of faults, repairs and orders, with what ought to be noticed of them.

As in `misses`: each function is one story. A fault is to be answered within four hours, a repair made by the noon that
follows five days, an order received by the noon that follows ten.
"""

from __future__ import annotations

from scenario import phrases, walls
from scenario.book import Entry, Meant
from scenario.shift import Shift, told


def _fault(shift: Shift) -> Entry:
    shift.start()
    shift.close(shift.parked)
    note, _mended = shift.rng.choice(phrases.FAULTS[shift.who.language])
    at = shift.after(6)
    return shift.book.say(shift.who, at, f"{shift.code} {note}", Meant(shift.code, "fault", None, {"note": note}))[0]


def _repair(shift: Shift, asked: Entry, days: int) -> Entry:
    note = shift.rng.choice(("hose replaced", "motor replaced", "wheel seal renewed"))
    when = walls.at(shift.site.zone, walls.shown(asked.occurred, shift.site.zone).date() + days * walls.DAY, "14:20")
    return shift.book.post(shift.boss, shift.code, "repaired", when, note=note)


def fault_answered(shift: Shift) -> None:
    """A fault, answered before breakfast and mended within the week: nothing to notice."""
    _fault(shift)
    asked = shift.book.post(shift.boss, shift.code, "repair_requested", shift.morning("07:20"), note="workshop called")
    _repair(shift, asked, shift.rng.randrange(1, 5))


def fault_mended_by_text(shift: Shift) -> None:
    """A fault, answered in time and mended two days later by the cleaner, who says so: nothing to notice."""
    _fault(shift)
    shift.book.post(shift.boss, shift.code, "repair_requested", shift.morning("07:30"), note="part is in the drawer")
    evening = walls.at(shift.site.zone, shift.day + 2 * walls.DAY, "21:15")
    _ill, note = shift.rng.choice(phrases.FAULTS[shift.who.language])
    shift.book.say(shift.who, evening, f"{shift.code} {note}", Meant(shift.code, "repaired", None, {"note": note}))


def fault_unanswered(shift: Shift) -> None:
    """A fault that nobody answers until the afternoon."""
    fault = _fault(shift)
    asked = shift.book.post(shift.boss, shift.code, "repair_requested", shift.morning("14:05"), note="seen only now")
    due = fault.occurred + 4 * walls.HOUR
    shift.expect(
        "fault", fault.id, due, "nobody answered the fault within four hours", ends=told(asked.recorded, "late")
    )
    _repair(shift, asked, shift.rng.randrange(1, 4))


def repair_overdue(shift: Shift) -> None:
    """A repair that was asked for in time and took nine days."""
    _fault(shift)
    asked = shift.book.post(shift.boss, shift.code, "repair_requested", shift.morning("07:25"), note="workshop called")
    mended = _repair(shift, asked, 9)
    due = walls.noon_after(asked.occurred, 5, shift.site.zone)
    shift.expect("repair", asked.id, due, "the repair took nine days", ends=told(mended.recorded, "late"))


def part_ordered(shift: Shift) -> None:
    """A part is ordered and comes within the week: nothing to notice."""
    shift.start()
    shift.close(shift.parked)
    order = shift.book.post(shift.boss, shift.code, "ordered", shift.morning("09:15"), part="squeegee blade", qty=2)
    shift.book.post(shift.boss, shift.code, "received", shift.morning("11:30", 6), order=order.id, qty=2)


def delivery_late(shift: Shift) -> None:
    """A part that takes a fortnight."""
    shift.start()
    shift.close(shift.parked)
    order = shift.book.post(shift.boss, shift.code, "ordered", shift.morning("09:15"), part="squeegee blade", qty=2)
    came = shift.book.post(shift.boss, shift.code, "received", shift.morning("11:30", 15), order=order.id, qty=2)
    due = walls.noon_after(order.occurred, 10, shift.site.zone)
    shift.expect("delivery", order.id, due, "the order took a fortnight", ends=told(came.recorded, "late"))
