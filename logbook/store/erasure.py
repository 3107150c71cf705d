"""Erasing one person from every table but the log, whose bytes hold commitments only.

Promises that what is counted is what is taken, and that after `compact` no page of a SQLite file holds a copy. Never
touches `entry`: it verifies as before. Whose words those are is said by the caller; this room only finds and deletes.
"""

from __future__ import annotations

import json
import re
import sqlite3
import time
from collections.abc import Collection, Iterable
from typing import Any, NamedTuple

from sqlalchemy import Connection, Table, delete, func, or_, select, update
from sqlalchemy.exc import SQLAlchemyError

from logbook.store import Store, engine
from logbook.store.tables import (
    api_key,
    challenge,
    confirmation,
    heard,
    letter,
    link,
    message,
    notice,
    passkey,
    pin,
    private_word,
    pseudonym,
    session,
    shared_phone,
    told_day,
)

_TRIES = 5
GONE = "[…]"
"""What stands in a message to somebody else where an erased name or number stood."""

_OWN: tuple[Table, ...] = (session, link, pin, passkey, challenge, notice, told_day, letter, api_key)
"""Tables whose rows are one person's, by the column `person`."""


class Place(NamedTuple):
    """An entry whose private words go: its log and its id."""

    machine: str
    entry: str


class Found(NamedTuple):
    """What one person has in a table of ours, by the table's name, and how many messages to others speak of them."""

    rows: dict[str, int]
    mentions: int

    @property
    def total(self) -> int:
        """Rows that go."""
        return sum(self.rows.values())


class Marks(NamedTuple):
    """What a person is known by: names, and numbers and addresses as they were ever written."""

    names: frozenset[str]
    reached: frozenset[str]

    def pattern(self) -> re.Pattern[str] | None:
        """Finds any of them as a word of its own; None if nothing is known."""
        some = sorted({each for each in (*self.names, *self.reached) if len(each) > 1}, key=len, reverse=True)
        if not some:
            return None
        return re.compile(r"(?<!\w)(?:" + "|".join(re.escape(each) for each in some) + r")(?!\w)", re.IGNORECASE)


def words_of(connection: Connection, places: Iterable[Place]) -> list[tuple[Place, str, int]]:
    """(place, item, octets) of the words of these entries that are still kept."""
    found = []
    p = private_word.c
    for place in places:
        rows = connection.execute(
            select(p.item, func.length(p.content)).where(p.machine == place.machine, p.entry == place.entry)
        )
        found += [(place, str(item), int(size)) for item, size in rows]
    return found


def logs_of(connection: Connection, person: str) -> dict[str, str]:
    """Log -> the person's pseudonym there."""
    rows = connection.execute(select(pseudonym.c.machine, pseudonym.c.reporter).where(pseudonym.c.person == person))
    return {str(machine): str(reporter) for machine, reporter in rows}


def look(
    connection: Connection, person: str, marks: Marks, entries: Collection[str], senders: Collection[str]
) -> Found:
    """What there is of a person outside the private words, and nothing changed."""
    rows = {table.name: _count(connection, table, table.c.person == person) for table in _OWN}
    own = _heard(connection, entries, senders)
    rows["heard"] = len(own)
    rows["message"] = _count(connection, message, _theirs(person, senders))
    return Found(
        {name: count for name, count in rows.items() if count}, len(list(_mentions(connection, person, marks, own)))
    )


def erase(
    connection: Connection, person: str, marks: Marks, places: Collection[Place], entries: Collection[str],
    senders: Collection[str],
) -> None:  # fmt: skip
    """Delete all of it, in the transaction of this connection."""
    own = _heard(connection, entries, senders)
    for table, key, content in list(_mentions(connection, person, marks, own)):
        column = table.c.id
        connection.execute(update(table).where(column == key).values(**content))
    for id_ in own:
        connection.execute(delete(heard).where(heard.c.id == id_))
    theirs = select(message.c.id).where(_theirs(person, senders))
    connection.execute(delete(confirmation).where(confirmation.c.message.in_(theirs)))
    connection.execute(delete(message).where(_theirs(person, senders)))
    for table in _OWN:
        connection.execute(delete(table).where(table.c.person == person))
    for table in (link, shared_phone, api_key):
        connection.execute(update(table).where(table.c.made_by == person).values(made_by=None))
    p = private_word.c
    for place in places:
        connection.execute(delete(private_word).where(p.machine == place.machine, p.entry == place.entry))
    connection.execute(delete(pseudonym).where(pseudonym.c.person == person))


