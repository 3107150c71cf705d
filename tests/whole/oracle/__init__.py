"""A second, slow reading of the rules, to hold the program against.

This room promises to say what a clock that never sleeps would have written over a list of entries, read from
the words of the rules alone: at every step the effective history is built anew, uses and duties are read off
it, and alerts follow from what was overdue at the step before. It never imports the program, keeps nothing
between two steps but the alerts themselves, and is in no hurry.
"""

from __future__ import annotations

from .clock import known_duties, replay
from .moments import parse

__all__ = ["known_duties", "parse", "replay"]
