"""One step of the clock: read, decide, write. `step(now)` may be called at any instant, by any process, any often.

Machines whose due instant has come are attended to, each in a transaction of its own; then what people are to be
told is gathered into messages, and the letters that are due are written. Nothing is sent here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

from sqlalchemy import Connection

from logbook.domain.instants import Instant
from logbook.domain.machine import FOREVER
from logbook.intake import Intake
from logbook.store import clock as signs
from logbook.store import dues, meta
from logbook.store import notices as shelf
from logbook.store.registry import FLEET
from logbook.watch.attend import Attention
from logbook.watch.gather import Post, gather
from logbook.watch.keeping import Erased, erase_old
from logbook.watch.letters import Letters

AT_ONCE = 64
"""Machines attended to in one transaction: a commit waits for the disk once for all of them."""


@dataclass(slots=True)
class Stepped:
    """What one step did, and when the next has something to do (None: as far as is known, never)."""

    at: Instant
    machines: int = 0
    raised: int = 0
    cleared: int = 0
    passed_on: int = 0
    messages: int = 0
    next_at: Instant | None = None


def step(post: Post, now: Instant) -> Stepped:
    """Act at `now`. Whatever is due is done, however late the clock is."""
    intake = post.intake
    done = Stepped(now)
    with intake.store.read() as connection:
        founded = meta.of(connection, FLEET) is not None
    if not founded:
        intake.store.write(lambda connection: signs.put(connection, "step", now))
        return done
    while True:
        with intake.store.read() as connection:
            reached = [machine for machine, _at in dues.reached(connection, now, most=AT_ONCE)]
        if not reached:
            break
        attended = intake.store.write(partial(_attend, intake, tuple(reached), now))
        for attention in attended:
            done.machines += 1
            done.raised += attention.raised
            done.cleared += attention.cleared
            done.passed_on += attention.passed_on
    done.messages, erased = intake.store.write(lambda connection: _tell(post, connection, now))
    if erased is not None and erased.any:
        intake.store.scrub()
    with intake.store.read() as connection:
        register = intake.registry.current(connection)
        moments = [
            dues.next_at(connection),
            shelf.next_at(connection),
            Letters(post, connection, register, now).next_at(),
        ]
        soonest = min((moment for moment in moments if moment is not None), default=FOREVER)
        done.next_at = None if soonest >= FOREVER else soonest
    return done


def _attend(intake: Intake, machines: tuple[str, ...], now: Instant, connection: Connection) -> list[Attention]:
    attended = []
    for machine in sorted(machines):
        at = dues.of(connection, machine)
        if at is None or at > now:
            continue  # another clock was here first
        attention = Attention(intake, connection, machine, now)
        attention.attend()
        attended.append(attention)
    return attended


def _tell(post: Post, connection: Connection, now: Instant) -> tuple[int, Erased | None]:
    # Before anything is looked at: where clocks run side by side, the second waits here until the first has told
    # what there was. Else each would gather a part of what was ready for one person into a message of its own.
    signs.put(connection, "step", now)
    queued = gather(post, connection, now)
    register = post.intake.registry.current(connection)
    queued += Letters(post, connection, register, now).write()
    return queued, erase_old(post.intake, connection, now)
