"""Entries that say when a machine was out on the floor and when it came back."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar

from pydantic import Field

from logbook.domain.entries.base import Done, Quantity, Words, catalogue

Percent = Annotated[int, Field(ge=0, le=100)]


@catalogue.add
class Start(Done):
    """Opens a use, or goes on with the open one."""

    kind = "start"
    meaning: ClassVar[str] = "The machine went out to work."
    words: ClassVar[Words] = Words(
        en=("start", "started", "starting"), es=("empiezo", "empezar", "prendi", "encendi", "arranque")
    )


@catalogue.add
class PutAway(Done):
    """Ends a use: what is owed after it falls due from here."""

    kind = "put_away"
    meaning: ClassVar[str] = "The machine was put away."
    words: ClassVar[Words] = Words(
        en=("away", "parked", "put away"),
        es=("guarde", "guardo", "guardar", "guardada", "guardado", "estacione", "estacionada", "parquee"),
        quantity=Quantity("charge_pct", "percent", 0, 100),
    )
    example: ClassVar[dict[str, Any]] = {"charge_pct": 83}

    charge_pct: Percent | None = None


@catalogue.add
class NotUsed(Done):
    """Answers an expected night: the machine stayed where it was."""

    kind = "not_used"
    meaning: ClassVar[str] = "The machine was not used that night."
    words: ClassVar[Words] = Words(en=("unused", "not used"), es=("no usada", "sin usar"))


@catalogue.add
class Prepared(Done):
    """The look-over before the start."""

    kind = "prepared"
    meaning: ClassVar[str] = "The machine was looked over before the start."
    words: ClassVar[Words] = Words(en=("ready", "prepared", "checked"), es=("preparada", "revisada", "revise"))
