"""The demo's night, as a script: an invented ferry terminal, two machines, two cleaners, one thing forgotten.

Only data: who sends what, and when. `logbook.command.demo` plays it on the real engine.
"""

from __future__ import annotations

from typing import NamedTuple

from logbook.domain.instants import MINUTE, Instant, parse

FLEET = """
[fleet]
name = "Strait Ferries"
origin = "ferry.example/demo"
language = "en"

[[site]]
code = "north-slip"
name = "North Slip"
zone = "America/Halifax"
nights = [{rule = "FREQ=DAILY", from = "22:00", to = "06:00"}]

[[site]]
code = "gull-head"
name = "Gull Head"
zone = "America/St_Johns"

[[machine]]
code = "B7H"
site = "north-slip"
battery = "flooded"
serial = "SN-0417"
commissioned_at = "2026-02-16T15:00:00-04:00"
segments = {part = "metal 30/40", heads = 3, new_um = 12000}

[[machine]]
code = "C4J"
site = "north-slip"
battery = "flooded"
serial = "SN-0422"
commissioned_at = "2026-02-16T15:00:00-04:00"
segments = {part = "metal 30/40", heads = 3, new_um = 12000}

[[machine]]
code = "D2J"
site = "gull-head"
battery = "flooded"
serial = "SN-0431"
commissioned_at = "2026-02-16T15:00:00-04:00"
segments = {part = "metal 30/40", heads = 3, new_um = 12000}

[[person]]
key = "ana"
name = "Ana"
role = "cleaner"
language = "en"
sites = ["north-slip"]
phone = "+19025550150"
email = "ana@ferry.example"

[[person]]
key = "luis"
name = "Luis"
role = "cleaner"
language = "es"
sites = ["north-slip"]
phone = "+19025550151"
email = "luis@ferry.example"

[[person]]
key = "mia"
name = "Mia"
role = "cleaner"
language = "en"
sites = ["gull-head"]
phone = "+17095550152"

[[person]]
key = "kit"
name = "Kit"
role = "keeper"
language = "en"
sites = ["north-slip"]
email = "kit@ferry.example"

[[person]]
key = "olu"
name = "Olu"
role = "owner"
language = "en"

[[person]]
key = "jo"
name = "Jo"
role = "supervisor"
language = "en"
sites = ["north-slip", "gull-head"]
email = "jo@ferry.example"
quiet = "21:00-04:30"
"""
"""The supervisor of this night is up early, so that the alert rings at once and not with the morning's letter."""

ANA, LUIS = "+19025550150", "+19025550151"
EVENING: Instant = parse("2026-03-09T21:30:00-03:00")


class Said(NamedTuple):
    """A text: minutes after half past nine in the evening, who, their number, the words."""

    minute: int
    who: str
    number: str
    text: str

    @property
    def at(self) -> Instant:
        """When it comes."""
        return EVENING + self.minute * MINUTE


BEFORE = (
    Said(34, "Ana", ANA, "B7H start"),
    Said(41, "Luis", LUIS, "C4J empiezo"),
    Said(44, "Luis", LUIS, "C4J llene 60 l"),
    Said(446, "Luis", LUIS, "C4J vacie, enjuague y limpie el haragan"),
    Said(447, "Luis", LUIS, "C4J vacie y enjuague, haragan"),
    Said(449, "Luis", LUIS, "C4J guardada 58 %"),
)
"""Luis forgets the charger. His first try has a mistake that the program asks about."""

YOURS_AT = EVENING + 462 * MINUTE
"""12 past five in the morning: the visitor's turn, as Ana."""
YOURS = "B7H emptied, rinsed, squeegee, parked 64 %"

UNTIL = EVENING + 506 * MINUTE
AFTER = (Said(503, "Luis", LUIS, "C4J cargada"), Said(505, "Ana", ANA, "B7H plugged in"))
MORNING = EVENING + 600 * MINUTE
