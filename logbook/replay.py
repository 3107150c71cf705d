"""Replay: the very engine of the live clock, over entries from a file, without waiting and without a database.

It writes what a clock that never sleeps would have written: one that acts at every instant at which something is
recorded, falls due, or has settled. Machines are led through time one after the other, so that memory holds one
machine's history and the alerts, however long the file is.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from operator import attrgetter
from typing import Any, NamedTuple

from logbook.domain import door, instants
from logbook.domain.alerts import Decision
from logbook.domain.book import MachineBook
from logbook.domain.entries import catalogue
from logbook.domain.fleetentries import register_of
from logbook.domain.fleetfile import FleetFile
from logbook.domain.history import Entry
from logbook.domain.instants import Instant, text
from logbook.domain.machine import FOREVER, Book
from logbook.domain.register import Register
from logbook.domain.watchman import Memory, Watchman


class Line(NamedTuple):
    """One line of an entries file: its number in the file (1 first) and what it says, instants read."""

    number: int
    id: str
    kind: str
    occurred_at: Instant
    recorded_at: Instant
    data: dict[str, Any]


class LineRefused(ValueError):
    """A line that intake would refuse."""

    def __init__(self, number: int, why: str) -> None:
        super().__init__(f"line {number}: {why}")
        self.number = number


# Kinds whose data may be empty: an empty one needs no further look.
_BARE = {kind.kind for kind in catalogue if not any(field.is_required() for field in kind.model_fields.values())}


def _data(line: Line) -> dict[str, Any]:
    kind = door.checked(line.kind, line.data)
    if kind.log != "machine":
        raise door.Refused("wrong_log", f"{line.kind!r} belongs in the fleet's log")
    return kind.model_dump(by_alias=True, exclude_unset=True)


def accepted(lines: Iterable[Line], sites: Mapping[str, Any]) -> Iterator[Entry]:
    """One machine's lines, held against everything that intake holds against them.

    Raises LineRefused at the first that it would refuse.
    """
    kinds: dict[str, tuple[str, Line]] = {}
    latest: Instant | None = None
    seq = 0
    for line in lines:
        try:
            occurred_at = door.settled_time(line.occurred_at, line.recorded_at)
            data = {} if not line.data and line.kind in _BARE else _data(line)
            again = kinds.get(line.id)
            if again is not None:
                if again[1][2:4] + again[1][5:] != line[2:4] + line[5:]:
                    raise door.Refused("id_reused", f"the id {line.id} is another entry's already")
                continue
            if latest is not None and line.recorded_at < latest:
                raise door.Refused("out_of_order", "it was recorded before the line above it on the same machine")
            _fits(line, seq, occurred_at, kinds, data, sites)
        except door.Refused as why:
            raise LineRefused(line.number, str(why)) from None
        latest = line.recorded_at
        seq += 1
        kinds[line.id] = (line.kind, line)
        yield Entry(seq, line.id, line.kind, occurred_at, line.recorded_at, line.id, data)


def _fits(
    line: Line, seq: int, occurred_at: Instant, kinds: Mapping[str, tuple[str, Line]], data: dict[str, Any],
    sites: Mapping[str, Any],
) -> None:  # fmt: skip
    """Whether an entry may follow what the machine's log holds. Raises Refused."""
    if (line.kind == "commissioned") != (seq == 0):
        raise door.Refused("not_commissioned", "a machine's log begins with `commissioned`, once")
    if seq:
        first = next(iter(kinds.values()))[1]
        if occurred_at < first.occurred_at and occurred_at < door.settled_time(first.occurred_at, first.recorded_at):
            raise door.Refused("too_early", "it happened before the machine was commissioned")
    if data.get("corrects") is not None and data["corrects"] not in kinds:
        raise door.Refused("unknown_entry", "the entry to correct is not above it on the same machine")
    if line.kind == "void":
        target = kinds.get(data["entry"])
        door.strikable(target[0] if target is not None else None)
    if line.kind in ("commissioned", "moved") and data["site"] not in sites:
        raise door.Refused("unknown_site", f"there is no site {data['site']!r} in the fleet")


def replay_machine(book: Book, entries: Iterable[Entry], until: Instant) -> Iterator[tuple[Instant, Decision]]:
    """What would have been raised and cleared on one machine, up to and at `until`.

    `entries`: that machine's, in order of recording, as intake would have accepted them.
    """
    watchman = Watchman(book, Memory())
    for recorded_at, group in groupby(entries, key=attrgetter("recorded_at")):
        if recorded_at > until:
            break
        if watchman.next_moment() < recorded_at:
            yield from _wait(watchman, recorded_at - 1)
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


class Said(NamedTuple):
    """An alert raised or cleared; the order of its fields is the order of the output."""

    at: Instant
    machine: str
    duty: str
    opened_by: str
    cleared: bool
    number: int
    due_at: Instant
    outcome: str | None

    def as_json(self) -> dict[str, Any]:
        """The object that `logbook replay` prints."""
        return {
            "at": text(self.at),
            "kind": "alert_cleared" if self.cleared else "alert_raised",
            "machine": self.machine,
            "duty": self.duty,
            "opened_by": self.opened_by,
            "number": self.number,
            "due_at": text(self.due_at),
            "outcome": self.outcome,
        }


def said(at: Instant, machine: str, decision: Decision) -> Said:
    """A decision as a line of output. Must be made at once: the duty it points to goes on changing."""
    duty = decision.duty
    return Said(
        at, machine, duty.duty, duty.opened_by, decision.outcome is not None, decision.number, decision.due_at,
        decision.outcome,
    )  # fmt: skip


def replay_lines(register: Register, lines: Mapping[str, Iterable[Line]], until: Instant) -> list[Said]:
    """Replay every machine's lines. Raises LineRefused for the first line of the file that intake would refuse."""
    found: list[Said] = []
    refused: LineRefused | None = None
    for machine, own in lines.items():
        known = register.by_code.get(machine)
        book = MachineBook(register, known.uuid if known is not None else machine)
        entries = accepted(own, register.sites)
        try:
            if refused is None:
                found += [said(at, machine, decision) for at, decision in replay_machine(book, entries, until)]
            for _rest in entries:  # what lies behind `until` must be acceptable too
                pass
        except LineRefused as why:
            refused = why if refused is None or why.number < refused.number else refused
    if refused is not None:
        raise refused
    return sorted(found)


def replay(fleet: Mapping[str, Any], entries: Sequence[Mapping[str, Any]], until: str) -> list[dict[str, Any]]:
    """Replay entries given as objects, for a fleet given as the content of its file.

    Returns the objects that `logbook replay` prints. Raises FleetFileError, or LineRefused with the entry's number.
    """
    lines: dict[str, list[Line]] = {}
    owner: dict[str, str] = {}
    for number, entry in enumerate(entries, 1):
        if owner.setdefault(entry["id"], entry["machine"]) != entry["machine"]:
            raise LineRefused(number, f"the id {entry['id']} is another entry's already")
        lines.setdefault(entry["machine"], []).append(
            Line(
                number, entry["id"], entry["kind"], instants.parse(entry["occurred_at"]),
                instants.parse(entry["recorded_at"]), dict(entry["data"]),
            )
        )  # fmt: skip
    register = register_of(FleetFile.model_validate(dict(fleet)), -FOREVER)
    return [each.as_json() for each in replay_lines(register, lines, instants.parse(until))]
