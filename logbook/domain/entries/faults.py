"""Entries about what is wrong with a machine, and about its mending."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar

from pydantic import Field

from logbook.domain.entries.base import LEADERS, PRIVATE, Done, EntryId, Kind, MaybePrivate, Words, catalogue

PHOTO_ITEM = "image"
"""The private item that a photograph is kept under, and found by when its time is over."""
PHOTO_MOST = 200_000
"""Octets of a photograph as it is kept."""
Jpeg = Annotated[str, Field(min_length=4, max_length=(PHOTO_MOST + 2) // 3 * 4, pattern=r"^/9j/[A-Za-z0-9+/]*={0,2}$")]
"""A JPEG in base64 (RFC 4648, section 4): FF D8 FF comes out as `/9j/`."""


@catalogue.add
class Fault(Done):
    """Something is wrong. The sentence is kept as the reporter wrote it."""

    kind = "fault"
    meaning: ClassVar[str] = "Something is wrong with the machine."
    words: ClassVar[Words] = Words(
        en=("fault", "broken", "broke", "problem", "leak", "leaks", "leaked", "leaking", "won't", "doesn't"),
        es=("falla", "averia", "problema", "fuga", "gotea", "rota", "roto", "dañada", "descompuesta", "malograda",
            "no carga", "no prende", "no arranca", "no sirve", "no funciona"),
        sentence=True,
    )  # fmt: skip
    example: ClassVar[dict[str, Any]] = {"note": "squeegee hose leaks"}

    note: MaybePrivate = None


@catalogue.add
class Photo(Kind):
    """What is wrong, as a picture: an entry of its own, so that the fault arrives even where the picture cannot."""

    kind = "photo"
    meaning: ClassVar[str] = "A photograph of what is wrong."
    example: ClassVar[dict[str, Any]] = {"entry": "0192d5c8-0000-7000-8000-000000000001", "image": "/9j/4AAQSkZJRg=="}

    entry: EntryId
    image: Annotated[Jpeg, PRIVATE]


@catalogue.add
class RepairRequested(Kind):
    """Somebody who can mend it was asked to."""

    kind = "repair_requested"
    by = LEADERS
    meaning: ClassVar[str] = "A repair was asked for."
    example: ClassVar[dict[str, Any]] = {"note": "workshop comes on Wednesday"}

    note: MaybePrivate = None


@catalogue.add
class Repaired(Done):
    """It is mended."""

    kind = "repaired"
    meaning: ClassVar[str] = "The fault was mended."
    words: ClassVar[Words] = Words(
        en=("fixed", "repaired"),
        es=("reparada", "reparado", "arreglada", "arreglado", "arregle"),
        sentence=True,
    )
    example: ClassVar[dict[str, Any]] = {"note": "hose replaced"}

    note: MaybePrivate = None
