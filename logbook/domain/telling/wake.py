"""When the clock must look at a machine again: the soonest of what time alone brings about."""

from __future__ import annotations

from collections.abc import Iterable

from logbook.domain.instants import Instant
from logbook.domain.machine import FOREVER
from logbook.domain.telling.facts import before_night
from logbook.domain.telling.reminders import next_reminder
from logbook.domain.watchman import Watchman


def next_wake(watchman: Watchman, now: Instant, steps: Iterable[Instant]) -> Instant | None:
    """The next instant: due, settled, a night, a reminder, a step of escalation, not charged before a night. Or None.

    `steps`: when live alerts take their next step.
    """
    soonest = min(
        watchman.next_moment(),
        next_reminder(watchman.machine, now),
        before_night(watchman.machine, now),
        min(steps, default=FOREVER),
    )
    return None if soonest >= FOREVER else soonest
