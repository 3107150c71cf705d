"""From drafts to the bytes in which they will stand for ever: checked, named, chained, private words under seal.

Promises that nothing gets bytes which may not be recorded, and that the same id again is known for what it is. It
appends nothing: it is told behind which head the entries will stand, and hands back what is to be appended.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection

from logbook.domain import door
from logbook.domain.entries import Kind
from logbook.domain.history import Entry
from logbook.domain.instants import Instant
from logbook.domain.register import Register
from logbook.domain.register_door import objection as objection_to
from logbook.evidence.canonical import leaf_hash
from logbook.evidence.form import form
from logbook.evidence.form import read as read_form
from logbook.evidence.private import SALT_BYTES, commit
from logbook.intake.drafts import By, Draft, Written
from logbook.store import log, words
from logbook.store.log import NewEntry, Stored


@dataclass(frozen=True, slots=True)
class Place:
    """Where entries will stand: in which log (`name`: its uuid), behind which head, recorded when.

    `register`: given for the fleet's own log, where what is in force for ever is turned away in time. For a machine's
    log, `sites` are those there are, `first` is when it was commissioned (None: not yet), `late_after` how long after
    it happened an entry counts as recorded late.
    """

    name: str
    origin: str
    head: log.Head
    now: Instant
    register: Register | None = None
    sites: Container[str] = ()
    first: Instant | None = None
    late_after: Instant | None = None


@dataclass(slots=True)
class Formed:
    """What is to be appended, what is to be answered, and what the fold is to hear."""

    rows: list[NewEntry] = field(default_factory=list)
    written: list[Written] = field(default_factory=list)
    entries: list[Entry] = field(default_factory=list)


def _allowed(kind: Kind, by: By, fleet_log: bool) -> None:
    """Whether this role may record this kind, and in this log. Raises door.Refused."""
    if (kind.log == "fleet") != fleet_log:
        where = "the fleet's log" if kind.log == "fleet" else "a machine's log"
        raise door.Refused("wrong_log", f"{kind.kind!r} belongs in {where}. Nothing was saved.")
    if by.role not in kind.by and not (by.role == "program" and "clock" not in kind.by):
        who = ", ".join(sorted(kind.by))
        raise door.Refused("not_allowed", f"{kind.kind!r} is for: {who}. Nothing was saved; ask one of them.")


def _at_once_or_same(said: Instant | None, occurred_at: Instant, recorded_at: Instant) -> bool:
    """Whether what is said now of when it happened is what was made `occurred_at` when it was recorded."""
    if said is None or recorded_at < said <= recorded_at + door.AHEAD:
        return occurred_at == recorded_at
    return said == occurred_at


def _begun(kind: str, data: Mapping[str, Any], at: Instant, sites: Container[str], first: Instant | None) -> Instant:
    """Whether a machine's entry has its place in the machine's life. Returns when that began. Raises door.Refused."""
    if (kind == "commissioned") != (first is None):
        raise door.Refused("not_commissioned", "A machine's log begins with `commissioned`, once. Nothing was saved.")
    if kind in ("commissioned", "moved") and data["site"] not in sites:
        raise door.Refused("unknown_site", f"There is no site {data['site']!r} in this fleet. Nothing was saved.")
    if first is not None and at < first:
        raise door.Refused(
            "too_early", "That was before the machine was commissioned. Nothing was saved; send when it happened."
        )
    return at if first is None else first


class Former:
    """Forms entries. `draw` gives random bytes, for salts; `new_id` a pseudonym."""

    def __init__(self, draw: Callable[[int], bytes], new_id: Callable[[], str]) -> None:
        self._draw = draw
        self._new_id = new_id

    def form(self, connection: Connection, place: Place, drafts: Iterable[Draft], by: By) -> Formed:
        """Check drafts and give them the bytes in which they will stand. Raises door.Refused with what is wrong."""
        name, now, first = place.name, place.now, place.first
        formed = Formed()
        seq, prev = place.head.seq, place.head.head
        reporter = self._reporter(connection, name, by)
        placed: dict[str, NewEntry] = {}
        for draft in drafts:
            kind = door.checked(draft.kind, draft.data, draft.version)
            _allowed(kind, by, place.register is not None)
            data, private = door.parted(kind)
            objection = None if place.register is None else objection_to(place.register, draft.kind, data, private)
            if objection is not None:
                raise door.Refused("not_in_register", objection)
            known = placed.get(draft.id) or log.find(connection, door.id_checked(draft.id))
            if known is not None:
                formed.written.append(self._again(connection, name, draft, data, private, known))
                continue
            occurred_at = now if draft.occurred_at is None else door.settled_time(draft.occurred_at, now)
            if place.register is None:
                first = _begun(kind.kind, data, occurred_at, place.sites, first)
            root = self._root(connection, name, kind, placed)
            seq += 1
            openings = {item: (text, self._draw(SALT_BYTES)) for item, text in private.items()}
            content = form(
                v=kind.version, log=place.origin, machine=name, seq=seq, prev=prev, id=draft.id, kind=kind.kind,
                occurred_at=occurred_at, recorded_at=now, reporter=reporter, role=by.role, channel=by.channel,
                data=data, private={item: commit(text.encode(), salt) for item, (text, salt) in openings.items()},
            )  # fmt: skip
            prev = leaf_hash(content)
            row = NewEntry(seq, draft.id, kind.kind, occurred_at, now, root, content, prev)
            formed.rows.append(row)
            placed[draft.id] = row
            kept = [words.Word(draft.id, item, salt, text.encode()) for item, (text, salt) in openings.items()]
            words.keep(connection, name, kept)
            late = place.late_after is not None and now - occurred_at > place.late_after
            formed.written.append(Written(draft.id, name, seq, kind.kind, occurred_at, now, late=late))
            formed.entries.append(Entry(seq, draft.id, kind.kind, occurred_at, now, root or draft.id, data, by.role))
        return formed

    def _reporter(self, connection: Connection, name: str, by: By) -> str:
        """A pseudonym for this person on this machine, so that two histories cannot be joined into one diary."""
        if by.person is None:
            return by.role
        return words.reporter_of(connection, name, by.person) or words.give_reporter(
            connection, name, by.person, self._new_id()
        )

    def _root(self, connection: Connection, name: str, kind: Kind, placed: Mapping[str, NewEntry]) -> str | None:
        """What a void strikes and a correction corrects must stand in this log; the latter's chain has a first."""
        target = getattr(kind, "entry", None) if kind.kind == "void" else kind.corrects
        if target is None:
            return None
        found = placed.get(target) or log.find(connection, target)
        if found is not None and getattr(found, "machine", name) != name:
            found = None
        if kind.kind == "void":
            door.strikable(None if found is None else found.kind)
            return None
        if found is None:
            raise door.Refused("unknown_entry", "The entry to correct is not in this machine's log. Nothing was saved.")
        return found.root or found.id

    def _again(
        self, connection: Connection, name: str, draft: Draft, data: Mapping[str, Any], private: Mapping[str, str],
        known: NewEntry | Stored,
    ) -> Written:  # fmt: skip
        """The same id again: answered as the first time if it says the same. Raises door.Refused if it does not.

        One act told by two ways says the same if it is of one kind, on one machine: each way has its own idea of when
        it was, and of how much of it is worth saying.
        """
        told = read_form(known.bytes)
        same = told.machine == name and told.kind == draft.kind
        if draft.merge and same:
            return Written(draft.id, name, known.seq, draft.kind, known.occurred_at, known.recorded_at, repeated=True)
        same = same and told.data == data
        if not _at_once_or_same(draft.occurred_at, known.occurred_at, known.recorded_at):
            same = False
        if same and set(told.private) == set(private):
            kept = {word.item: word for word in words.of_entry(connection, name, draft.id)}
            for item, text in private.items():
                # An item that was erased since cannot be compared, and is taken for the same.
                if item in kept and kept[item].content != text.encode():
                    same = False
        elif set(told.private) != set(private):
            same = False
        if not same:
            raise door.Refused(
                "id_reused",
                f"The id {draft.id} is another entry's already; that one stands. Nothing of this was saved.",
            )
        return Written(draft.id, name, known.seq, draft.kind, known.occurred_at, known.recorded_at, repeated=True)
