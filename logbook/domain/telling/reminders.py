"""The one reminder a cleaner gets: while they are still there, and never outside the night worked.

`remind_before` a duty's due instant; or, where nothing was told, that long before the night's end. Never later than
the due instant, and never outside the night and its grace.
"""

from __future__ import annotations

import msgspec

from logbook.domain.calendar import after
from logbook.domain.instants import Instant
from logbook.domain.machine import FOREVER, Duty, Machine
from logbook.domain.telling.facts import OF_A_USE


class Due(msgspec.Struct, frozen=True):
    """A reminder of one duty: `at` to be sent, `until` it makes sense; `untold`: nothing was said of that night."""

    duty: Duty
    at: Instant
    until: Instant
    untold: bool = False


def reminders(machine: Machine, now: Instant) -> list[Due]:
    """Every reminder that is still to come, or whose time has come and whose due instant has not."""
    policy = machine.policy(now) if machine.site else None
    if policy is None or not policy.flag("remind"):
        return []
    coming = []
    for name in OF_A_USE:
        for duty in machine.open_duties(name):
            at = duty.due - policy.remind_before
            if duty.due > now and _worked(machine, duty, at):
                coming.append(Due(duty, max(at, duty.opened_at), duty.due))
    for night in machine.open_duties("night"):
        ends = _ends(machine, night)
        if ends is None:
            continue
        # Nothing told at all: while the cleaner is still there. Something told: there is time until it is due.
        untold = not any(at >= night.opened_at - policy.night_window for at, _seq in machine.last.values())
        until = ends if untold else night.due
        if now < until:
            coming.append(Due(night, until - policy.remind_before, until, untold=untold))
    return coming


def _ends(machine: Machine, night: Duty) -> Instant | None:
    calendar = machine.book.nights(night.site, night.opened_at)
    found = calendar.first_after(night.opened_at - 1) if calendar is not None else None
    return found.ends if found is not None else None


def _worked(machine: Machine, duty: Duty, at: Instant) -> bool:
    """Whether `at` lies in the night that is worked: an expected one with its grace, or else the use just ended.

    A machine without a calendar has no expected night; there only a put-away tells that somebody is still near.
    """
    use = machine.use
    put_away = use.put_away if use is not None and use.name == duty.opened_by else None
    calendar = machine.book.nights(duty.site, duty.opened_at)
    if calendar is None:
        return put_away is not None and put_away <= at <= duty.due
    policy = machine.policy(duty.opened_at)
    night = calendar.around(at)
    if night is None:
        ended = [each for each in calendar.between(at - 2 * 86_400_000_000, at) if each.ends <= at]
        if not ended:
            return False
        zone = machine.book.zone(duty.site, duty.opened_at)
        return at <= after(ended[-1].ends, policy.night_grace, zone, policy.day_turns)
    return True


def next_reminder(machine: Machine, now: Instant) -> Instant:
    """When the next reminder is to be thought of, after `now`; FOREVER if none is."""
    return min((due.at for due in reminders(machine, now) if due.at > now), default=FOREVER)
