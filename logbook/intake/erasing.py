"""Erasing a person: their words, numbers, pseudonyms and sessions go, the log stays and verifies as before.

Promises that what is shown beforehand is what goes; that all of it goes in one transaction with the entry that says
so; and that a backup from before, put back, loses it again (`again`). That a cleaner did it, and when, stays: those
are the machine's facts. Never finds the remarks of others that speak of them; it says where such remarks are.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import msgspec
from sqlalchemy import Connection

from logbook.domain import door
from logbook.domain.entries.faults import PHOTO_ITEM
from logbook.domain.people import Person, phone_key
from logbook.intake.drafts import PROGRAM, By, Draft
from logbook.intake.record import Intake
from logbook.store import erased_list, erasure, log, words
from logbook.store.erased_list import Line
from logbook.store.erasure import Marks, Place

REGISTER_ITEMS = ("name", "phone", "email", "key", "word")


class _Told(msgspec.Struct, gc=False):
    data: dict[str, Any]
    private: dict[str, str]
    reporter: str


_told = msgspec.json.Decoder(_Told).decode


@dataclass(frozen=True, slots=True)
class Survey:
    """What goes if a person is erased, counted; and where they are named in what stays.

    `names`: words in the register; `remarks`, `photographs`: private words of their entries; `reports`: entries of
    theirs, which stay, under a name that leads to nobody any more. `named_by_others`: entries of others, by log.
    """

    names: int
    remarks: int
    photographs: int
    texts: int
    messages: int
    mentions: int
    sessions: int
    links: int
    pins: int
    passkeys: int
    notices: int
    pseudonyms: int
    reports: int
    named_by_others: tuple[tuple[str, str], ...] = ()

    @property
    def items(self) -> int:
        """Private words that go: what the entry in the log counts."""
        return self.names + self.remarks + self.photographs

    @property
    def anything(self) -> bool:
        """Whether there is anything left to erase."""
        some = (self.texts, self.messages, self.sessions, self.links, self.pins, self.passkeys, self.notices)
        return bool(self.items or self.pseudonyms or any(some))


@dataclass(frozen=True, slots=True)
class Erasure:
    """What went. `thorough`: no copy is left in the database's files either; else a reader or a full disk was in the way."""

    went: Survey
    thorough: bool


@dataclass(frozen=True, slots=True)
class _Theirs:
    """Where a person's words are: entries with private words, every entry of theirs, and how they are known."""

    places: tuple[Place, ...]
    entries: frozenset[str]
    marks: Marks
    senders: frozenset[str]
    pseudonyms: int
    items: tuple[tuple[Place, str, int], ...]


def survey(intake: Intake, connection: Connection, person: str) -> Survey:
    """What there is of a person. Raises door.Refused if nobody has this id."""
    _known(intake, connection, person)
    theirs = _theirs(intake, connection, person)
    found = erasure.look(connection, person, theirs.marks, theirs.entries, theirs.senders)
    fleet = intake.registry.fleet(connection)
    own = [(place.machine == fleet, item) for place, item, _size in theirs.items]
    rows = found.rows
    others = erasure.others_who_name(connection, theirs.marks, theirs.places)
    return Survey(
        names=sum(of_fleet for of_fleet, _item in own),
        remarks=sum(not of_fleet and item != PHOTO_ITEM for of_fleet, item in own),
        photographs=sum(not of_fleet and item == PHOTO_ITEM for of_fleet, item in own),
        texts=rows.get("heard", 0), messages=rows.get("message", 0), mentions=found.mentions,
        sessions=rows.get("session", 0), links=rows.get("link", 0), pins=rows.get("pin", 0),
        passkeys=rows.get("passkey", 0), notices=rows.get("notice", 0), pseudonyms=theirs.pseudonyms,
        reports=len(theirs.entries), named_by_others=tuple((place.machine, place.entry) for place in others),
    )  # fmt: skip


def erase(intake: Intake, person: str, ground: str, by: By, id: str) -> Erasure | None:
    """Erase a person; answers with what went, or None if this very erasure (`id`) was done before.

    Raises door.Refused: nobody of this id, no ground, a ground that names them, the last owner; nothing went then.
    """
    ground = " ".join(ground.split())

    def job(connection: Connection) -> Survey | None:
        if log.find(connection, door.id_checked(id)) is not None:
            return None
        known = _known(intake, connection, person)
        theirs = _theirs(intake, connection, person)
        if by is not PROGRAM:
            _may(intake, connection, known, theirs, ground)
        found = survey(intake, connection, person)
        fleet = intake.registry.fleet(connection)
        drafts = [Draft(id, fleet, "erased", {"person": person, "items": found.items, "ground": ground})]
        if known.reports:
            drafts.insert(0, Draft(intake.new_id(), fleet, "person_left", {"person": person}))
        intake.write(connection, drafts, by)
        # After the entry: whoever erases themself is given a pseudonym for it, and that goes too.
        erasure.erase(connection, person, theirs.marks, theirs.places, theirs.entries, theirs.senders)
        return found

    try:
        done = intake.store.write(job)
    finally:
        # Whether it went or failed: what this process remembers of the register is read anew.
        intake.registry.forget()
    intake.woken(intake.clock())
    if done is None:
        return None
    thorough = erasure.compact(intake.store)
    keep_list(intake)
    return Erasure(done, thorough)


