"""Entries about parts and keys: ordered, received, counted in the drawer, handed out, handed back."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar

from pydantic import Field

from logbook.domain.entries.base import EntryId, Kind, MaybePrivate, ShortText, catalogue

Count = Annotated[int, Field(ge=0, le=100_000)]


@catalogue.add
class Ordered(Kind):
    """Parts were ordered for this machine; without a part, its segments."""

    kind = "ordered"
    meaning: ClassVar[str] = "Parts were ordered for the machine."
    example: ClassVar[dict[str, Any]] = {"part": "segments", "qty": 3}

    part: ShortText | None = None
    qty: Annotated[int, Field(ge=1, le=100_000)] | None = None


@catalogue.add
class Received(Kind):
    """The parts of one order came in."""

    kind = "received"
    meaning: ClassVar[str] = "The ordered parts arrived."
    example: ClassVar[dict[str, Any]] = {"order": "0192d5c8-0000-7000-8000-000000000001"}

    order: EntryId
    qty: Count | None = None


@catalogue.add
class Counted(Kind):
    """So many of a part lie in the site's drawer for this machine."""

    kind = "counted"
    meaning: ClassVar[str] = "Parts in the drawer were counted."
    example: ClassVar[dict[str, Any]] = {"part": "segments", "qty": 6}

    part: ShortText
    qty: Count


@catalogue.add
class KeyOut(Kind):
    """The machine's key was handed out."""

    kind = "key_out"
    meaning: ClassVar[str] = "The machine's key was handed out."
    example: ClassVar[dict[str, Any]] = {"note": "night crew"}

    note: MaybePrivate = None


@catalogue.add
class KeyBack(Kind):
    """The machine's key came back."""

    kind = "key_back"
    meaning: ClassVar[str] = "The machine's key came back."
    example: ClassVar[dict[str, Any]] = {"note": "in the drawer"}

    note: MaybePrivate = None
