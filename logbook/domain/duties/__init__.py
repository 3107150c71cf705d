"""The duties: one file each, saying what opens it, when it is due and what ends it.

Importing this package puts every duty's reactions in place. The order of the imports is the order in which they
react to one entry: uses first, for duties hang on them.
"""

# The order counts.
# isort: off
from logbook.domain import uses as _uses
from logbook.domain.duties import facts as _facts
from logbook.domain.duties import rinse, charge, watering, filter, squeegee, prepared
from logbook.domain.duties import segments, segments_low, segments_gone, fault, repair, held_start, delivery, night
from logbook.domain.duties import excuse as _excuse
# isort: on

RULES = (
    rinse, charge, watering, filter, squeegee, prepared, segments, segments_low, segments_gone, fault, repair,
    held_start, delivery, night,
)  # fmt: skip

DUTIES: tuple[str, ...] = tuple(rule.DUTY for rule in RULES)
"""Every duty's name, in the order in which people read them."""

RECURRING: frozenset[str] = frozenset({"watering", "filter", "segments"})
"""Duties of which the end of one opens the next."""

__all__ = ["DUTIES", "RECURRING", "RULES", "_excuse", "_facts", "_uses"]
