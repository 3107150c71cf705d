"""segments: measured every fortnight, so that wear is known before the abrasive is gone. New ones count too."""

from logbook.domain.duties.recurring import Recurring

DUTY = "segments"
RULE = Recurring(DUTY, "segments", "segment_change")
