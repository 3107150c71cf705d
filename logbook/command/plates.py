"""`logbook plates`: the sheet that is printed, cut and fixed to the machines."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from logbook.command import show
from logbook.command.options import Db, Json, machine_of, opened, register_of
from logbook.command.plate_sheet import Plate, sheet
from logbook.command.refusals import Refusal

if TYPE_CHECKING:
    from logbook.bootstrap import Program


def add(app: typer.Typer) -> None:
    """Hang this family's commands on the app."""
    app.command("plates")(plates)


def plates(
    machines: Annotated[list[str] | None, typer.Argument(metavar="[MACHINE]...", help="Only these; else all.")] = None,
    line: Annotated[str | None, typer.Option("--line", metavar="NUMBER", help="The number that texts go to.")] = None,
    out: Annotated[Path | None, typer.Option("--out", metavar="FILE.html", help="Where to; else stdout.")] = None,
    db: Db = None,
    json: Json = False,
) -> None:
    """Make a sheet to print: one plate a machine, with its code, its site, and what to text to whom."""
    with opened(db) as program:
        name = register_of(program).name
        found = of_fleet(program, machines or [], line)
    if not found:
        raise Refusal("There is no machine in this fleet that needs a plate. Nothing was written.")
    if out is not None:
        try:
            out.write_text(sheet(name, found), encoding="utf-8")
        except OSError as why:
            raise Refusal(f"{str(out)!r} cannot be written: {why.strerror or why}.") from None
    if json:
        show.as_json({"file": None if out is None else str(out), "plates": [plate._asdict() for plate in found]})
    elif out is not None:
        show.line(f"{len(found)} plates are in {out}: open it, and print.")
    else:
        sys.stdout.write(sheet(name, found))


def of_fleet(program: Program, codes: list[str], line: str | None) -> list[Plate]:
    """The plates of the machines named, else of all that are not retired, by site and code."""
    from logbook.store import folds

    register = register_of(program)
    chosen = [machine_of(register, code) for code in codes] or list(register.machines.values())
    found = []
    with program.store.read() as connection:
        for machine in chosen:
            fold = folds.load(connection, machine.uuid, program.intake.book(register, machine.uuid)).machine
            if fold.retired_at is None:
                site = register.sites[fold.site]
                found.append((site.code, Plate(machine.code, site.name, line, register.words.get(site.code))))
    return [plate for _site, plate in sorted(found)]
