"""`logbook plates`: the sheet that is printed, cut and fixed to the machines."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from logbook.command import show
from logbook.command.options import Db, Json, machine_of, opened, register_of
from logbook.command.refusals import Refusal, say
from logbook.web.plates import Plate, sheet

if TYPE_CHECKING:
    from logbook.bootstrap import Program

NO_ADDRESS = (
    "The plates have no square code: set base_address in logbook.toml (or LOGBOOK_BASE_ADDRESS), such as "
    "https://log.ferries.example, and make them again."
)
NO_DRAWING = "The plates have no square code: drawing it needs machine-logbook[web], which is not installed."


def add(app: typer.Typer) -> None:
    """Hang this family's commands on the app."""
    app.command("plates")(plates)


def plates(
    machines: Annotated[list[str] | None, typer.Argument(metavar="[MACHINE]...", help="Only these; else all.")] = None,
    line: Annotated[
        str | None, typer.Option("--line", metavar="NUMBER", help="The number that texts go to; else as set.")
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", metavar="FILE.html", help="Where to; else stdout.")] = None,
    language: Annotated[str, typer.Option("--language", metavar="CODE", help="Of the sheet's heading.")] = "en",
    db: Db = None,
    json: Json = False,
) -> None:
    """Make a sheet to print: one plate a machine, with its code, what it opens, and what to text to whom."""
    from logbook.config import read
    from logbook.domain.wording import LANGUAGES

    if language not in LANGUAGES:
        raise Refusal(f"No language {language!r}; there are {', '.join(LANGUAGES)}. Nothing was written.")
    config = read(None, os.environ)
    number = line or (config.web.line if config.web is not None else None)
    with opened(db) as program:
        name = register_of(program).name
        found = of_fleet(program, machines or [], number, config.base_address)
    if not found:
        raise Refusal("There is no machine in this fleet that needs a plate. Nothing was written.")
    found, missing = _drawable(found)
    page = sheet(name, found, language)
    if out is not None:
        try:
            out.write_text(page, encoding="utf-8")
        except OSError as why:
            raise Refusal(f"{str(out)!r} cannot be written: {why.strerror or why}.") from None
    if missing:
        say(missing)
    if json:
        show.as_json({"file": None if out is None else str(out), "plates": [plate._asdict() for plate in found]})
    elif out is not None:
        show.line(f"{len(found)} plates are in {out}: open it, and print.")
    else:
        sys.stdout.write(page)


def _drawable(found: list[Plate]) -> tuple[list[Plate], str]:
    """The plates without what cannot be drawn, and a sentence on why; "" if nothing is missing."""
    from importlib.util import find_spec

    if any(plate.opens is None for plate in found):
        return found, NO_ADDRESS
    if find_spec("segno") is None:
        return [plate._replace(opens=None) for plate in found], NO_DRAWING
    return found, ""


def of_fleet(program: Program, codes: list[str], line: str | None, base_address: str = "") -> list[Plate]:
    """The plates of the machines named, else of all that are not retired, by site and code."""
    from logbook.web.register.plates_of import plates_of

    register = register_of(program)
    chosen = [machine_of(register, code) for code in codes] or list(register.machines.values())
    with program.store.read() as connection:
        found = plates_of(connection, program.intake, chosen, line=line, address=base_address)
    return [plate for _site, plate in found]
