"""What every kind of entry shares: its place in the catalogue, and the rules for its data.

A kind is one pydantic class. The class says what may be recorded, by whom, in which log, in which words a thumb
may type it, and which of its fields are *private*: those are never hashed in clear, but under a salted
commitment (`logbook.evidence.private`), so that they can be erased without breaking the chain.

The data of an entry can never change form once it has been recorded. A kind that needs another form gets a new
class with `version` one higher; the old class stays, because old entries stay.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, ConfigDict, Field

LogKind = Literal["machine", "fleet"]
Role = Literal["cleaner", "keeper", "supervisor", "owner", "clock", "program"]
REPORTERS: frozenset[str] = frozenset({"cleaner", "keeper", "supervisor", "owner"})
LEADERS: frozenset[str] = frozenset({"supervisor", "owner"})
CLOCK: frozenset[str] = frozenset({"clock"})
INSIDE: frozenset[str] = frozenset({"supervisor", "owner", "program"})

PRIVATE = "private"
"""Marks a field whose content is kept apart from the hashed bytes."""


EntryId = Annotated[str, Field(min_length=1, max_length=64)]
"""An entry's id. The door accepts UUIDs only (RFC 9562, lower case); a replayed file may name its lines otherwise."""
Code = Annotated[str, Field(min_length=1, max_length=40, pattern=r"^[A-Za-z0-9][A-Za-z0-9_.\- ]*$")]
ShortText = Annotated[str, Field(min_length=1, max_length=200)]
PrivateText = Annotated[str, Field(min_length=1, max_length=4000), PRIVATE]
MaybePrivate = Annotated[Annotated[str, Field(min_length=1, max_length=4000)] | None, PRIVATE]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number that may stand beside a word in a text.

    `field` is where it goes, `family` how it is read (volume, percent, gravity, length, hours), `low` and `high`
    the bounds in the field's own unit (ml, %, thousandths, um, s). `many`: one number a head, in order.
    """

    field: str
    family: Literal["volume", "percent", "gravity", "length", "hours"]
    low: int
    high: int
    required: bool = False
    many: bool = False


@dataclass(frozen=True, slots=True)
class Words:
    """The words by which a text names a kind, in both languages at once, without accents, in lower case.

    A phrase of several words is written with spaces. `with_quantity`: words that mean this kind only with its
    quantity beside them. `with_also`: words that turn the base kind's words into this one ("seg" + "new").
    `sentence`: the whole sentence around the word is kept as the note.
    """

    en: tuple[str, ...] = ()
    es: tuple[str, ...] = ()
    quantity: Quantity | None = None
    with_quantity: tuple[str, ...] = ()
    also_of: str | None = None
    with_also: tuple[str, ...] = ()
    sentence: bool = False


class Kind(BaseModel):
    """The data of one kind of entry. Subclasses are the catalogue."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)

    kind: ClassVar[str]
    version: ClassVar[int] = 1
    log: ClassVar[LogKind] = "machine"
    by: ClassVar[frozenset[str]] = REPORTERS
    strikable: ClassVar[bool] = True
    meaning: ClassVar[str]
    words: ClassVar[Words | None] = None
    example: ClassVar[dict[str, Any]] = {}

    corrects: EntryId | None = None

    @classmethod
    @cache
    def private_fields(cls) -> frozenset[str]:
        """The names of the fields that are never hashed in clear."""
        return frozenset(name for name, info in cls.model_fields.items() if PRIVATE in info.metadata)


class Done(Kind):
    """An act at the machine. `told` says that it came with the closing card, which reports count apart."""

    told: Literal["card"] | None = None


@dataclass(slots=True)
class Catalogue:
    """Every kind that can stand in a log, by name and version."""

    _kinds: dict[tuple[str, int], type[Kind]] = field(default_factory=dict)
    _newest: dict[str, type[Kind]] = field(default_factory=dict)

    def add(self, kind: type[Kind]) -> type[Kind]:
        """Register a kind; use as a class decorator. Raises ValueError if it is there already."""
        key = (kind.kind, kind.version)
        if key in self._kinds:
            raise ValueError(f"entry kind {key} is registered twice")
        self._kinds[key] = kind
        if kind.kind not in self._newest or self._newest[kind.kind].version < kind.version:
            self._newest[kind.kind] = kind
        return kind

    def newest(self, name: str) -> type[Kind] | None:
        """The class in which new entries of this kind are recorded, or None if there is no such kind."""
        return self._newest.get(name)

    def get(self, name: str, version: int) -> type[Kind] | None:
        """The class that reads an entry recorded in this version."""
        return self._kinds.get((name, version))

    def __iter__(self) -> Iterator[type[Kind]]:
        """The newest class of every kind, in the order in which they were written down."""
        return iter(self._newest.values())


catalogue = Catalogue()
