"""`logbook fleet apply`, `logbook fleet show`, `logbook site add`: who and what there is."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from logbook.command import show
from logbook.command.options import Db, Json, content, opened, register_of
from logbook.command.refusals import Refusal
from logbook.domain import fleetentries
from logbook.domain.fleetfile import read
from logbook.domain.standing import stop_of

if TYPE_CHECKING:
    from logbook.bootstrap import Program
    from logbook.domain.fleettables import FleetFile
    from logbook.domain.machine import Machine
    from logbook.domain.register import Register


def add(app: typer.Typer) -> None:
    """Hang this family's commands on the app."""
    fleet = typer.Typer(no_args_is_help=True, help="The fleet: apply its file, or show what the log knows of it.")
    fleet.command("apply")(apply)
    fleet.command("show")(show_fleet)
    app.add_typer(fleet, name="fleet")
    site = typer.Typer(no_args_is_help=True, help="A site by itself.")
    site.command("add")(add_site)
    app.add_typer(site, name="site")


def apply(
    file: Annotated[Path, typer.Argument(metavar="FLEET.toml", help="The fleet as its owner writes it down.")],
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only say what would be appended.")] = False,
    add_people: Annotated[
        bool, typer.Option("--add-people", help="Add people whom the register does not know, though some were erased.")
    ] = False,
    db: Db = None,
    json: Json = False,
) -> None:
    """Bring the log up to a fleet file: append what the file says and the log does not, and nothing else."""
    from logbook.intake import fleet

    wanted = read(content(file, "The fleet file"))
    with opened(db) as program:
        if not add_people:
            _none_erased(program, wanted)
        if dry_run:
            register = _register(program)
            entries = [(each.kind, each.key) for each in fleetentries.differences(wanted, register)]
            commissioned = [each.code for each in fleetentries.commissionings(wanted, register)]
        else:
            done = fleet.apply(program.intake, wanted)
            entries, commissioned = list(done.entries), list(done.commissioned)
    if json:
        rows = [{"kind": kind, "key": key} for kind, key in entries]
        show.as_json({"dry_run": dry_run, "entries": rows, "commissioned": commissioned})
        return
    if not entries and not commissioned:
        show.line("Nothing differs; nothing was appended.")
        return
    show.table(("entry", "of"), [*entries, *(("commissioned", code) for code in commissioned)])
    if dry_run:
        show.line("Nothing was appended yet.")


def _none_erased(program: Program, wanted: FleetFile) -> None:
    """Refuse to add people where people were erased: of the erased no key is kept by which they could be told apart.

    Raises Refusal.
    """
    from logbook.intake import erasing

    with program.store.read() as connection:
        try:
            register = program.registry.current(connection)
        except LookupError:
            return  # nothing was founded, so nobody was erased
        if not erasing.erased(program.intake, connection):
            return
    new = [
        e.key for e in fleetentries.differences(wanted, register) if e.kind == "person_set" and "person" not in e.data
    ]
    if new:
        raise Refusal(
            f"The register does not know {', '.join(new)}, and people were erased here, of whom no key is kept. Nothing "
            "was appended. Take whoever was erased out of the file, for good; if all of these are new, give --add-people."
        )


def _register(program: Program) -> Register:
    """The register, or an empty one where no fleet was founded yet."""
    from logbook.domain.register import Register

    try:
        return register_of(program)
    except LookupError:
        return Register()


def show_fleet(db: Db = None, json: Json = False) -> None:
    """Show sites, machines and people as the log knows them now. People are shown by key and role, not by name."""
    with opened(db) as program:
        told = described(program)
    if json:
        show.as_json(told)
        return
    show.line(f"{told['name']} ({told['origin']}), language {told['language']}")
    show.line()
    show.table(
        ("site", "name", "zone", "nights"), [(s["code"], s["name"], s["zone"], _nights(s)) for s in told["sites"]]
    )
    show.line()
    show.table(
        ("machine", "site", "battery", "state"),
        [(m["code"], m["site"], m["battery"], m["state"]) for m in told["machines"]],
    )
    show.line()
    show.table(
        ("person", "role", "language", "sites", "state"),
        [(p["key"], p["role"], p["language"], ", ".join(p["sites"]), p["state"]) for p in told["people"]],
    )


def _nights(site: dict[str, Any]) -> str:
    return "; ".join(f"{rule['from']}-{rule['to']} {rule['rule']}" for rule in site["nights"])


def described(program: Program) -> dict[str, Any]:
    """The fleet as it is now, for JSON."""

    register = register_of(program)
    machines = []
    with program.store.read() as connection:
        for uuid, machine in sorted(register.machines.items(), key=lambda pair: pair[1].code):
            fold = program.intake.watchman(connection, register, uuid).machine
            machines.append(
                {"code": machine.code, "id": uuid, "site": fold.site, "battery": fold.battery, "state": _state(fold)}
            )
    return {
        "name": register.name, "origin": register.origin, "language": register.language,
        "sites": [
            {
                "code": site.code, "name": site.name, "zone": site.zone,
                "nights": [dict(zip(("rule", "from", "to", "except"), rule, strict=True)) for rule in site.nights],
            }
            for site in register.sites.values()
        ],
        "machines": machines,
        "people": [
            {
                "key": person.key, "role": person.role, "language": person.language, "state": person.state,
                "sites": list(person.sites),
            }
            for person in register.people.values()
        ],
    }  # fmt: skip


def _state(fold: Machine) -> str:
    """What may be done with a machine, in a word or two."""
    match stop_of(fold):
        case "retired":
            return "retired"
        case "out_of_service":
            return "out of service"
        case "held":
            return "held, not to be run"
        case "bare_head":
            return "not to be run: a head has no abrasive left"
        case None:
            return "in service"


def add_site(
    code: Annotated[str, typer.Argument(metavar="CODE", help="A short name of its own: north-slip.")],
    zone: Annotated[str, typer.Option("--zone", help="Its IANA time zone: America/Halifax.")],
    name: Annotated[str | None, typer.Option("--name", help="What people call it.")] = None,
    nights: Annotated[
        str | None, typer.Option("--nights", metavar="RULE", help="Nights worked, RFC 5545: FREQ=DAILY.")
    ] = None,
    begins: Annotated[str, typer.Option("--from", metavar="HH:MM", help="When such a night begins.")] = "22:00",
    ends: Annotated[str, typer.Option("--to", metavar="HH:MM", help="When it ends.")] = "06:00",
    db: Db = None,
    json: Json = False,
) -> None:
    """Add a site to the fleet. To change one, apply a fleet file."""
    from logbook.intake import PROGRAM, Draft

    rules = [] if nights is None else [{"rule": nights, "from": begins, "to": ends}]
    with opened(db) as program:
        register = register_of(program)
        if code in register.sites:
            raise Refusal(f"There is a site {code!r} already. Nothing was changed; to change it, apply a fleet file.")
        with program.store.read() as connection:
            fleet = program.registry.fleet(connection)
        data = {"site": code, "name": name or code, "zone": zone, "nights": rules}
        receipt = program.intake.record([Draft(program.intake.new_id(), fleet, "site_set", data)], PROGRAM)
    if json:
        show.as_json({"id": receipt.entries[0].id, **data})
        return
    show.line(f"Site {code} was added. Put it into FLEET.toml too, or the file no longer tells of the whole fleet.")
