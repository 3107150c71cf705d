"""The catalogue of entry kinds: everything that can ever be written into a log.

Importing this package fills `catalogue`. The text parser, the command help and the table in DEVELOPERS.md are
made from it; a new kind is one class in one of these files, its words, and a row in that table.
"""

from logbook.domain.entries import alerts, care, corrections, facts, faults, fleet, parts, people, segments, use
from logbook.domain.entries.base import (
    Catalogue,
    Done,
    Kind,
    Quantity,
    Words,
    catalogue,
)

__all__ = [
    "Catalogue", "Done", "Kind", "Quantity", "Words", "alerts", "care", "catalogue", "corrections", "facts",
    "faults", "fleet", "parts", "people", "segments", "use",
]  # fmt: skip