def erased(intake: Intake, connection: Connection) -> list[Line]:
    """Every erasure that the log tells of."""
    fleet = intake.registry.fleet(connection)
    found = []
    for row in log.by_seq(connection, fleet):
        if row.kind == "erased":
            data = _told(row.bytes).data
            found.append(Line(data["person"], row.id, data["ground"]))
    return found


def keep_list(intake: Intake) -> int:
    """Put into the list beside the database what the log tells and the list lacks. Raises OSError or ValueError."""
    with intake.store.read() as connection:
        told = erased(intake, connection)
    return erased_list.add(erased_list.file_of(intake.store), told)


def again(intake: Intake, lines: Iterable[Line]) -> list[str]:
    """Erase once more whom a list names and this database still knows: it was put back from before.

    Answers with the ids of those people. A line whose erasure the log tells of is passed over.
    """
    done = []
    for line in lines:
        with intake.store.read() as connection:
            known = line.person in intake.registry.current(connection).people
            told = log.find(connection, line.entry) is not None
        if known and not told and erase(intake, line.person, line.ground, PROGRAM, line.entry) is not None:
            done.append(line.person)
    return done


def _known(intake: Intake, connection: Connection, person: str) -> Person:
    known = intake.registry.current(connection).people.get(person)
    if known is None:
        raise door.Refused("unknown_person", "Nobody in the register has this id. Nothing was erased.")
    return known


def _may(intake: Intake, connection: Connection, known: Person, theirs: _Theirs, ground: str) -> None:
    """Whether a person of flesh and blood may have this done. Raises door.Refused."""
    if not ground:
        raise door.Refused("no_ground", "Say on which ground: it stays in the log. Nothing was erased.")
    pattern = theirs.marks.pattern()
    if pattern is not None and pattern.search(ground):
        raise door.Refused(
            "ground_names", "The ground stays for ever: leave their name and number out of it. Nothing was erased."
        )
    people = intake.registry.current(connection).people.values()
    if known.role == "owner" and not any(
        each.role == "owner" and each.state == "member" and each is not known for each in people
    ):
        raise door.Refused(
            "last_owner", "This is the only owner, and nobody could act for the fleet any more. Nothing was erased."
        )


def _theirs(intake: Intake, connection: Connection, person: str) -> _Theirs:
    fleet = intake.registry.fleet(connection)
    pseudonyms = erasure.logs_of(connection, person)
    places = [place for place, _id in _about(connection, fleet, person)]
    marks = _marks(connection, fleet, {place.entry for place in places})
    entries: set[str] = set()
    for machine, reporter in pseudonyms.items():
        if machine == fleet:
            continue
        opened = []
        for row in log.by_seq(connection, machine):
            told = _told(row.bytes)
            if told.reporter == reporter:
                entries.add(row.id)
                if told.private:
                    places.append(Place(machine, row.id))
            elif row.kind == "name_opened" and told.private:
                opened.append((row.id, told.data.get("entry")))
        places += [Place(machine, id_) for id_, of in opened if of in entries]
    items = tuple(erasure.words_of(connection, places))
    return _Theirs(
        tuple(places), frozenset(entries), marks, marks.reached, len(pseudonyms), items
    )  # fmt: skip


def _about(connection: Connection, fleet: str, person: str) -> Iterator[tuple[Place, str]]:
    """Entries of the fleet's log about a person that hold private words."""
    for row in log.by_seq(connection, fleet):
        told = _told(row.bytes)
        if told.private and told.data.get("person") == person:
            yield Place(fleet, row.id), row.id


def _marks(connection: Connection, fleet: str, entries: set[str]) -> Marks:
    """Every name, number and address they ever had, as it was written and as it is compared."""
    names, reached = set(), set()
    for word in words.of_machine(connection, fleet):
        if word.entry not in entries or word.item not in REGISTER_ITEMS:
            continue
        text = word.content.decode().strip()
        if word.item == "name":
            names.add(text)
        elif word.item == "email":
            reached |= {text, text.lower()}
        elif word.item == "phone":
            reached.add(text)
            try:
                reached.add(phone_key(text))
            except ValueError:
                continue  # a carrier's short number is only ever written one way
    return Marks(frozenset(names), frozenset(reached))


__all__ = ["Erasure", "Line", "Survey", "again", "erase", "erased", "keep_list", "survey"]
