"""squeegee: wiped and looked at after every use (common practice, no source): grit in it draws lines on a floor."""

from logbook.domain.duties.after_use import AfterUse

DUTY = "squeegee"
RULE = AfterUse(DUTY)
