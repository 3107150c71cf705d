"""What is said while processes are killed: a fleet whose duties fall due within seconds, and who texts what to it.

The numbers of policy are the smallest that policy takes, so that the real clock comes to hundreds of due instants
in a minute. No night is expected and no hour is quiet: whatever is told, is told at once.
"""

from __future__ import annotations

import random
import uuid
from typing import Any

CODES = ("B7H", "C4J", "C5H", "D3H", "E4B", "B8F", "M4G", "N2G")
CLEANERS = 60
SITES = ("north-slip", "fogbell")
ZONES = ("America/Halifax", "America/St_Johns")


def _phone(number: int) -> str:
    return f"+1902555{100 + number:04d}"


FLEET: dict[str, Any] = {
    "fleet": {"name": "Kittiwake Crossings", "origin": "kittiwake.example/floors", "language": "en"},
    "policy": {
        "rinse.grace": "PT1S", "charge.grace": "PT2S", "squeegee.grace": "PT1S", "closing": "PT2S", "settle": "PT1S",
        "longest_use": "PT1M", "remind_before": "PT1S", "gather": "PT0S", "quiet": False, "cap": 1000,
        "watering.every": "PT1M", "filter.every": "PT1M", "escalation": ["PT0S supervisor", "PT3S owner"],
    },
    "site": [
        {"code": code, "name": code.title(), "zone": zone} for code, zone in zip(SITES, ZONES, strict=True)
    ],
    "machine": [
        {"code": code, "site": SITES[number % 2], "battery": "flooded", "commissioned_at": "2026-01-01T12:00:00Z"}
        for number, code in enumerate(CODES)
    ],
    "person": [
        {"key": "ines", "name": "Ines Calder", "role": "owner", "email": "ines@kittiwake.example"},
        *(
            {"key": f"boss{number}", "name": f"Boss {number}", "role": "supervisor",
             "email": f"boss{number}@kittiwake.example", "sites": [site]}
            for number, site in enumerate(SITES)
        ),
        # With an address, so that reminders can be sent; they text from their numbers.
        *(
            {"key": f"c{number}", "name": f"Cleaner {number}", "role": "cleaner", "phone": _phone(number),
             "email": f"c{number}@kittiwake.example", "sites": list(SITES)}
            for number in range(CLEANERS)
        ),
    ],
}  # fmt: skip

_ACTS = ("start", "parked", "parked", "rinsed", "charging", "squeegee", "start", "parked {n}%", "filled {n} l",
         "watered {n} ml", "filter", "hours {n}", "rinsed charging", "parked rinsed squeegee")  # fmt: skip


def said(rng: random.Random, at: int) -> dict[str, Any]:
    """One thing that somebody says at an instant: mostly a text, sometimes a form's entry. Its id is its own."""
    id_ = str(uuid.UUID(int=rng.getrandbits(128), version=4))
    machine, person = rng.choice(CODES), rng.randrange(CLEANERS)
    if rng.random() < 0.15:
        kind = rng.choice(("start", "put_away", "rinse", "charge", "watering"))
        return {"id": id_, "way": "form", "machine": machine, "kind": kind, "who": f"c{person}", "at": at}
    words = rng.choice(_ACTS).format(n=rng.randrange(1, 100))
    return {"id": id_, "way": "text", "text": f"{machine} {words}", "who": _phone(person), "at": at}
