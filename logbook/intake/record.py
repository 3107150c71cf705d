"""The one door in: `record(drafts) -> Receipt`. Every channel, page and import writes through it, and nothing else.

Promises that what was answered is on the disk; that all drafts of one call are saved or none; that the same id
again is answered as the first time and adds nothing; and that an entry, the machine's new fold, its due instants
and the private words it commits to are one transaction. It never decides what an entry means: the domain does.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection

from logbook.domain import door, register_door
from logbook.domain.book import MachineBook
from logbook.domain.entries import Kind
from logbook.domain.history import Entry
from logbook.domain.instants import Instant
from logbook.domain.owed import Owed, owed_now
from logbook.domain.register import Register
from logbook.evidence.canonical import leaf_hash
from logbook.evidence.form import NO_FORERUNNER, form
from logbook.evidence.form import read as read_form
from logbook.evidence.private import SALT_BYTES, commit
from logbook.intake.visit import Visit
from logbook.store import Store, dues, log, words
from logbook.store.log import NewEntry, Stored
from logbook.store.registry import Registry


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

    `occurred_at` None: at the instant of recording. `id`: a UUID given by whoever first wrote it down.
    """

    id: str
    log: str
    kind: str
    data: Mapping[str, Any] = field(default_factory=dict)
    occurred_at: Instant | None = None
    version: int | None = None


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


