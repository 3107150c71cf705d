"""The usual cautions, for every message that sends somebody to work which can hurt.

Promises that wherever one is shown, local code, site rules and qualified people have the last word. They repeat
what is commonly published and replace no training; none of them is ever left out to save room in a mail.
"""

from __future__ import annotations

from collections.abc import Iterable

from logbook.domain.wording import speech
from logbook.domain.wording.mark import mark

# 29 CFR 1926.441 and 1910.178(g) (ventilation, flame, face shield, apron, gloves, water within 25 ft).
BATTERY = mark(
    "Battery: only where it is ventilated, no flame, spark or tool on top; face shield, gloves and apron on, water "
    "to flush with within reach."
)
# Common practice: acid spills when cells are filled too high or too early.
ACID = mark("Distilled water only, never acid; wash splashes off with plenty of water at once and get help.")
# 29 CFR 1910.22(a)(2) and (d)(2).
FLOOR = mark("Wet floor: guard it until it is dry.")
# 40 CFR 403.5 and county pages: never to a storm drain or a septic system.
DRAIN = mark(
    "Recovery water goes to the sanitary sewer, with the local agency's leave, never to a storm drain or a septic "
    "system."
)
# Common practice, no source.
HEADS = mark("Machine off, key out, deck raised before hands go near the heads.")
# Common practice, no source.
BARE = mark("Never run it with bare segments.")

ORDER = (HEADS, BARE, BATTERY, ACID, DRAIN, FLOOR)


def care(chosen: Iterable[str], language: str) -> str:
    """One paragraph of these cautions, each once, closed by who decides; empty if there are none."""
    wanted = set(chosen)
    if not wanted:
        return ""
    say = speech(language, "alerts")
    sentences = " ".join(say(caution) for caution in ORDER if caution in wanted)
    closing = say("Take care: %(cautions)s Local code, site rules and qualified people come before anything said here.")
    return closing % {"cautions": sentences}
