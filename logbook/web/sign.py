"""The clock's own sign of life, as every page shows it: its silence is an alert too."""

from __future__ import annotations

from dataclasses import dataclass

from logbook.domain.instants import SECOND
from logbook.domain.wording.times import span
from logbook.store import clock
from logbook.watch.health import OLD
from logbook.web.house import House


@dataclass(frozen=True, slots=True)
class Sign:
    """`age`: how long ago the clock last acted, in words; "" where it never did. `old`: alerts are not being raised."""

    age: str
    old: bool


def sign(house: House, language: str) -> Sign:
    """The clock, as of now. Raises StoreError if the database cannot be asked."""
    now = house.now()
    with house.store.read() as connection:
        found = clock.of(connection, "step")
    if found is None:
        return Sign("", True)
    age = max(0, now - found.at)
    seconds = age // SECOND
    return Sign(f"{seconds} s" if seconds < 120 else span(age, language), age > OLD)
