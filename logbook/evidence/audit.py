"""The audit: every chain computed again from the stored bytes, and the first entry at fault named.

Promises that every column the program reads (and not only the hashed bytes) says what the bytes say, that no
entry is missing, doubled or out of turn, that the kept heads are the chains' true ends, and that every private
word still kept is the one committed to. Streams: it holds one entry at a time, and of a log only the ids of its
corrections. It never mends anything. It cannot see a log that was rewritten whole from some entry on, hashes and
head included: only a seal held elsewhere shows that.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from itertools import groupby
from operator import itemgetter
from typing import Literal, NamedTuple

from logbook.domain.entries import Catalogue, catalogue
from logbook.evidence.canonical import NotCanonicalError
from logbook.evidence.form import NO_FORERUNNER, Formed, instant_text, read
from logbook.evidence.private import opens

Why = Literal[
    "hash", "not_canonical", "column", "gap", "prev", "log", "back_dated", "root", "unknown_kind", "head", "word",
    "no_log",
]  # fmt: skip


class Row(NamedTuple):
    """A stored entry: the columns of the table `entry`, in that order. A plain tuple will do as well."""

    machine: str
    seq: int
    id: str
    kind: str
    occurred_at: int
    recorded_at: int
    root: str | None
    bytes: bytes
    hash: str


class Head(NamedTuple):
    """What the database believes to be the end of a log: columns of the table `log`."""

    machine: str
    kind: str
    seq: int
    head: str
    recorded_at: int


class Word(NamedTuple):
    """A private word that is still kept. `seq` is that of its entry, None if there is no such entry."""

    machine: str
    seq: int | None
    entry: str
    item: str
    salt: bytes
    content: bytes


class Fault(NamedTuple):
    """What is wrong first in one log: at which entry (seq 0: at none), why as a name, and as a sentence."""

    machine: str
    seq: int
    id: str
    why: Why
    sentence: str


class Verdict(NamedTuple):
    """The audit's answer: how much was looked at, and the first fault of each broken log, in the logs' order."""

    logs: int
    entries: int
    words: int
    faults: tuple[Fault, ...]

    @property
    def whole(self) -> bool:
        """Nothing contradicts itself."""
        return not self.faults


RowLike = tuple[str, int, str, str, int, int, str | None, bytes, str]
HeadLike = tuple[str, str, int, str, int]
WordLike = tuple[str, int | None, str, str, bytes, bytes]

_sha256 = hashlib.sha256
_machine = itemgetter(0)


def audit(
    rows: Iterable[RowLike],
    heads: Iterable[HeadLike] | None = None,
    words: Iterable[WordLike] = (),
    *,
    origin: str | None = None,
    kinds: Catalogue = catalogue,
    at_most: int = 100,
) -> Verdict:
    """Audit whole logs, each from its first entry.

    `rows` come by machine, then seq; `heads` by machine (None: not compared); `words` by machine, then seq, those
    without an entry first; machines in the order of their characters. `origin`: the fleet's, which every entry
    must name; None: that of each log's first entry. `at_most`: faults after which it stops looking for more.
    """
    walk = _Walk(iter(heads) if heads is not None else None, iter(words), origin, kinds)
    for machine, entries in groupby(rows, _machine):
        walk.log(machine, entries)
        if len(walk.faults) >= at_most:
            break
    else:
        walk.rest()
    return Verdict(walk.logs, walk.entries, walk.words, tuple(walk.faults[:at_most]))


class _FoundError(Exception):
    """Carries the first fault of a log out of the loop over its entries."""

    def __init__(self, why: Why, sentence: str) -> None:
        super().__init__(sentence)
        self.why = why


class _Walk:
    """One pass over the three ordered streams."""

    def __init__(
        self,
        heads: Iterator[HeadLike] | None,
        words: Iterator[WordLike],
        origin: str | None,
        kinds: Catalogue,
    ) -> None:
        self.logs = self.entries = self.words = 0
        self.faults: list[Fault] = []
        self._origin = origin
        self._kinds = kinds
        self._known: set[tuple[str, int, str | None]] = set()
        self._heads = heads
        self._words = words
        self._head = next(heads, None) if heads is not None else None
        self._word = next(words, None)

    def log(self, machine: str, rows: Iterator[RowLike]) -> None:
        """Audit one log; the first fault ends it."""
        self._emptied(before=machine)
        head: HeadLike | None = None
        if self._head is not None and self._head[0] == machine:
            head, self._head = self._head, next(self._heads or iter(()), None)
        self.logs += 1
        seq, id, last, recorded = 0, "", NO_FORERUNNER, 0
        roots: dict[str, str] = {}
        log = self._origin
        kind_of_log = head[1] if head else None
        try:
            if head is None and self._heads is not None:
                raise _FoundError("no_log", "its log is not in the table of logs")
            self._stray(machine, 1)
            for row in rows:
                forerunner, seq, id = seq, row[1], row[2]
                self.entries += 1
                formed = _content(row)
                if seq != forerunner + 1:
                    missing = f"entry {forerunner + 1} is missing" if seq > forerunner else "it comes out of turn"
                    raise _FoundError("gap", missing)
                if formed.prev != last:
                    raise _FoundError("prev", "it does not name the hash of the entry before it")
                log = log if log is not None else formed.log
                _columns(row, formed, log)
                if row[5] < recorded:
                    raise _FoundError("back_dated", "it was recorded before the entry in front of it")
                if (formed.kind, formed.v, kind_of_log) not in self._known:
                    self._kind(formed, kind_of_log)
                _root(row, formed, roots)
                if self._word is not None:
                    self._openings(machine, seq, formed)
                last, recorded = row[8], row[5]
            if head is not None:
                _end(head, seq, last, recorded)
            self._stray(machine, None)
        except (_FoundError, TypeError, OverflowError, ValueError) as found:
            if not isinstance(found, _FoundError):  # SQLite keeps what it is given, whatever the column's type
                found = _FoundError("column", "a column holds what it cannot: another type, or no date of ours")
            place = f"entry {seq} ({id})" if seq else "before its first entry"
            self.faults.append(Fault(machine, seq, id, found.why, f"log {machine}, {place}: {found}"))
            # What follows stands on the fault; the next log is judged on its own.
            self._skip(machine)

    def rest(self) -> None:
        """What is left once the entries have run out: heads and words of logs that have none."""
        self._emptied(before=None)

    def _emptied(self, before: str | None) -> None:
        """Heads and words of logs that come before this one, and so have no entry at all."""
        while self._head is not None and (before is None or self._head[0] < before):
            machine, _, seq, head, _ = self._head
            self._head = next(self._heads or iter(()), None)
            if seq or head != NO_FORERUNNER:
                self.faults.append(
                    Fault(
                        machine,
                        0,
                        "",
                        "head",
                        f"log {machine}: {seq} entries were recorded, and none is left",
                    )
                )
        while self._word is not None and (before is None or self._word[0] < before):
            machine, _, entry, item, _, _ = self._word
            self.faults.append(Fault(machine, 0, entry, "word", _stray_sentence(machine, item, entry)))
            self._skip(machine)

    def _skip(self, machine: str) -> None:
        while self._word is not None and self._word[0] == machine:
            self._word = next(self._words, None)

    def _kind(self, formed: Formed, kind_of_log: str | None) -> None:
        known = self._kinds.get(formed.kind, formed.v)
        if known is None:
            raise _FoundError("unknown_kind", f"this program knows no kind {formed.kind!r} in version {formed.v}")
        if kind_of_log is not None and known.log != kind_of_log:
            raise _FoundError("unknown_kind", f"{formed.kind!r} does not belong into a {kind_of_log}'s log")
        self._known.add((formed.kind, formed.v, kind_of_log))

    def _openings(self, machine: str, seq: int, formed: Formed) -> None:
        while self._word is not None and self._word[0] == machine and self._word[1] == seq:
            _, _, entry, item, salt, content = self._word
            commitment = formed.private.get(item)
            if entry != formed.id or commitment is None:
                raise _FoundError("word", f"a private word ({item}) is kept that this entry does not commit to")
            if not opens(commitment, content, salt):
                raise _FoundError("word", f"the private word kept as {item} is not the one committed to")
            self.words += 1
            self._word = next(self._words, None)

    def _stray(self, machine: str, up_to: int | None) -> None:
        """A word of this log that belongs to no entry in it. Words without a seq come first."""
        word = self._word
        if word is not None and word[0] == machine and (word[1] is None or up_to is None or word[1] < up_to):
            raise _FoundError("word", _stray_sentence(machine, word[3], word[2]))


def _stray_sentence(machine: str, item: str, entry: str) -> str:
    return f"log {machine}: a private word ({item}) is kept for {entry}, which is no entry of this log"


def _content(row: RowLike) -> Formed:
    """The bytes are those hashed, and an entry."""
    if _sha256(b"\x00" + row[7]).hexdigest() != row[8]:
        raise _FoundError("hash", "its bytes are not those that were hashed when it was recorded")
    try:
        return read(row[7])
    except NotCanonicalError as why:
        raise _FoundError("not_canonical", str(why)) from None


def _columns(row: RowLike, formed: Formed, log: str) -> None:
    """The columns say what the bytes say."""
    machine, seq, id, kind, occurred_at, recorded_at, _, _, _ = row
    if (
        formed.recorded_at == instant_text(recorded_at)
        and formed.occurred_at == instant_text(occurred_at)
        and formed.id == id
        and formed.kind == kind
        and formed.seq == seq
        and formed.machine == machine
        and formed.log == log
    ):
        return
    if formed.log != log:
        raise _FoundError("log", f"it belongs to the fleet {formed.log!r}, not to {log!r}")
    told = {
        "machine": (formed.machine, machine),
        "seq": (formed.seq, seq),
        "id": (formed.id, id),
        "kind": (formed.kind, kind),
        "occurred_at": (formed.occurred_at, instant_text(occurred_at)),
        "recorded_at": (formed.recorded_at, instant_text(recorded_at)),
    }
    name, said, stored = next((name, *both) for name, both in told.items() if both[0] != both[1])
    raise _FoundError("column", f"the database says {name} {stored!r}, its bytes say {said!r}")


def _root(row: RowLike, formed: Formed, roots: dict[str, str]) -> None:
    """`root` is the first entry of the chain of corrections, as `logbook.domain.history` follows it."""
    corrects = formed.data.get("corrects") if formed.data else None
    root = None
    if isinstance(corrects, str):
        root = roots[formed.id] = roots.get(corrects, corrects)
    if row[6] != root:
        raise _FoundError("root", f"the database says it corrects {row[6]!r}, its bytes lead to {root!r}")


def _end(head: HeadLike, seq: int, last: str, recorded: int) -> None:
    _, _, head_seq, head_hash, head_recorded = head
    if head_seq > seq:
        raise _FoundError("head", f"it is the last one here, but the log had {head_seq} entries")
    if head_seq != seq or head_hash != last or head_recorded != recorded:
        raise _FoundError("head", "the kept head of the log is not its last entry")
