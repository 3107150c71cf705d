"""`logbook policy`: every number that the owner may set: in force, by default, and what it means."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from logbook.command import show
from logbook.command.options import Db, Json, address, content, machine_of, missing, opened, register_of
from logbook.command.refusals import Refusal
from logbook.domain.fleetentries import register_of as register_of_file
from logbook.domain.fleetfile import read
from logbook.domain.instants import Instant
from logbook.domain.machine import FOREVER
from logbook.domain.policy import KEYS, Policy, Value, check, resolve
from logbook.domain.register import Register


def add(app: typer.Typer) -> None:
    """Hang this family's commands on the app."""
    app.command("policy")(policy)


def policy(
    key: Annotated[str | None, typer.Argument(metavar="[KEY]", help="One number, or all that begin like this.")] = None,
    site: Annotated[str | None, typer.Option("--site", metavar="CODE", help="As in force at this site.")] = None,
    machine: Annotated[str | None, typer.Option("--machine", metavar="CODE", help="As in force for it.")] = None,
    fleet: Annotated[Path | None, typer.Option("--fleet", metavar="FLEET.toml", help="By a file, not the log.")] = None,
    db: Db = None,
    json: Json = False,
) -> None:
    """Show the numbers of policy: in force, by default, unit and meaning. Without a logbook, the defaults."""
    names = wanted(key)
    force = _in_force(site, machine, fleet, db)
    rows = [row(name, force) for name in names]
    if json:
        show.as_json(rows)
        return
    columns = ("number", "in force", "default", "unit", "meaning")
    show.table(columns, [[spelt(each[c]) for c in ("key", "in_force", "default", "unit", "meaning")] for each in rows])


def wanted(key: str | None) -> list[str]:
    """The numbers that are asked for. Raises PolicyError, naming the nearest, if there is none."""
    if key is None:
        return list(KEYS)
    names = [name for name in KEYS if name == key or name.startswith(f"{key.rstrip('.')}.")]
    if not names:
        check({key: None})
    return names


def row(name: str, force: Policy) -> dict[str, Any]:
    """One number as the table shows it."""
    key = KEYS[name]
    value = force.values.get(name)
    if value is None and key.follows is not None:
        value = force.values[key.follows]
    default = key.default if key.follows is None else KEYS[key.follows].default
    return {"key": name, "in_force": value, "default": default, "unit": key.unit, "meaning": key.meaning}


def spelt(value: Value | None) -> str:
    """A value as one would type it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return ", ".join(value)
    return "" if value is None else str(value)


def _in_force(site: str | None, machine: str | None, fleet: Path | None, db: str | None) -> Policy:
    if fleet is not None:
        file = read(content(fleet, "The fleet file"))
        register = register_of_file(file, -FOREVER)
        places = {each.code: each.site for each in file.machine}
        return at(register, site, machine, places.get(machine or "", ""), 0)
    if site is None and machine is None and missing(address(db)):
        return resolve()
    with opened(db) as program:
        register = register_of(program)
        place = ""
        if machine is not None:
            known = machine_of(register, machine)
            machine = known.code
            with program.store.read() as connection:
                place = program.intake.watchman(connection, register, known.uuid).machine.site
        return at(register, site, machine, place, program.now())


def at(register: Register, site: str | None, machine: str | None, place: str, now: Instant) -> Policy:
    """What is in force for the fleet, a site, or a machine where it stands. Raises Refusal for an unknown one."""
    if machine is not None:
        known = machine_of(register, machine)
        return register.policy(known.uuid, site or place, now)
    if site is not None and site not in register.sites:
        raise Refusal(
            f"There is no site {site!r} in this fleet; there are {', '.join(sorted(register.sites)) or 'none'}."
        )
    return register.policy("", site or "", now)
