"""What came in, as it came: raw texts by their id, so that one that comes twice is known again.

Promises that an id is kept once. These words are nobody's log: they can be erased.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import NamedTuple

from sqlalchemy import Connection, bindparam, delete, func, literal_column, or_, select, update

from logbook.store.statements import NONE, ONE, Ready, upsert
from logbook.store.tables import heard


class Heard(NamedTuple):
    """A row of the table. `outcome` says what was made of it, `entries` the ids that came of it."""

    id: str
    channel: str
    sender: str
    received_at: int
    text: str
    outcome: str
    reply: str | None
    entries: tuple[str, ...]


_COLUMNS = tuple(column.name for column in heard.c)
_KEEP = upsert(heard, *_COLUMNS, keys=["id"], keep=True)
_FIND = Ready(select(*heard.c).where(heard.c.id == bindparam("id")), "id")
_ANSWER = Ready(
    update(heard)
    .where(heard.c.id == bindparam("of"))
    .values({name: bindparam(name) for name in ("outcome", "reply", "entries")}),
    "outcome", "reply", "entries", "of",
)  # fmt: skip
_LATEST = Ready(
    select(*heard.c)
    .where(or_(bindparam("all") == ONE, heard.c.sender == bindparam("sender")))
    .order_by(heard.c.received_at.desc(), heard.c.id)
    .limit(bindparam("most")).offset(NONE),
    "all", "sender", "most",
)  # fmt: skip
STRANGERS = ("unknown_sender", "wrong_word")
"""Outcomes of texts from nobody who is known: they wait until somebody says whose they are."""

_STRANGE = Ready(
    select(func.count()).where(
        heard.c.received_at > bindparam("after"),
        heard.c.received_at <= bindparam("until"),
        or_(*(heard.c.outcome == literal_column(f"'{outcome}'") for outcome in STRANGERS)),
    ),
    "after", "until",
)  # fmt: skip
SETTLED = frozenset(
    {
        "saved", "repeated", "set_aside", "help", "opt_out", "opt_in", "undo", "owed", "seen", "join", "accept",
        "known_already",
    }
)  # fmt: skip
"""What became of a text that needs nobody's eye any more. Every other text was kept aside."""

_WAITING = Ready(
    select(*heard.c)
    .where(
        heard.c.received_at > bindparam("after"),
        heard.c.outcome.not_in([literal_column(f"'{outcome}'") for outcome in sorted(SETTLED)]),
    )
    .order_by(heard.c.received_at.desc(), heard.c.id)
    .limit(bindparam("most")).offset(NONE),
    "after", "most",
)  # fmt: skip
_ERASE_OLD = Ready(delete(heard).where(heard.c.received_at < bindparam("before")), "before")


def keep(connection: Connection, row: Heard) -> bool:
    """Keep what came; False if its id is there already, and then nothing is changed."""
    return bool(_KEEP.run(connection, *row[:-1], json.dumps(row.entries)).rowcount)


def find(connection: Connection, id: str) -> Heard | None:
    """What came under this id, or None."""
    row = _FIND.one(connection, id)
    return None if row is None else _made(row)


def answered(connection: Connection, id: str, outcome: str, reply: str | None, entries: Sequence[str] = ()) -> bool:
    """Say what became of it; False if nothing came under this id."""
    return bool(_ANSWER.run(connection, outcome, reply, json.dumps(list(entries)), id).rowcount)


def latest(connection: Connection, sender: str | None = None, most: int = 50) -> list[Heard]:
    """What came last, from one sender or from all (None), the newest first."""
    return [_made(row) for row in _LATEST.all(connection, int(sender is None), sender or "", most)]


def from_strangers(connection: Connection, after: int, until: int) -> int:
    """How many texts of nobody known came after one instant and by another, and still wait."""
    return int(_STRANGE.one(connection, after, until)[0])


def waiting(connection: Connection, after: int, most: int = 50) -> list[Heard]:
    """What came after an instant and was kept aside, whoever sent it, the newest first."""
    return [_made(row) for row in _WAITING.all(connection, after, most)]


def erase_before(connection: Connection, before: int) -> int:
    """Erase all that came before an instant; answers with how many rows that were."""
    return int(_ERASE_OLD.run(connection, before).rowcount)


def _made(row: tuple[str, str, str, int, str, str, str | None, str]) -> Heard:
    return Heard(*row[:-1], tuple(json.loads(row[-1])))
