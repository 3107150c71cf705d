"""A text as it came, and what became of it."""

from __future__ import annotations

import re
import uuid
from collections.abc import Sequence
from dataclasses import dataclass, replace

from sqlalchemy import Connection

from logbook.channels.text import Reading
from logbook.domain.instants import MINUTE, Instant
from logbook.domain.people import Person
from logbook.store import heard, log

_SPACE = uuid.UUID("a3a2f5b0-7a53-5f0b-8a27-6f7f4f1f2f61")
"""Name space of the ids of what comes of a message: the same message never makes two of anything."""

ALIKE: Instant = 10 * MINUTE
"""The same words from the same sender within this time are one message, however many the carrier made of it."""


WAITING_FOR_NOBODY = heard.SETTLED
"""What became of a text that needs nobody's eye any more. Every other text was kept aside."""


@dataclass(frozen=True, slots=True)
class Message:
    """A text as it came: its id by whoever carried it, the way, the sender's number or address, when it was received."""

    id: str
    channel: str
    sender: str
    text: str
    at: Instant


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of a message. `reply` None: nobody is to be answered."""

    outcome: str
    reply: str | None
    entries: tuple[str, ...] = ()
    reading: Reading | None = None
    repeated: bool = False


def id_of(message: Message, what: int | str) -> str:
    """The id of the so-many-th entry, or of another thing, that comes of a message."""
    return str(uuid.uuid5(_SPACE, f"{message.id} {what}"))


def without_word(message: Message, person: Person | None) -> tuple[Message, bool]:
    """The text without its sender's own word, and whether it was there: a secret is not kept with what it opened."""
    if person is None or not person.word:
        return message, False
    left, found = re.subn(rf"(?<!\w){re.escape(person.word)}(?!\w)", " ", message.text, flags=re.IGNORECASE)
    return (replace(message, text=left), True) if found else (message, False)


def kept(connection: Connection, message: Message, outcome: str, reply: str | None, entries: Sequence[str]) -> bool:
    """Keep a text with what became of it; False if it is kept already."""
    row = heard.Heard(
        message.id, message.channel, message.sender, message.at, message.text, outcome, reply, tuple(entries)
    )
    return heard.keep(connection, row)


def stands(connection: Connection, row: heard.Heard) -> bool:
    """Whether something that a text saved was not struck since: after an UNDO the same words are news again."""
    if row.outcome != "saved":
        return False
    found = [entry for entry in (log.find(connection, id_) for id_ in row.entries) if entry is not None]
    struck = {machine: log.struck(connection, machine) for machine in {entry.machine for entry in found}}
    return any(entry.id not in struck[entry.machine] for entry in found)


def alike(one: str, other: str) -> bool:
    """Whether two texts say the same, blanks and case apart."""
    return " ".join(one.split()).casefold() == " ".join(other.split()).casefold()
