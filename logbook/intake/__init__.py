"""The one door in. Every channel, page and import writes through `Intake.record`, and nothing else writes a log."""

from logbook.intake.drafts import CLOCK, PROGRAM, By, Draft, Receipt, Written
from logbook.intake.record import Intake

__all__ = ["CLOCK", "PROGRAM", "By", "Draft", "Intake", "Receipt", "Written"]
