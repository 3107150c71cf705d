"""The invented fleet, as the generator needs it: sites with their nights, machines, who works where.

It reads fleet.toml with the standard library and believes it: whether the file is right is the program's to say.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from scenario import walls

FILE = Path(__file__).with_name("fleet.toml")


@dataclass(frozen=True)
class Person:
    """Somebody who reports."""

    key: str
    role: str
    language: str
    phone: str
    sites: tuple[str, ...]


@dataclass(frozen=True)
class Site:
    """A terminal, its clock, its nights, and the minutes of grace it grants after a put-away."""

    code: str
    zone: ZoneInfo
    rule: dict[str, Any]
    rinse_grace: timedelta
    squeegee_grace: timedelta
    charge_grace: timedelta
    prepared: bool
    cleaners: tuple[Person, ...]
    supervisor: Person

    def cleaner(self, day: date) -> Person:
        """Who works the night that begins on that date."""
        return self.cleaners[day.toordinal() % len(self.cleaners)]

    def begins(self, day: date) -> datetime:
        """The beginning of the night of that date."""
        return walls.at(self.zone, day, self.rule["from"])

    def ends(self, day: date) -> datetime:
        """Its end, in the morning of the next date (no night of this fleet ends before midnight)."""
        return walls.at(self.zone, day + walls.DAY, self.rule["to"])

    def night_due(self, day: date) -> datetime:
        """When the night must have been told: its end and an hour."""
        return self.ends(day) + walls.HOUR

    def grace(self, duty: str) -> timedelta:
        """How long after the put-away a duty of the use falls due here."""
        return {"rinse": self.rinse_grace, "squeegee": self.squeegee_grace, "charge": self.charge_grace}[duty]


@dataclass
class Machine:
    """A machine as it was delivered; what becomes of it is the simulation's."""

    code: str
    site: str
    battery: str
    commissioned: datetime
    row: dict[str, Any]
    heads: int
    new_um: int


@dataclass
class Fleet:
    """The whole file."""

    sites: dict[str, Site]
    machines: list[Machine]
    people: dict[str, Person]
    raw: dict[str, Any] = field(repr=False)


def load(file: Path = FILE) -> Fleet:
    """Read the fleet file. Raises OSError, KeyError or TOMLDecodeError where it is not as this scenario wrote it."""
    raw = tomllib.loads(file.read_text(encoding="utf-8"))
    people = {
        row["key"]: Person(row["key"], row["role"], row["language"], row["phone"], tuple(row.get("sites", ())))
        for row in raw["person"]
    }
    sites = {row["code"]: _site(row, raw.get("policy", {}), people) for row in raw["site"]}
    machines = [
        Machine(row["code"], row["site"], row["battery"], datetime.fromisoformat(row["commissioned_at"]), row,
                row["segments"]["heads"], row["segments"]["new_um"])
        for row in raw["machine"]
    ]  # fmt: skip
    return Fleet(sites, machines, people, raw)


def _site(row: dict[str, Any], fleet_policy: dict[str, Any], people: dict[str, Person]) -> Site:
    policy = {**fleet_policy, **row.get("policy", {})}
    here = [person for person in people.values() if row["code"] in person.sites]
    return Site(
        code=row["code"],
        zone=ZoneInfo(row["zone"]),
        rule=row["nights"][0],
        rinse_grace=_minutes(policy["rinse.grace"]),
        squeegee_grace=_minutes(policy["squeegee.grace"]),
        charge_grace=_minutes(policy["charge.grace"]),
        prepared=bool(policy.get("prepared", False)),
        # Who works at two sites takes the second place at one of them, so is never at both in one night.
        cleaners=tuple(
            sorted(
                (p for p in here if p.role == "cleaner"), key=lambda p: len(p.sites) > 1 and p.sites[0] != row["code"]
            )
        ),
        supervisor=next(person for person in here if person.role == "supervisor"),
    )


def _minutes(duration: str) -> timedelta:
    """`PT45M`; the scenario's graces are minutes."""
    return timedelta(minutes=int(duration.removeprefix("PT").removesuffix("M")))
