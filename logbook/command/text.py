"""`logbook text`: a short message, as if it had come from a phone; and what it would come to, without a database."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any
from zoneinfo import ZoneInfo

import typer

from logbook.channels.text import Fleet, answer, as_json, read
from logbook.command import show
from logbook.command.options import Db, Json, content, instant, opened
from logbook.command.refusals import Refusal
from logbook.domain import fleetfile
from logbook.domain.calendar import zone
from logbook.domain.fleetentries import register_of
from logbook.domain.instants import Instant
from logbook.domain.machine import FOREVER
from logbook.domain.people import phone_key


def add(app: typer.Typer) -> None:
    """Hang this family's commands on the app."""
    app.command("text")(text)


def text(
    message: Annotated[str, typer.Argument(metavar="MESSAGE", help="The text; put -- before one that begins with -.")],
    sender: Annotated[str, typer.Option("--from", metavar="NUMBER", help="Whose number it came from.")],
    at: Annotated[
        str, typer.Option("--at", metavar="INSTANT", help="When it came; for a text that came earlier than now.")
    ] = "now",
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Only say what it would come to; needs --fleet and no database.")
    ] = False,
    fleet: Annotated[
        Path | None, typer.Option("--fleet", metavar="FLEET.toml", help="With --dry-run: the fleet.")
    ] = None,
    db: Db = None,
    as_json_: Json = False,
) -> None:
    """Take a text as if it had come from a phone: read it, record it, and print the answer.

    With --dry-run nothing is recorded, and one JSON object says what would be.
    """
    if dry_run:
        if fleet is None:
            raise typer.BadParameter("--dry-run needs --fleet FLEET.toml")
        from logbook.bootstrap import real_now

        said = rehearsed(content(fleet, "The fleet file"), sender, instant(at, "--at", real_now()), message)
        show.as_json(said)
        if said["refused"] is not None:
            raise Refusal(str(said["reply"]))
        return
    _take(message, sender, at, db, as_json_)


def rehearsed(fleet: str, sender: str, at: Instant, message: str) -> dict[str, Any]:
    """What a text would come to in the fleet of a file. Raises FleetFileError."""
    known, language = _known(fleetfile.read(fleet), sender, at)
    reading = read(message, known, at)
    return as_json(reading, answer(reading, fleet=known, owed=None, language=language))


def _known(file: fleetfile.FleetFile, sender: str, at: Instant) -> tuple[Fleet, str]:
    """What reading needs to know, and the language of the answer.

    A number that is nobody's is read in the fleet's language and first zone, and must name its machine. In a file
    without people there is nobody else it could be: then it counts as having to do with every site.
    """
    register = register_of(file, -FOREVER)
    person = register.person_by_phone(_spelt(sender))
    sites = [site.code for site in file.site]
    if person is None:
        language, own = file.fleet.language, sites if not file.person else []
    else:
        language, own = person.language, [code for code in sites if person.at(code)]
    first = next(iter(own or sites), None)
    default = register.zone(first, at) if first is not None else zone("UTC")
    mine = [machine for machine in file.machine if machine.site in own]
    lone = mine[0] if len(mine) == 1 else None
    if lone is not None and not register.policy(lone.code, lone.site, at).flag("lone_machine"):
        lone = None
    zones: dict[str, ZoneInfo] = {machine.code: register.zone(machine.site, at) for machine in file.machine}
    known = Fleet(frozenset(zones), zones.__getitem__, lone.code if lone is not None else None, language, default)
    return known, language


def _spelt(number: str) -> str:
    """The number as it is kept, if it is one; a carrier's short number stays as it is."""
    try:
        return phone_key(number)
    except ValueError:
        return number


def _take(message: str, sender: str, at: str, db: str | None, json: bool) -> None:
    """Hand the text to the desk, and print its answer."""
    from logbook.bootstrap import new_id
    from logbook.channels.desk import Message

    with opened(db) as program:
        now = program.now()
        came = instant(at, "--at", now)
        given = program.desk.take(Message(new_id(), "text", _spelt(sender), message, came))
    if json:
        said = as_json(given.reading, given.reply or "") if given.reading is not None else {
            "entries": [], "refused": given.outcome, "control": None, "reply": given.reply,
        }  # fmt: skip
        show.as_json({**said, "reply": given.reply, "outcome": given.outcome, "recorded": list(given.entries)})
    kept = bool(given.entries) or (given.reading is not None and given.outcome == given.reading.control)
    if not kept and given.outcome not in ("repeated", "join"):
        raise Refusal(given.reply or f"Not recorded ({given.outcome}), and not answered. The text was kept.")
    if not json:
        show.line(given.reply or "(recorded; this number is not to be answered)")