class Intake:
    """The door. `clock` gives the instant of recording; `draw` gives random bytes; `woken` hears of what is due."""

    def __init__(
        self, store: Store, registry: Registry, clock: Callable[[], Instant], draw: Callable[[int], bytes],
        new_id: Callable[[], str], woken: Callable[[Instant], None] = lambda _at: None,
    ) -> None:  # fmt: skip
        self.store = store
        self.registry = registry
        self.clock = clock
        self.new_id = new_id
        self._draw = draw
        self.woken = woken

    def record(
        self, drafts: Sequence[Draft], by: By, *, also: Callable[[Connection, Receipt], None] | None = None
    ) -> Receipt:
        """Record drafts: all of them or none. Answers when they are on the disk.

        `also`: something to be kept in the same transaction, such as the text they came in. Raises door.Refused
        with the first thing that is wrong, and StoreError if the database fails; nothing was saved then.
        """

        def job(connection: Connection) -> Receipt:
            receipt = self.write(connection, drafts, by)
            if also is not None:
                also(connection, receipt)
            return receipt

        receipt = self.store.write(job)
        if receipt.next_at is not None:
            self.woken(receipt.next_at)
        return receipt

    def book(self, register: Register, machine: str) -> MachineBook:
        """The register as one machine's fold asks it."""
        return MachineBook(register, machine)

    # -- inside a transaction -----------------------------------------------------------------------------------

    def write(self, connection: Connection, drafts: Sequence[Draft], by: By) -> Receipt:
        """Record drafts in the transaction of this connection."""
        by_log: dict[str, list[Draft]] = {}
        for draft in drafts:
            by_log.setdefault(draft.log, []).append(draft)
        written: dict[str, Written] = {}
        owed: dict[str, tuple[Owed, ...]] = {}
        wakes: list[Instant] = []
        fleet = self.registry.fleet(connection)
        # In one order everywhere, so that two texts that name the same machines never wait for each other.
        for name in sorted(by_log):
            if name == fleet:
                written.update(self._write_fleet(connection, fleet, by_log[name], by))
                wakes.append(self.clock())
                continue
            visit = self.visit(connection, name)
            written.update((entry.id, entry) for entry in visit.add(by_log[name], by))
            following = visit.leave()
            if following is not None:
                wakes.append(following)
            owed[name] = owed_now(visit.watchman.machine, visit.now)
        return Receipt(tuple(written[draft.id] for draft in drafts), owed, min(wakes, default=None))

    def visit(self, connection: Connection, machine: str, now: Instant | None = None) -> Visit:
        """Open one machine's log for writing, its fold led up to now. Raises door.Refused for an unknown machine."""
        register = self.registry.current(connection)
        head = log.head(connection, machine, lock=True)
        if head is None or machine not in register.machines:
            raise door.Refused("unknown_machine", f"No machine {machine!r} is in this fleet. Nothing was saved.")
        moment = max(self.clock() if now is None else now, head.recorded_at)
        return Visit(self, connection, machine, register, head, moment)

    def _write_fleet(self, connection: Connection, fleet: str, drafts: Sequence[Draft], by: By) -> dict[str, Written]:
        """One after the other: what one says may be what the next one needs."""
        done: dict[str, Written] = {}
        for draft in drafts:
            head = log.head(connection, fleet, lock=True) or log.Head(0, NO_FORERUNNER, 0)
            now = max(self.clock(), head.recorded_at)
            register = self.registry.current(connection)
            origin = register.origin or (str(draft.data.get("origin") or "") if draft.kind == "fleet_founded" else "")
            if not origin:
                raise door.Refused(
                    "no_fleet", "This fleet has not been founded yet. Nothing was saved; see `logbook fleet apply`."
                )
            rows, written, _entries = self.formed(connection, fleet, origin, head, [draft], by, now, register=register)
            log.append(connection, fleet, rows)
            done.update((entry.id, entry) for entry in written)
        # Policy, a calendar or a person may have changed: every machine is looked at again.
        dues.put_all(connection, self.clock())
        return done

    def formed(
        self, connection: Connection, name: str, origin: str, head: log.Head, drafts: Iterable[Draft], by: By,
        now: Instant, *, register: Register | None = None, sites: Container[str] = (), first: Instant | None = None,
        late_after: Instant | None = None,
    ) -> tuple[list[NewEntry], list[Written], list[Entry]]:  # fmt: skip
        """Check drafts and give them the bytes in which they will stand, behind a head; nothing is appended yet.

        `register`: given for the fleet's own log, where what is in force for ever is turned away in time. For a
        machine's log, `sites` are those there are, and `first` is when it was commissioned (None: not yet).
        """
        rows: list[NewEntry] = []
        written: list[Written] = []
        entries: list[Entry] = []
        seq, prev = head.seq, head.head
        reporter = self._reporter(connection, name, by)
        placed: dict[str, NewEntry] = {}
        for draft in drafts:
            kind = door.checked(draft.kind, draft.data, draft.version)
            _allowed(kind, by, register is not None)
            if register is not None:
                data, private = door.parted(kind)
                objection = register_door.objection(register, draft.kind, data, private)
                if objection is not None:
                    raise door.Refused("not_in_register", objection)
            known = placed.get(draft.id) or log.find(connection, door.id_checked(draft.id))
            data, private = door.parted(kind)
            if known is not None:
                written.append(self._again(connection, name, draft, data, private, known))
                continue
            occurred_at = now if draft.occurred_at is None else door.settled_time(draft.occurred_at, now)
            if register is None:
                first = _begun(kind.kind, data, occurred_at, sites, first)
            root = self._root(connection, name, kind, placed)
            seq += 1
            openings = {item: (text, self._draw(SALT_BYTES)) for item, text in private.items()}
            content = form(
                v=kind.version, log=origin, machine=name, seq=seq, prev=prev, id=draft.id, kind=kind.kind,
                occurred_at=occurred_at, recorded_at=now, reporter=reporter, role=by.role, channel=by.channel,
                data=data, private={item: commit(text.encode(), salt) for item, (text, salt) in openings.items()},
            )  # fmt: skip
            prev = leaf_hash(content)
            row = NewEntry(seq, draft.id, kind.kind, occurred_at, now, root, content, prev)
            rows.append(row)
            placed[draft.id] = row
            kept = [words.Word(draft.id, item, salt, text.encode()) for item, (text, salt) in openings.items()]
            words.keep(connection, name, kept)
            late = late_after is not None and now - occurred_at > late_after
            written.append(Written(draft.id, name, seq, kind.kind, occurred_at, now, late=late))
            entries.append(Entry(seq, draft.id, kind.kind, occurred_at, now, root or draft.id, data, by.role))
        return rows, written, entries

    def _reporter(self, connection: Connection, name: str, by: By) -> str:
        """A pseudonym for this person on this machine, so that two histories cannot be joined into one diary."""
        if by.person is None:
            return by.role
        return words.reporter_of(connection, name, by.person) or words.give_reporter(
            connection, name, by.person, self.new_id()
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
        """The same id again: answered as the first time if it says the same. Raises door.Refused if it does not."""
        formed = read_form(known.bytes)
        same = formed.machine == name and formed.kind == draft.kind and formed.data == data
        if not _at_once_or_same(draft.occurred_at, known.occurred_at, known.recorded_at):
            same = False
        if same and set(formed.private) == set(private):
            kept = {word.item: word for word in words.of_entry(connection, name, draft.id)}
            for item, text in private.items():
                # An item that was erased since cannot be compared, and is taken for the same.
                if item in kept and kept[item].content != text.encode():
                    same = False
        elif set(formed.private) != set(private):
            same = False
        if not same:
            raise door.Refused(
                "id_reused",
                f"The id {draft.id} is another entry's already; that one stands. Nothing of this was saved.",
            )
        return Written(draft.id, name, known.seq, draft.kind, known.occurred_at, known.recorded_at, repeated=True)
