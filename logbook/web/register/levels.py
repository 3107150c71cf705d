"""Where a number of policy is set: for the fleet, a site, or a machine; and which of them is in force."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection

from logbook.domain.policy import KEYS, Value
from logbook.domain.register import Register
from logbook.domain.wording.mark import mark
from logbook.web.house import House
from logbook.web.register.ground import machine_of
from logbook.web.who.visitor import NotYours, Visitor

FROM = {
    "default": mark("as delivered"),
    "fleet": mark("the fleet's"),
    "site": mark("the site's"),
    "machine": mark("the machine's"),
}


@dataclass(frozen=True, slots=True)
class Level:
    """Where a number is set: for the fleet (both empty), a site, or a machine at a site."""

    site: str = ""
    machine: str = ""
    uuid: str = ""

    @property
    def query(self) -> str:
        """For the page's address."""
        return f"?machine={self.machine}" if self.machine else f"?site={self.site}" if self.site else ""

    def own(self, register: Register) -> Mapping[str, Value]:
        """What is set at this very level."""
        return register.settings(None if self.machine else self.site or None, self.uuid or None)

    def data(self, values: Mapping[str, Any]) -> dict[str, Any]:
        """The entry's data."""
        if self.machine:
            return {"machine": self.uuid, "values": dict(values)}
        return ({"site": self.site} if self.site else {}) | {"values": dict(values)}


def level_of(
    house: House, connection: Connection, who: Visitor, site: str, machine: str, *, change: bool = False
) -> Level:
    """The level that an address names; `change`: it is to be changed, the fleet's by owners alone. Raises NotYours."""
    register = house.register(connection)
    if machine:
        known = machine_of(house, connection, who, machine)
        return Level(known.site, machine, known.record.uuid)
    if site:
        if site not in register.sites or not who.at(site):
            raise NotYours
        return Level(site)
    if change and who.role != "owner":
        raise NotYours
    return Level()


def in_force(register: Register, level: Level, name: str) -> tuple[Value | None, str]:
    """The value of a key at a level, and where it comes from."""
    where = (
        ("machine", register.settings(machine=level.uuid) if level.uuid else {}),
        ("site", register.settings(site=level.site) if level.site else {}),
        ("fleet", register.settings()),
    )
    for origin, values in where:
        if name in values:
            return values[name], origin
    return KEYS[name].default, "default"
