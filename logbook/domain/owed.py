"""What is owed on a machine now: the open duties, and those that putting it away now would open.

Every answer to a text and every page says it, so it is one function. The supposed put-away is tried on a copy: the
machine itself learns nothing from it.
"""

from __future__ import annotations

import msgspec

from logbook.domain.history import Entry
from logbook.domain.instants import Instant
from logbook.domain.machine import Duty, Machine
from logbook.domain.telling.facts import OF_A_USE

_SIGNS_OF_USE = ("start", "unplug", "empty", "fill", "rinse", "squeegee", "wipe", "prepared", "charge")


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
    latest = max((machine.last[kind][0] for kind in _SIGNS_OF_USE if kind in machine.last), default=None)
    if latest is None or now - latest > closing:
        return False
    put_away = machine.put_away_at
    # What is done within `closing` of a put-away belongs to it, unless the machine was taken out again.
    return put_away is None or (latest > put_away and (machine.stirred or now - put_away > closing))


def owed_now(machine: Machine, now: Instant) -> tuple[Owed, ...]:
    """What is owed at `now`, the oldest due instant first; of a duty owed twice, the older."""
    if machine.retired_at is not None or machine.commissioned_at is None:
        return ()
    seen: dict[str, Owed] = {}
    for duty in sorted(machine.duties(), key=lambda each: each.due):
        if duty.ended_at is None and not _still_out(machine, duty, now):
            seen.setdefault(duty.duty, Owed(duty.duty, duty.opened_by, duty.due, duty.due <= now))
    if is_out(machine, now):
        supposed = Machine.thaw(machine.freeze(), machine.book)
        supposed.hear(Entry(2**61, "", "put_away", now, now, "", {}))
        for duty in supposed.duties():
            if duty.duty in OF_A_USE and duty.ended_at is None:
                seen.setdefault(duty.duty, Owed(duty.duty, duty.opened_by, None, False))
    return tuple(seen.values())


def _still_out(machine: Machine, duty: Duty, now: Instant) -> bool:
    """A duty of the use that is still going on is owed only if putting it away now would leave it so."""
    use = machine.use
    return (
        duty.duty in OF_A_USE
        and use is not None
        and duty.opened_by == use.name
        and use.put_away is None
        and duty.due > now
    )
