"""A file of entries for a replay: one JSON object a line, read so that memory holds one machine's history.

Promises that a line which is broken, lacks a field or uses an id of another machine's is refused by its number,
the first such line of the file first. The file is read twice: once to learn which lines are whose (some twenty bytes
a line are kept), and once a machine, line by line, when its history is asked for.
"""

from __future__ import annotations

import mmap
from array import array
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Annotated, Any, Self

import msgspec

from logbook.domain import instants
from logbook.domain.entries import catalogue
from logbook.domain.instants import HOUR, MINUTE, SECOND, Instant
from logbook.replay import Line, LineRefused

OFTEN = 1 << 14
"""Lines between two words to whoever watches the progress."""

_Name = Annotated[str, msgspec.Meta(min_length=1, max_length=64)]


class _Whose(msgspec.Struct, gc=False):
    """What the first reading wants to know of a line."""

    id: str
    machine: str


class _Told(msgspec.Struct, gc=False):
    """A line. Fields that it has besides say nothing to a replay."""

    id: _Name
    machine: _Name
    kind: str
    occurred_at: str
    recorded_at: str
    reporter: str | None
    channel: str | None
    data: dict[str, Any]


_whose = msgspec.json.Decoder(_Whose).decode
_told = msgspec.json.Decoder(_Told).decode
_UNREADABLE = (msgspec.MsgspecError, UnicodeDecodeError, RecursionError)
_OF_THE_FLEET = frozenset(kind.kind for kind in catalogue if kind.log == "fleet")

_BEHIND_THE_HOUR = {
    f":{minute:02d}:{second:02d}Z": minute * MINUTE + second * SECOND for minute in range(60) for second in range(60)
}
_HOURS_KEPT = 100_000


class Clock:
    """Reads RFC 3339 times as `logbook.domain.instants.parse` does, remembering the hours it has met.

    The usual form, whole seconds in UTC, costs two look-ups (measured: a seventh of reading it letter by letter).
    """

    def __init__(self) -> None:
        self._hours: dict[str, Instant] = {}

    def __call__(self, text: str) -> Instant:
        rest = _BEHIND_THE_HOUR.get(text[13:])
        if rest is None:
            return instants.parse(text)
        hour = self._hours.get(text[:13])
        if hour is None:
            at = instants.parse(text)
            if len(self._hours) >= _HOURS_KEPT:
                self._hours.clear()
            self._hours[text[:13]] = at // HOUR * HOUR
            return at
        return hour + rest


class EntriesFile:
    """An entries file, open for a replay; use it as a context manager."""

    def __init__(self, path: Path, watch: Callable[[int], None] = lambda _bytes: None) -> None:
        """Read whose line is whose. `watch` hears how many bytes more have been read. Raises OSError.

        `broken` is the first line that cannot be read at all; what comes behind it is not looked at.
        """
        self.broken: LineRefused | None = None
        self._watch = watch
        self._clock = Clock()
        self._offsets: dict[str, array[int]] = {}
        self._numbers: dict[str, array[int]] = {}
        self._ids = [array("q") for _ in range(256)]
        self._map: mmap.mmap | None = None
        with path.open("rb") as file:
            if file.seek(0, 2):
                self._map = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
        try:
            self._index()
            self._other_machines_ids()
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        if self._map is not None:
            self._map.close()

    def machines(self) -> dict[str, Iterator[Line]]:
        """Each machine's lines, read when they are asked for."""
        return {machine: self._lines(machine) for machine in self._offsets}

    def _index(self) -> None:
        offset = told = 0
        ids = self._ids
        for number, line in enumerate(self._all(), 1):
            start = offset
            offset += len(line)
            if not number % OFTEN:
                self._watch(offset - told)
                told = offset
            try:
                whose = _whose(line)
            except _UNREADABLE as why:
                if not line.strip():
                    continue
                self.broken = LineRefused(number, _unreadable(why))
                break
            machine = whose.machine
            offsets = self._offsets.get(machine)
            if offsets is None:
                offsets = self._offsets[machine] = array("q")
                self._numbers[machine] = array("q")
            offsets.append(start)
            self._numbers[machine].append(number)
            hashed = hash(whose.id)
            ids[hashed & 255].append(hashed)
        self._watch(offset - told)

    def _all(self) -> Iterator[bytes]:
        if self._map is None:
            return iter(())
        self._map.seek(0)
        return iter(self._map.readline, b"")

    def _line_at(self, offset: int) -> bytes:
        if self._map is None:
            return b""
        self._map.seek(offset)
        return self._map.readline()

    def _other_machines_ids(self) -> None:
        """An id is one entry's. Within a machine the replay itself sees to that; here, between machines."""
        doubtful: set[int] = set()
        for some in self._ids:
            seen: set[int] = set()
            if len(set(some)) != len(some):
                doubtful.update(each for each in some if each in seen or seen.add(each))  # type: ignore[func-returns-value]
        self._ids.clear()
        if not doubtful:
            return
        owners: dict[str, str] = {}
        for number, line in enumerate(self._all(), 1):
            if self.broken is not None and number >= self.broken.number:
                return
            if not line.strip():
                continue
            whose = _whose(line)
            if hash(whose.id) in doubtful and owners.setdefault(whose.id, whose.machine) != whose.machine:
                self.broken = LineRefused(number, f"the id {whose.id} is another machine's entry already")
                return

    def _lines(self, machine: str) -> Iterator[Line]:
        clock, numbers = self._clock, self._numbers[machine]
        read = 0
        for number, offset in zip(numbers, self._offsets[machine], strict=True):
            if self.broken is not None and number >= self.broken.number:
                break
            line = self._line_at(offset)
            read += len(line)
            try:
                told = _told(line)
                occurred_at, recorded_at = clock(told.occurred_at), clock(told.recorded_at)
            except _UNREADABLE as why:
                raise LineRefused(number, _unreadable(why)) from None
            except ValueError as why:
                raise LineRefused(number, str(why)) from None
            if told.kind in _OF_THE_FLEET:
                raise LineRefused(number, f"{told.kind!r} belongs in the fleet's log, not in a machine's")
            yield Line(number, told.id, told.kind, occurred_at, recorded_at, told.data)
        self._watch(read)


def _unreadable(why: BaseException) -> str:
    """What a reader of JSON objects to, in a sentence."""
    said = "it is not UTF-8 text" if isinstance(why, UnicodeDecodeError) else str(why)
    if isinstance(why, RecursionError):
        said = "it is nested too deeply"
    return said if said[1:2].isupper() else said[:1].lower() + said[1:]  # "JSON is malformed" keeps its capitals
