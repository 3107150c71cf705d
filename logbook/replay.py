"""Replay: the very engine of the live clock, over entries from a file, without waiting and without a database.

It writes what a clock that never sleeps would have written: one that acts at every instant at which something is
recorded, falls due, or has settled.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import groupby
from typing import Any

from logbook.domain.alerts import Decision
from logbook.domain.history import Entry
from logbook.domain.instants import Instant, text
from logbook.domain.machine import Book
from logbook.domain.watchman import Memory, Watchman


def replay_machine(
    book: Book, entries: Iterable[Entry], until: Instant
) -> Iterator[tuple[Instant, Decision]]:
    """What would have been raised and cleared on one machine, up to and at `until`.

    `entries`: that machine's, in order of recording, as intake would have accepted them.
    """
    watchman = Watchman(book, Memory())
    for recorded_at, group in groupby(entries, key=lambda entry: entry.recorded_at):
        if recorded_at > until:
            break
        yield from _wait(watchman, recorded_at - 1)
        watchman.advance(recorded_at - 1)
        watchman.hear(list(group), recorded_at)
        watchman.advance(recorded_at)
        for decision in watchman.decide(recorded_at):
            yield recorded_at, decision
    yield from _wait(watchman, until)


def _wait(watchman: Watchman, until: Instant) -> Iterator[tuple[Instant, Decision]]:
    """Sleep until something falls due or has settled, as often as it happens up to and at `until`."""
    while (moment := watchman.next_moment()) <= until:
        watchman.advance(moment)
        for decision in watchman.decide(moment):
            yield moment, decision


def line(at: Instant, machine: str, decision: Decision) -> dict[str, Any]:
    """A decision as the object that `logbook replay` prints."""
    return {
        "at": text(at),
        "kind": "alert_raised" if decision.outcome is None else "alert_cleared",
        "machine": machine,
        "duty": decision.duty.duty,
        "opened_by": decision.duty.opened_by,
        "number": decision.number,
        "due_at": text(decision.due_at),
        "outcome": decision.outcome,
    }
