"""filter: the clean-water filter, once a week (common practice, no source): a clogged one starves the heads."""

from logbook.domain.duties.recurring import Recurring

DUTY = "filter"
RULE = Recurring(DUTY, "filter")
