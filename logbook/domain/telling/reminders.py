"""The one reminder a cleaner gets: while they are still there, and never outside the night worked.

`remind_before` a duty's due instant; or, where nothing was told, that long before the night's end. Never later than
the due instant, and never outside the night and its grace.
"""

from __future__ import annotations

import msgspec

from logbook.domain.calendar import after
from logbook.domain.instants import DAY, Instant
from logbook.domain.machine import FOREVER, Duty, Machine
from logbook.domain.telling.facts import OF_A_USE


class Due(msgspec.Struct, frozen=True):
    """A reminder of one duty: to be sent `at`, and never at or after `until`; `by` is what it says.

    `untold`: nothing was said of that night.
    """

    duty: Duty
    at: Instant
    by: Instant
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
            at = max(duty.due - policy.remind_before, duty.opened_at)
            until = _worked_until(machine, duty, at)
            if until is not None and now < min(duty.due, until):
                coming.append(Due(duty, at, duty.due, min(duty.due, until)))
    for night in machine.open_duties("night"):
        ends = _ends(machine, night)
        if ends is None:
            continue
        # Nothing told at all: while the cleaner is still there. Something told: there is time until it is due.
        untold = not any(at >= night.opened_at - policy.night_window for at, _seq in machine.last.values())
        until = ends if untold else night.due
        if now < until:
            coming.append(Due(night, until - policy.remind_before, until, until, untold=untold))
    return coming


def _ends(machine: Machine, night: Duty) -> Instant | None:
    calendar = machine.book.nights(night.site, night.opened_at)
    found = calendar.first_after(night.opened_at - 1) if calendar is not None else None
    return found.ends if found is not None else None


def _worked_until(machine: Machine, duty: Duty, at: Instant) -> Instant | None:
    """Until when the night is worked in which `at` lies: an expected one with its grace, or else the use just ended.

    None if `at` lies in none. A machine without a calendar has no expected night; there only a put-away tells that
    somebody is still near.
    """
    use = machine.use
    put_away = use.put_away if use is not None and use.name == duty.opened_by else None
    calendar = machine.book.nights(duty.site, duty.opened_at)
    if calendar is None:
        return duty.due if put_away is not None and put_away <= at <= duty.due else None
    policy = machine.policy(duty.opened_at)
    night = calendar.around(at)
    if night is None:
        ended = [each for each in calendar.between(at - 2 * DAY, at) if each.ends <= at]
        if not ended:
            return None
        night = ended[-1]
    until = after(night.ends, policy.night_grace, machine.book.zone(duty.site, duty.opened_at), policy.day_turns)
    return until if at <= until else None


def next_reminder(machine: Machine, now: Instant) -> Instant:
    """When the next reminder is to be thought of, after `now`; FOREVER if none is."""
    return min((due.at for due in reminders(machine, now) if due.at > now), default=FOREVER)
