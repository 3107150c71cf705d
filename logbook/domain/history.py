"""The effective history: the entries that count, in the order in which things happened.

An entry is *recorded* in one order (`seq`) and *happened* in another (`occurred_at`, then `seq`); a `void` takes
one out again. This file holds the entry as the fold sees it, and the list that keeps that second order.
It never decides what an entry means.
"""

from __future__ import annotations

from bisect import bisect_right, insort
from collections.abc import Iterator
from typing import Any

import msgspec

from logbook.domain.instants import Instant

Position = tuple[Instant, int]
"""Where an entry stands in the effective order: (occurred_at, seq)."""

BEGINNING: Position = (-(2**62), 0)


class Entry(msgspec.Struct, gc=False):
    """One entry as the fold sees it.

    `name` is the id by which a duty that it opens is known: its own, or that of the first entry in the chain of
    corrections it belongs to.
    """

    seq: int
    id: str
    kind: str
    occurred_at: Instant
    recorded_at: Instant
    name: str
    data: dict[str, Any]
    role: str = ""

    @property
    def position(self) -> Position:
        """Its place in the effective order."""
        return (self.occurred_at, self.seq)


def _position(entry: Entry) -> Position:
    return (entry.occurred_at, entry.seq)


class History:
    """The effective history of one machine, in memory, in effective order."""

    __slots__ = ("_entries", "_names", "_places")

    def __init__(self) -> None:
        self._entries: list[Entry] = []
        self._places: dict[str, Position] = {}
        self._names: dict[str, str] = {}

    def add(self, entry: Entry) -> Position:
        """Put an entry where it happened, resolving its name; a `void` also takes its target out.

        Returns the earliest position at which the history is now different.
        """
        first = entry.data.get("corrects") if entry.data else None
        if first is not None:
            if entry.name == entry.id:  # else whoever brings it knows the first of its chain already
                entry.name = self._names.get(first, first)
            self._names[entry.id] = entry.name
        place = (entry.occurred_at, entry.seq)
        changed = place
        if entry.kind == "void":
            struck = self._places.pop(entry.data["entry"], None)
            if struck is not None:
                del self._entries[bisect_right(self._entries, struck, key=_position) - 1]
                changed = min(changed, struck)
        entries = self._entries
        if not entries or (entries[-1].occurred_at, entries[-1].seq) < place:
            entries.append(entry)
        else:
            insort(entries, entry, key=_position)
        self._places[entry.id] = place
        return changed

    def after(self, position: Position) -> Iterator[Entry]:
        """The entries behind a position, in effective order."""
        entries = self._entries
        for index in range(bisect_right(entries, position, key=_position), len(entries)):
            yield entries[index]
