"""What goes in at the door, and what comes back: drafts, who brings them, and the receipt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from logbook.domain.instants import Instant
from logbook.domain.owed import Owed


@dataclass(frozen=True, slots=True)
class By:
    """Who reports: a person of the register by uuid, or None; in which role; by which channel."""

    person: str | None
    role: str
    channel: str


CLOCK = By(None, "clock", "clock")
PROGRAM = By(None, "program", "program")


@dataclass(frozen=True, slots=True)
class Draft:
    """An entry that somebody wants recorded. `log`: the machine's (or the fleet's) uuid.

    `occurred_at` None: at the instant of recording. `id`: a UUID given by whoever first wrote it down. `merge`: this
    act may have come by another way already, under this id; then what came first stands, whatever this one adds to it.
    """

    id: str
    log: str
    kind: str
    data: Mapping[str, Any] = field(default_factory=dict)
    occurred_at: Instant | None = None
    version: int | None = None
    merge: bool = False


@dataclass(frozen=True, slots=True)
class Written:
    """An entry as it now stands in the log. `repeated`: it stood there already. `late`: recorded late, for ever."""

    id: str
    log: str
    seq: int
    kind: str
    occurred_at: Instant
    recorded_at: Instant
    repeated: bool = False
    late: bool = False


@dataclass(frozen=True, slots=True)
class Receipt:
    """The answer to what was recorded: each entry, what is still owed on each machine, when the clock is needed next.

    `next_at` is that of these machines alone; None where nothing will fall due on them.
    """

    entries: tuple[Written, ...]
    owed: Mapping[str, tuple[Owed, ...]]
    next_at: Instant | None = None
