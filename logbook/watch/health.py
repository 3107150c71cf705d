"""The clock's own silence is an alert too: how long ago it acted, and what waits, as one small answer.

It asks the database, never the process: a clock that hangs cannot say that it is well.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from logbook.domain.instants import MINUTE, SECOND, Instant, text
from logbook.store import Store, dues, outbox
from logbook.store import clock as signs

OLD: Instant = 3 * MINUTE
"""The clock looks at least once a minute; a step this old means that it has stopped."""


@dataclass(frozen=True, slots=True)
class Health:
    """`well`: the last step is recent, and so is delivery's. Ages in whole seconds, None where it never happened."""

    well: bool
    why: str
    step_age_s: int | None
    delivery_age_s: int | None
    overdue_s: int
    waiting: int
    held: dict[str, str]
    last_step: str | None

    def as_json(self) -> dict[str, Any]:
        """The answer as an object."""
        return asdict(self)


def health(store: Store, now: Instant) -> Health:
    """How the clock is. Raises StoreError if the database cannot be asked."""
    with store.read() as connection:
        step, delivery = signs.of(connection, "step"), signs.of(connection, "delivery")
        due = dues.next_at(connection)
        held = outbox.held(connection)
        waiting = sum(number for (_route, state), number in outbox.counts(connection).items() if state == "waiting")
    step_age = None if step is None else (now - step.at) // SECOND
    delivery_age = None if delivery is None else (now - delivery.at) // SECOND
    late = max(0, now - due) // SECOND if due is not None else 0
    if step is None:
        why = "the clock has never run: start `logbook serve`"
    elif now - step.at > OLD:
        why = f"the clock last acted {step_age} s ago: alerts are not being raised; look after `logbook serve`"
    elif delivery is not None and now - delivery.at > OLD:
        why = f"delivery last acted {delivery_age} s ago: alerts are raised but not sent"
    elif held:
        why = "sending is held: " + "; ".join(f"{route}: {reason}" for route, reason in sorted(held.items()))
    else:
        why = "the clock is running"
    well = why == "the clock is running"
    return Health(well, why, step_age, delivery_age, late, waiting, held, None if step is None else text(step.at))
