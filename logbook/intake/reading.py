"""A machine's log read back: what was told, with the private words that are still kept.

Promises every entry, in the order of recording, and no name: a reporter is the pseudonym of that machine. It reads
bytes as they lie; that they are what was once written is the business of `logbook.evidence.audit`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import msgspec
from sqlalchemy import Connection

from logbook.domain.entries.faults import PHOTO_ITEM
from logbook.domain.history_rows import Told
from logbook.domain.machine import Machine
from logbook.domain.register import Register
from logbook.evidence.form import read as read_form
from logbook.store import log, words
from logbook.store.log import Stored


class _Said(msgspec.Struct, gc=False):
    channel: str
    data: dict[str, Any]
    private: dict[str, str]
    reporter: str
    role: str


_said = msgspec.json.Decoder(_Said).decode
KEPT = "kept"
"""What stands for a photograph among private words."""
_NOTHING: dict[str, str | None] = {}


def entry_at(connection: Connection, machine: str, seq: int) -> Stored | None:
    """The entry with this number in a machine's log, or None."""
    row = next(iter(log.by_seq(connection, machine, seq - 1)), None)
    return row if row is not None and row.seq == seq else None


def looker(connection: Connection, machine: str) -> Callable[[int], tuple[str, dict[str, Any]]]:
    """What an item asks of its machine's entries, by number: (role, data). It raises LookupError for one that is not there."""

    def look(seq: int) -> tuple[str, dict[str, Any]]:
        row = entry_at(connection, machine, seq)
        if row is None:
            raise LookupError(f"{machine} has no entry {seq}")
        formed = read_form(row.bytes)
        return formed.role, formed.data

    return look


def own_words(connection: Connection, machine: str, fold: Machine, kind: str, item: str) -> str | None:
    """Somebody's own words, such as `note` or `why`, in a machine's latest entry of a kind, while they are kept."""
    seq = fold.last.get(kind, (0, 0))[1]
    row = entry_at(connection, machine, seq) if seq else None
    kept = words.of_entry(connection, machine, row.id) if row is not None else ()
    return next((word.content.decode() for word in kept if word.item == item), None)


def told_of(connection: Connection, machine: str, register: Register) -> list[Told]:
    """A machine's log in the order of recording. Of a photograph only whether it is still kept is told."""
    texts = words.of_machine_but(connection, machine, PHOTO_ITEM)
    kept = {(word.entry, word.item): word.content.decode() for word in texts}
    kept.update(((entry, PHOTO_ITEM), KEPT) for entry in words.entries_with(connection, machine, PHOTO_ITEM))
    waiting = {
        name
        for name, person in words.people_of(connection, machine).items()
        if (known := register.people.get(person)) is not None and known.state == "unconfirmed"
    }
    found = []
    for row in log.by_seq(connection, machine):
        said = _said(row.bytes)
        private = {item: kept.get((row.id, item)) for item in said.private} if said.private else _NOTHING
        found.append(
            Told(
                row.seq, row.id, row.kind, row.occurred_at, row.recorded_at, said.role, said.channel, said.data,
                private, said.reporter in waiting, said.reporter,
            )
        )  # fmt: skip
    return found
