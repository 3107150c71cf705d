"""The machine that a page, a form or a tap is about, as it is now: its plate, its site, its fold.

Promises that a machine of another site is, to whoever asks, not there; and that time has been led up to now.
"""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection

from logbook.domain.instants import Instant
from logbook.domain.machine import Machine
from logbook.domain.people import Person
from logbook.domain.register import MachineRecord, Register, SiteRecord
from logbook.web.house import House
from logbook.web.who.visitor import NotYours


@dataclass(frozen=True, slots=True)
class Ground:
    """One machine of one person's sites, its time led up to `now`."""

    register: Register
    record: MachineRecord
    site: SiteRecord
    machine: Machine
    now: Instant

    @property
    def uuid(self) -> str:
        """The machine's own name, by which its log is kept."""
        return self.record.uuid

    @property
    def code(self) -> str:
        """What stands on its plate."""
        return self.record.code


def ground_of(house: House, connection: Connection, person: Person, code: str) -> Ground:
    """The machine with this plate. Raises NotYours if there is none, or none at a site of this person's."""
    register, record, _fold = machine_of(house, connection, person, code)
    found = led_up(house, connection, register, record)
    if found is None:
        raise NotYours
    return found


def machine_of(
    house: House, connection: Connection, person: Person, code: str
) -> tuple[Register, MachineRecord, Machine]:
    """The machine with this plate as its log left it, retired or not. Raises NotYours as `ground_of` does."""
    register = house.register(connection)
    record = register.by_code.get(code) or register.by_code.get(code.strip().upper())
    if record is None:
        raise NotYours
    fold = house.intake.watchman(connection, register, record.uuid).machine
    if not person.at(fold.site):
        raise NotYours
    return register, record, fold


def grounds_of(house: House, connection: Connection, person: Person) -> list[Ground]:
    """Every machine of a person's sites that is not retired, by site, then plate."""
    register = house.register(connection)
    found = [led_up(house, connection, register, record) for record in register.machines.values()]
    mine = [
        each for each in found if each is not None and person.at(each.site.code) and each.machine.retired_at is None
    ]
    return sorted(mine, key=lambda each: (each.site.name, each.site.code, each.code))


def led_up(house: House, connection: Connection, register: Register, record: MachineRecord) -> Ground | None:
    """A machine of the register as its log tells it, or None while that has not begun."""
    machine = house.intake.watchman(connection, register, record.uuid).machine
    site = register.sites.get(machine.site)
    if machine.commissioned_at is None or site is None:
        return None
    now = house.now()
    machine.reach(now)
    return Ground(register, record, site, machine, now)
