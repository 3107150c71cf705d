"""The watchman: one machine's fold and its alerts, led through time.

It is the engine that the live clock and the replay share. Entries come in order of recording; the watchman finds
out whether they happened in order, goes on from where it stood if they did, and folds again from an earlier copy
if they did not. Time comes by `advance`. Neither writes anything; `decide` says what there is to write.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Protocol

from logbook.domain import duties as _duties  # puts every duty's reactions in place
from logbook.domain.alerts import Decision, Ledger
from logbook.domain.history import BEGINNING, Entry, History, Position
from logbook.domain.instants import Instant
from logbook.domain.machine import FOREVER, Book, Duty, Machine, reacts

__all__ = ["Archive", "Memory", "Watchman", "_duties"]

EVERY = 64
"""A copy of the fold is kept each so many entries: folding again costs at most about as many."""


class Archive(Protocol):
    """Where earlier copies of the fold and the effective history are kept."""

    def add(self, entries: Sequence[Entry]) -> Position:
        """Keep entries; returns the earliest position at which the history is now different."""

    def after(self, position: Position) -> Iterable[Entry]:
        """The effective history behind a position."""

    def copy_before(self, position: Position) -> tuple[Position, bytes | None]:
        """The latest copy with a frontier before `position`, later ones being forgotten; or the beginning."""

    def keep(self, position: Position, copy: Callable[[], bytes]) -> None:
        """Keep a copy of the fold at this frontier."""


class Memory:
    """An archive in memory, for replay."""

    __slots__ = ("_copies", "history")

    def __init__(self) -> None:
        self.history = History()
        self._copies: list[tuple[Position, bytes]] = []

    def add(self, entries: Sequence[Entry]) -> Position:
        """See `Archive`."""
        return self.history.add(entries[0]) if len(entries) == 1 else min(map(self.history.add, entries))

    def after(self, position: Position) -> Iterable[Entry]:
        """See `Archive`."""
        return self.history.after(position)

    def copy_before(self, position: Position) -> tuple[Position, bytes | None]:
        """See `Archive`."""
        while self._copies and self._copies[-1][0] >= position:
            self._copies.pop()
        return self._copies[-1] if self._copies else (BEGINNING, None)

    def keep(self, position: Position, copy: Callable[[], bytes]) -> None:
        """See `Archive`."""
        self._copies.append((position, copy()))


def _nothing_to_bring(_origin: Position) -> None:
    """A ledger in memory holds every record already."""


class Watchman:
    """One machine, watched.

    `before_folding_again` is called with the place from which the history is folded anew, so that a ledger kept
    elsewhere can bring the records which that may change.
    """

    __slots__ = (
        "_next_due", "_soonest", "archive", "before_folding_again", "book", "ledger", "machine", "now", "since_copy",
    )  # fmt: skip

    def __init__(
        self, book: Book, archive: Archive, machine: Machine | None = None, ledger: Ledger | None = None
    ) -> None:
        self.book = book
        self.archive = archive
        self.machine = machine if machine is not None else Machine(book=book)
        self.ledger = ledger if ledger is not None else Ledger()
        self.now: Instant = -FOREVER
        # The first due instant that the clock has yet to come to, and whose it is; None: to be looked for.
        self._next_due: Instant | None = None
        self._soonest: Duty | None = None
        self.since_copy = 0
        self.before_folding_again: Callable[[Position], None] = _nothing_to_bring

    # -- entries ------------------------------------------------------------------------------------------------

    def hear(self, entries: list[Entry], now: Instant) -> None:
        """Take in what was recorded at `now`; all of it counts as one step. Time must have been led there."""
        if now > self.now:
            self.now = now
        earliest = self.archive.add(entries)
        for entry in entries:
            if reacts(entry.kind):
                break
        else:
            return
        if earliest > self.machine.frontier:
            # More than one: they may strike each other, so the archive says which of them count, and in which order.
            if len(entries) == 1:
                self.machine.hear(entries[0])
            else:
                for entry in list(self.archive.after(self.machine.frontier)):
                    self.machine.hear(entry)
            self.since_copy += len(entries)
            self._settle_changes(now)
            if self.since_copy >= EVERY:
                self.since_copy = 0
                self.archive.keep(self.machine.frontier, self.machine.freeze)
            return
        self.fold_again(earliest, now)

    def fold_again(self, earliest: Position, now: Instant) -> None:
        """Something is different from `earliest` on: go back to a copy before it and hear all that follows again."""
        origin, state = self.archive.copy_before(earliest)
        self.before_folding_again(origin)
        machine = Machine(book=self.book) if state is None else Machine.thaw(state, self.book)
        touched: dict[int, Duty] = {id(duty): duty for duty in machine.duties()}
        heard = 0
        for entry in self.archive.after(origin):
            machine.hear(entry)
            heard += 1
            if heard % EVERY == 0:
                touched.update((id(duty), duty) for duty in machine.drain())
                self.archive.keep(machine.frontier, machine.freeze)
        machine.reach(now)
        touched.update((id(duty), duty) for duty in machine.drain())
        self.machine, self.since_copy, self._next_due = machine, heard % EVERY, None
        self.ledger.heard_again([duty for duty in touched.values() if machine.holds(duty)], origin, now)

    def _settle_changes(self, now: Instant) -> None:
        before = None
        for duty in self.machine.drain() if self.machine.changed else ():
            if duty is before:  # opened and ended in one go, it stands there twice
                continue
            self.ledger.hear(duty, now)
            before = duty
            if duty is self._soonest:
                self._next_due = self._soonest = None
            elif self._next_due is not None and duty.due < self._next_due and self._awaited(duty):
                self._next_due, self._soonest = duty.due, duty

    # -- time ---------------------------------------------------------------------------------------------------

    def _settle(self, duty: Duty) -> Instant:
        """How long this duty may settle once it was found overdue, by the numbers in force now at its site."""
        return self.book.policy(duty.site, self.now).settle

    def next_moment(self) -> Instant:
        """The next instant at which there may be something to decide, else FOREVER.

        It lies in the past, or is now, where something was heard that the clock has not answered yet.
        """
        if self._next_due is None:
            self._next_due = self._first_due()
        soonest = min(self._next_due, self.machine.night_next)
        if self.ledger.unsettled:
            if self.ledger.owes_word(self.now):
                return min(soonest, self.now)
            soonest = min(soonest, self.ledger.next_settled(self._settle))
        return soonest

    def _first_due(self) -> Instant:
        soonest, self._soonest = FOREVER, None
        for members in self.machine.standing.values():
            for duty in members.values():
                if duty.due < soonest and self._awaited(duty):
                    soonest, self._soonest = duty.due, duty
        return soonest

    def _awaited(self, duty: Duty) -> bool:
        """Whether the clock has yet to come to this duty's due instant."""
        return duty.ended_at is None and not self.ledger.is_over((duty.duty, duty.opened_by))

    def advance(self, now: Instant) -> None:
        """Lead time up to `now`, noticing what came due on the way, each at its own instant."""
        while True:
            if self._next_due is None:
                self._next_due = self._first_due()
            if self._next_due > now and self.machine.night_next > now:
                break
            moment = max(min(self._next_due, self.machine.night_next), self.now)
            comes_due = self._next_due <= moment
            self.machine.reach(moment)
            self._settle_changes(moment)
            if comes_due:
                self.ledger.came_due(self.machine.duties(), moment)
                self._next_due = None
        self.now = max(self.now, now)

    def decide(self, now: Instant) -> list[Decision]:
        """What to raise and to clear at `now`."""
        self.now = max(self.now, now)
        if not self.ledger.unsettled:
            return []
        return self.ledger.decide(now, self._settle)
