"""What is owed on a machine now: the open duties, and those that putting it away now would open.

Every answer to a text and every page says it, so it is one function. The supposed put-away is tried on a copy: the
machine itself learns nothing from it.
"""

from __future__ import annotations

import msgspec

from logbook.domain.history import Entry
from logbook.domain.instants import DAY, Instant
from logbook.domain.machine import Duty, Machine
from logbook.domain.telling.facts import OF_A_USE

_SIGNS_OF_USE = ("start", "unplug", "empty", "fill", "rinse", "squeegee", "wipe", "prepared", "charge")

_CLOSING = {
    "empty": ("rinse",), "rinse": ("rinse",), "squeegee": ("squeegee",), "charge": ("charge",),
    "wipe": ("rinse", "squeegee", "charge"),
}  # fmt: skip
"""What a machine owes after a use, by the acts that go with it."""


class Owed(msgspec.Struct, frozen=True):
    """One duty owed. `due` None: it would be due a while after a put-away that is still to come."""

    duty: str
    opened_by: str
    due: Instant | None
    late: bool


def is_out(machine: Machine, now: Instant) -> bool:
    """Whether the machine is in use, as far as is known: an open use, or acts of one since it was last put away."""
    use = machine.use
    if use is not None and use.put_away is None and now <= use.cut_off:
        return True
    closing = machine.policy(now).closing
    signs = [kind for kind in _SIGNS_OF_USE if kind in machine.last and not _made_up_for(machine, kind)]
    latest = max((machine.last[kind][0] for kind in signs), default=None)
    if latest is None or now - latest > closing:
        return False
    put_away = machine.put_away_at
    # What is done within `closing` of a put-away belongs to it, unless the machine was taken out again.
    return put_away is None or (latest > put_away and (machine.stirred or now - put_away > closing))


def _made_up_for(machine: Machine, kind: str) -> bool:
    """Whether the latest act of this kind was still owed for the use that is over: done late, it begins no other."""
    use, at = machine.use, machine.last[kind][0]
    if use is None or use.put_away is None or at <= use.put_away:
        return False
    owed = (machine.member(duty, use.name) for duty in _CLOSING.get(kind, ()))
    return any(duty is not None and (duty.ended_at is None or duty.ended_at >= at) for duty in owed)


def owed_now(machine: Machine, now: Instant) -> tuple[Owed, ...]:
    """What is owed at `now`, the soonest due first; of a duty owed twice, the older.

    Of a machine in use: what would be owed if it were put away now.
    """
    if machine.retired_at is not None or machine.commissioned_at is None:
        return ()
    supposed, put_away = machine, None
    if is_out(machine, now):
        supposed = Machine.thaw(machine.freeze(), machine.book)
        supposed.hear(Entry(2**61, "", "put_away", now, now, "", {}))
        put_away = supposed.use.name if supposed.use is not None else None
    seen: dict[str, Owed] = {}
    for duty in sorted(supposed.duties(), key=lambda each: each.due):
        if duty.ended_at is not None:
            continue
        if duty.duty in OF_A_USE and duty.opened_by == put_away:
            late = _late_already(machine, duty, now)
            seen.setdefault(duty.duty, Owed(duty.duty, duty.opened_by, now if late else None, late))
        else:
            seen.setdefault(duty.duty, Owed(duty.duty, duty.opened_by, duty.due, duty.due <= now))
    return tuple(seen.values())


def _late_already(machine: Machine, duty: Duty, now: Instant) -> bool:
    """A use that nobody put away in time owes late, whatever a put-away now would say."""
    known = machine.standing.get(duty.duty, {}).get(duty.opened_by)
    return known is not None and known.standing(now)


def pressing(owed: tuple[Owed, ...], now: Instant) -> tuple[Owed, ...]:
    """What an answer names: late, due within a day, or owed once the machine is put away.

    A battery that is next watered in six days is owed too, and the page shows it; but an answer that always says the
    same is not read.
    """
    return tuple(each for each in owed if each.due is None or each.due <= now + DAY)
