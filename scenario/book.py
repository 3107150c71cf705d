"""What is written down while the nights are made up: texts, entries, and what a clock ought to notice.

A `Book` keeps three lists that grow side by side. It decides nothing: whoever makes up a night knows what was meant
by a text, and says so here. Ids come from the seed, so that the same seed gives the same bytes.
"""

from __future__ import annotations

import random
import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from scenario.fleet import Person


@dataclass
class Entry:
    """One entry, as it is meant."""

    id: str
    machine: str
    kind: str
    occurred: datetime
    recorded: datetime
    reporter: str
    channel: str
    data: dict[str, Any]
    struck_at: datetime | None = None


@dataclass(frozen=True)
class Text:
    """One arrival from the gateway, which stamps when it came."""

    id: str
    at: datetime
    sender: str
    text: str
    made: tuple[Entry, ...] = ()
    """What it means; nothing for one that must be refused."""
    undo: bool = False


@dataclass(frozen=True)
class Meant:
    """What one part of a text means: an act, when it was done (None: when the text came), its data."""

    machine: str
    kind: str
    at: datetime | None = None
    data: dict[str, Any] = field(default_factory=dict)


@dataclass
class Expected:
    """An alert that a clock which never sleeps must write, and why it must.

    `ends` finds, among all entries, when the alert is cleared and with which outcome; None: nothing ever does.
    """

    machine: str
    duty: str
    opened_by: str
    due: datetime
    raised: datetime
    why: str
    ends: Callable[[Sequence[Entry]], tuple[datetime, str] | None] = lambda _entries: None


class Book:
    """Everything that was said and posted, and everything that ought to follow."""

    def __init__(self, rng: random.Random) -> None:
        self._rng = rng
        self.entries: list[Entry] = []
        self.texts: list[Text] = []
        self.expected: list[Expected] = []

    def new_id(self) -> str:
        """A UUID from the seed."""
        return str(uuid.UUID(int=self._rng.getrandbits(128), version=4))

    def say(self, who: Person, at: datetime, text: str, *meant: Meant) -> list[Entry]:
        """A text arrives at `at`; without `meant` it is one that must be refused. The entries come back."""
        at = at.replace(microsecond=0)
        text_id = self.new_id()
        made = [
            Entry(self.new_id(), one.machine, one.kind, one.at or at, at, who.key, "text", dict(one.data))
            for one in meant
        ]
        self.texts.append(Text(text_id, at, who.phone, text, tuple(made)))
        self.entries += made
        return made

    def again(self, at: datetime) -> None:
        """The gateway delivers the last text once more, under the same id: nothing new is meant by it."""
        last = self.texts[-1]
        self.texts.append(Text(last.id, at.replace(microsecond=0), last.sender, last.text, last.made))

    def undo(self, who: Person, at: datetime, text: str, struck: Sequence[Entry]) -> None:
        """The sender takes the last text back: a `void` for each entry that it made."""
        at = at.replace(microsecond=0)
        self.texts.append(Text(self.new_id(), at, who.phone, text, undo=True))
        for entry in struck:
            self._strike(entry, at, who, "text", "undo")

    def post(self, who: Person, machine: str, kind: str, at: datetime, **data: Any) -> Entry:
        """A supervisor enters something on a page, at the moment at which it happens."""
        at = at.replace(microsecond=0)
        entry = Entry(self.new_id(), machine, kind, at, at, who.key, "form", data)
        self.entries.append(entry)
        return entry

    def strike(self, who: Person, entry: Entry, at: datetime, why: str) -> None:
        """A supervisor strikes an entry on a page."""
        self._strike(entry, at.replace(microsecond=0), who, "form", why)

    def _strike(self, entry: Entry, at: datetime, who: Person, channel: str, why: str) -> None:
        entry.struck_at = at
        data = {"entry": entry.id, "why": why}
        self.entries.append(Entry(self.new_id(), entry.machine, "void", at, at, who.key, channel, data))

    def close(self, machine: str, retired: datetime) -> None:
        """A machine has left: what would have been entered or noticed of it afterwards does not come."""
        self.entries = [e for e in self.entries if e.machine != machine or e.recorded <= retired]
        self.expected = [one for one in self.expected if one.machine != machine or one.raised <= retired]

    def expect(self, expected: Expected) -> None:
        """Something that must be noticed."""
        self.expected.append(expected)
