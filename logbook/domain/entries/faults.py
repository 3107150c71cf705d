"""Entries about what is wrong with a machine, and about its mending."""

from __future__ import annotations

from typing import Any, ClassVar

from logbook.domain.entries.base import LEADERS, Done, Kind, MaybePrivate, Words, catalogue


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
