"""Private words and pseudonyms: what the log commits to but does not hold, kept where it can be erased.

Promises that what is erased here is gone from these tables (SQLite overwrites it), while the log still verifies.
Never draws a salt or a pseudonym: chance comes from the caller.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from sqlalchemy import Connection, and_, bindparam, delete, exists, insert, nulls_first, select

from logbook.store.statements import Ready, upsert
from logbook.store.tables import entry, entry_id, private_word, pseudonym


class Word(NamedTuple):
    """An opening: the words, and the salt with which they were committed to."""

    entry: str
    item: str
    salt: bytes
    content: bytes


class PlacedWord(NamedTuple):
    """A word with the place of its entry; `seq` is None if its log has no such entry."""

    machine: str
    seq: int | None
    entry: str
    item: str
    salt: bytes
    content: bytes


_KEEP = Ready(
    insert(private_word).values({column.name: bindparam(column.name) for column in private_word.c}),
    "machine", "entry", "item", "salt", "content",
)  # fmt: skip
_word = select(private_word.c.entry, private_word.c.item, private_word.c.salt, private_word.c.content)
_of_machine = private_word.c.machine == bindparam("machine")
_of_entry = private_word.c.entry == bindparam("entry")
_OF_ENTRY = Ready(_word.where(_of_machine, _of_entry).order_by(private_word.c.item), "machine", "entry")
_OF_MACHINE = Ready(_word.where(_of_machine).order_by(private_word.c.entry, private_word.c.item), "machine")
_TEXTS_OF_MACHINE = Ready(
    _word.where(_of_machine, private_word.c.item != bindparam("but")).order_by(
        private_word.c.entry, private_word.c.item
    ),
    "machine", "but",
)  # fmt: skip
_ENTRIES_WITH = Ready(
    select(private_word.c.entry).where(_of_machine, private_word.c.item == bindparam("item")), "machine", "item"
)
_EVERY = Ready(
    select(
        private_word.c.machine,
        entry_id.c.seq,
        private_word.c.entry,
        private_word.c.item,
        private_word.c.salt,
        private_word.c.content,
    )
    .select_from(
        private_word.outerjoin(
            entry_id, and_(entry_id.c.id == private_word.c.entry, entry_id.c.machine == private_word.c.machine)
        )
    )
    .order_by(private_word.c.machine, nulls_first(entry_id.c.seq), private_word.c.item)
)
_ERASE = Ready(delete(private_word).where(_of_machine, _of_entry), "machine", "entry")
_old = (
    select(entry_id.c.id)
    .select_from(entry_id.join(entry, and_(entry.c.machine == entry_id.c.machine, entry.c.seq == entry_id.c.seq)))
    .where(
        entry_id.c.id == private_word.c.entry,
        entry_id.c.machine == private_word.c.machine,
        entry.c.recorded_at < bindparam("before"),
    )
)
_ERASE_OLD = Ready(
    delete(private_word).where(
        private_word.c.machine != bindparam("spared"), private_word.c.item != bindparam("apart"), exists(_old)
    ),
    "spared", "apart", "before",
)  # fmt: skip
_ERASE_OLD_OF = Ready(
    delete(private_word).where(private_word.c.item == bindparam("item"), exists(_old)), "item", "before"
)
_GIVE = upsert(pseudonym, "machine", "person", "reporter", keys=["machine", "person"], keep=True)
_REPORTER = Ready(
    select(pseudonym.c.reporter).where(
        pseudonym.c.machine == bindparam("machine"), pseudonym.c.person == bindparam("person")
    ),
    "machine", "person",
)  # fmt: skip
_PERSON = Ready(
    select(pseudonym.c.person).where(
        pseudonym.c.machine == bindparam("machine"), pseudonym.c.reporter == bindparam("reporter")
    ),
    "machine", "reporter",
)  # fmt: skip
_PEOPLE = Ready(
    select(pseudonym.c.reporter, pseudonym.c.person).where(pseudonym.c.machine == bindparam("machine")), "machine"
)


def keep(connection: Connection, machine: str, words: Iterable[Word]) -> None:
    """Keep the words that new entries of a log commit to."""
    rows = [(machine, *word) for word in words]
    if rows:
        _KEEP.many(connection, rows)


def of_entry(connection: Connection, machine: str, entry: str) -> list[Word]:
    """The words of one entry that are still kept."""
    return [Word._make(row) for row in _OF_ENTRY.all(connection, machine, entry)]


def of_machine(connection: Connection, machine: str) -> list[Word]:
    """The words of one log that are still kept, by entry."""
    return [Word._make(row) for row in _OF_MACHINE.all(connection, machine)]


def of_machine_but(connection: Connection, machine: str, item: str) -> list[Word]:
    """`of_machine`, but for one item: pictures are not read where words are."""
    return [Word._make(row) for row in _TEXTS_OF_MACHINE.all(connection, machine, item)]


def entries_with(connection: Connection, machine: str, item: str) -> frozenset[str]:
    """The entries of one log of which this item is still kept."""
    return frozenset(str(row[0]) for row in _ENTRIES_WITH.all(connection, machine, item))


def every(connection: Connection) -> Iterator[PlacedWord]:
    """Every word, by machine, then seq, those without an entry first, as a stream: what the audit reads."""
    return map(PlacedWord._make, _EVERY.stream(connection))


def erase(connection: Connection, machine: str, entries: Iterable[str]) -> int:
    """Erase salts and contents of these entries; answers with how many words that were."""
    return sum(int(_ERASE.run(connection, machine, entry).rowcount) for entry in entries)


def erase_before(connection: Connection, before: int, spared: str, apart: str = "") -> int:
    """Erase the words of entries recorded before an instant, in every log but one; answers with how many.

    `apart`: the item that has a time of its own, and is left.
    """
    return int(_ERASE_OLD.run(connection, spared, apart, before).rowcount)


def erase_item_before(connection: Connection, before: int, item: str) -> int:
    """Erase one item of entries recorded before an instant, in every log; answers with how many."""
    return int(_ERASE_OLD_OF.run(connection, item, before).rowcount)


def give_reporter(connection: Connection, machine: str, person: str, reporter: str) -> str:
    """The pseudonym of a person on a machine: `reporter`, unless that person has one there already."""
    _GIVE.run(connection, machine, person, reporter)
    given = reporter_of(connection, machine, person)
    return given or reporter


def reporter_of(connection: Connection, machine: str, person: str) -> str | None:
    """The pseudonym of a person on a machine, or None."""
    row = _REPORTER.one(connection, machine, person)
    return None if row is None else str(row[0])


def person_of(connection: Connection, machine: str, reporter: str) -> str | None:
    """The person behind a pseudonym on a machine, or None: erased, or never known."""
    row = _PERSON.one(connection, machine, reporter)
    return None if row is None else str(row[0])


def people_of(connection: Connection, machine: str) -> dict[str, str]:
    """Pseudonym -> person, for one machine."""
    return dict(_PEOPLE.all(connection, machine))