def others_who_name(connection: Connection, marks: Marks, places: Collection[Place]) -> list[Place]:
    """Entries of others in whose private words the person is named: those stay, and somebody should read them."""
    pattern = marks.pattern()
    if pattern is None:
        return []
    own = set(places)
    p = private_word.c
    rows = connection.execute(select(p.machine, p.entry, p.content).where(p.item.not_in(("image",))))
    found = {
        Place(machine, entry): None
        for machine, entry, content in rows
        if Place(machine, entry) not in own and pattern.search(bytes(content).decode("utf-8", "replace"))
    }
    return list(found)


def compact(store: Store) -> bool:
    """Leave no copy in the database file itself, nor in what SQLite writes beside it; False: some reader is in the way.

    `secure_delete` overwrites what is deleted, but a page that was rebuilt before may hold an older copy in its gap:
    only writing the file anew leaves none. PostgreSQL keeps dead rows until its vacuum.
    """
    if not store.is_sqlite:
        return True
    for attempt in range(_TRIES):
        time.sleep(0.2 * attempt)
        if _rewritten(store) and store.scrub():
            return True
    return False


def _rewritten(store: Store) -> bool:
    anew = engine.writing(store.url)
    try:
        raw: Any = anew.raw_connection()
        try:
            raw.driver_connection.execute("VACUUM")
        finally:
            raw.close()
    except (sqlite3.Error, SQLAlchemyError):
        return False  # somebody writes for longer than we wait, or the disk has no room for a second copy
    finally:
        anew.dispose()
    return True


def _count(connection: Connection, table: Table, where: Any) -> int:
    return int(connection.execute(select(func.count()).select_from(table).where(where)).scalar_one())


def _theirs(person: str, senders: Collection[str]) -> Any:
    """Messages to a person: by their uuid, or to a number or address of theirs (an answer to a text)."""
    return or_(message.c.person == person, message.c.address.in_(sorted(senders)))


def _heard(connection: Connection, entries: Collection[str], senders: Collection[str]) -> list[str]:
    """Texts that are theirs: from a number or address they had, or out of which entries of theirs came."""
    known, theirs = {_plain(each) for each in senders}, frozenset(entries)
    rows = connection.execute(select(heard.c.id, heard.c.sender, heard.c.entries))
    return [
        str(id_)
        for id_, sender, made in rows
        if _plain(str(sender)) in known or not theirs.isdisjoint(json.loads(made))
    ]


def _plain(sender: str) -> str:
    """A number or address as it is compared here, whatever way it came in."""
    return (
        sender.strip().lower() if "@" in sender else "".join(each for each in sender if each.isdigit() or each == "+")
    )


def _mentions(
    connection: Connection, person: str, marks: Marks, own: Collection[str]
) -> Iterable[tuple[Table, str, dict[str, Any]]]:
    """Rows of others in which they are named, with what is to stand there instead."""
    pattern = marks.pattern()
    if pattern is None:
        return
    m, h, n = message.c, heard.c, notice.c
    for id_, of, subject, body in connection.execute(select(m.id, m.person, m.subject, m.body)):
        if of != person and (pattern.search(subject) or pattern.search(body)):
            yield message, str(id_), {"subject": pattern.sub(GONE, subject), "body": pattern.sub(GONE, body)}
    for id_, said, reply in connection.execute(select(h.id, h.text, h.reply)):
        if id_ not in own and (pattern.search(said) or (reply and pattern.search(reply))):
            yield heard, str(id_), {"text": pattern.sub(GONE, said), "reply": reply and pattern.sub(GONE, reply)}
    for id_, of, about in connection.execute(select(n.id, n.person, n.about)):
        told = bytes(about).decode("utf-8", "replace")
        if of != person and pattern.search(told):
            yield notice, str(id_), {"about": pattern.sub(GONE, told).encode()}
