"""Entries about entries: a strike, an excuse, a remark. Nothing in a log is ever edited."""

from __future__ import annotations

from typing import Any, ClassVar

from logbook.domain.entries.base import LEADERS, Done, EntryId, Kind, MaybePrivate, ShortText, Words, catalogue

_ENTRY = "0192d5c8-0000-7000-8000-000000000001"


@catalogue.add
class Void(Kind):
    """Strikes one earlier entry of the same log out of the effective history, from now on, in plain sight."""

    kind = "void"
    strikable = False
    meaning: ClassVar[str] = "An earlier entry was struck."
    example: ClassVar[dict[str, Any]] = {"entry": _ENTRY, "why": "wrong machine"}

    entry: EntryId
    why: MaybePrivate = None


@catalogue.add
class Excused(Kind):
    """A supervisor ends one duty that will not be met. It never counts as kept."""

    kind = "excused"
    by = LEADERS
    meaning: ClassVar[str] = "A duty was excused."
    example: ClassVar[dict[str, Any]] = {"duty": "rinse", "opened_by": _ENTRY, "why": "terminal evacuated"}

    duty: ShortText
    opened_by: ShortText
    why: MaybePrivate = None


@catalogue.add
class Note(Done):
    """A remark that changes nothing."""

    kind = "note"
    meaning: ClassVar[str] = "A remark."
    words: ClassVar[Words] = Words(en=("note",), es=("anotacion",), sentence=True)
    example: ClassVar[dict[str, Any]] = {"note": "new mats at the gate"}

    note: MaybePrivate = None
