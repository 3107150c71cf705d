"""Why a text was not saved: the reasons, and which of several is told.

A text may have several troubles; people mend one at a time, so the first in the order of `Rank` is told, and of
those the one that stands first in the text.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum


class Rank(IntEnum):
    """The order in which troubles are told."""

    CODE = 1
    WORD = 2
    NUMBER = 3
    CONFLICT = 4
    MACHINE = 5
    TIME = 6


REASONS = (
    "mistyped_machine", "unknown_machine", "unknown_word", "ambiguous_word", "negated", "needs_quantity", "needs_unit",
    "out_of_range", "ambiguous_number", "unknown_number", "conflicting", "which_machine", "ambiguous_time",
    "skipped_time", "future_time", "too_old", "nothing_to_do",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Trouble:
    """One reason not to save, where it stands in the text, and what the answer must name."""

    rank: Rank
    start: int
    reason: str
    about: dict[str, object] = field(default_factory=dict)


def first(troubles: list[Trouble]) -> Trouble | None:
    """The trouble that is told, or None."""
    return min(troubles, key=lambda trouble: (trouble.rank, trouble.start)) if troubles else None
