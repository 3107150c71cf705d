"""Entries about the diamond segments under the machine: how much abrasive is left, and new ones."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar

from pydantic import Field

from logbook.domain.entries.base import Done, Quantity, Words, catalogue

Lengths = Annotated[list[Annotated[int, Field(ge=0, le=40_000)]], Field(min_length=1, max_length=24)]
_EN = ("seg", "segs", "segment", "segments")
_ES = ("segmento", "segmentos", "diamantes")


@catalogue.add
class Segments(Done):
    """A reading: abrasive left, in um, one length for all heads or one a head in order."""

    kind = "segments"
    meaning: ClassVar[str] = "The segments' remaining abrasive was measured."
    words: ClassVar[Words] = Words(
        en=_EN, es=_ES, quantity=Quantity("left_um", "length", 0, 40_000, required=True, many=True)
    )
    example: ClassVar[dict[str, Any]] = {"left_um": [9_500, 9_000, 8_500]}

    left_um: Lengths


@catalogue.add
class SegmentChange(Done):
    """New segments were fitted; earlier readings say nothing of them."""

    kind = "segment_change"
    meaning: ClassVar[str] = "New segments were fitted."
    words: ClassVar[Words] = Words(
        also_of="segments",
        with_also=("new", "replaced", "changed", "nuevo", "nuevos", "cambie"),
    )

    left_um: Lengths | None = None
