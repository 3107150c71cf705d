"""`logbook init`: a database to keep the log in, and, if it is said whose, the fleet's first entry."""

from __future__ import annotations

from typing import Annotated, Any

import typer
from pydantic import ValidationError

from logbook.command import show
from logbook.command.options import Db, Json, address, missing, opened, shown
from logbook.command.refusals import Refusal
from logbook.domain.fleetfile import FleetFile


def add(app: typer.Typer) -> None:
    """Hang this family's commands on the app."""
    app.command("init")(init)


def init(
    name: Annotated[str | None, typer.Option("--name", help="The fleet's name.")] = None,
    origin: Annotated[
        str | None, typer.Option("--origin", help="By what the world knows this log, for ever: ferry.example/floors.")
    ] = None,
    language: Annotated[str, typer.Option("--language", help="en or es: for what nobody in particular reads.")] = "en",
    witness: Annotated[
        str | None, typer.Option("--witness", metavar="EMAIL", help="Who outside the house is sent the daily seal.")
    ] = None,
    owner: Annotated[
        str | None, typer.Option("--owner", metavar="KEY", help="A short name for yourself: the fleet's first person.")
    ] = None,
    writer: Annotated[
        str | None, typer.Option("--writer", metavar="ROLE", help="PostgreSQL: the role that the running program has.")
    ] = None,
    db: Db = None,
    json: Json = False,
) -> None:
    """Make the database, or bring an older one up to this program. With --name and --origin, found the fleet too."""
    if (name is None) != (origin is None):
        raise typer.BadParameter("--name and --origin go together: a log needs both to begin")
    for option, given in (("--witness", witness), ("--owner", owner)):
        if given is not None and name is None:
            raise typer.BadParameter(f"{option} needs --name and --origin")
    from logbook.store import migrate

    url = address(db)
    file = founding(name, origin, language, witness, owner) if name is not None else None
    fresh = missing(url)
    before = migrate.upgrade(url, writer=writer)
    with opened(url) as program:
        if file is not None:
            _found(program, file)
        fleet = _fleet(program)
        owners = _owners(program)
    said = {
        "database": shown(url), "created": fresh or before == "", "from": before or None, "to": migrate.CURRENT,
        "fleet": fleet, "next": _next(fleet, owners),
    }  # fmt: skip
    if json:
        show.as_json(said)
        return
    what = "made" if said["created"] else "up to date" if before == migrate.CURRENT else f"brought from {before}"
    show.line(f"The logbook in {said['database']} is {what}.")
    if fleet is not None:
        show.line(f"Its fleet is {fleet['name']}, known to the world as {fleet['origin']}.")
    show.line(f"Next: {said['next']}")


def founding(name: str, origin: str | None, language: str, witness: str | None, owner: str | None = None) -> FleetFile:
    """A fleet file that founds a fleet, with its owner if said, and says no more. Raises Refusal."""
    fleet = {"name": name, "origin": origin, "language": language, "witness": witness}
    try:
        people = [] if owner is None else [{"key": owner, "role": "owner", "language": language}]
        return FleetFile.model_validate({"fleet": fleet, "person": people})
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        raise Refusal(
            f"--{'owner' if first['loc'][0] == 'person' else first['loc'][-1]}: {first['msg'][:1].lower()}{first['msg'][1:]}. Nothing was made."
        ) from None


def _found(program: Any, file: FleetFile) -> None:
    from logbook.intake import fleet

    known = _fleet(program)
    if known is None:
        fleet.apply(program.intake, file)
    elif known["origin"] != file.fleet.origin:
        raise Refusal(
            f"This logbook is known as {known['origin']!r} for ever, not as {file.fleet.origin!r}. Nothing was "
            "changed; another fleet needs another database."
        )


def _fleet(program: Any) -> dict[str, Any] | None:
    """Whose log it is, or None if nobody's yet."""
    try:
        with program.store.read() as connection:
            register = program.registry.current(connection)
    except LookupError:
        return None
    return {"name": register.name, "origin": register.origin, "machines": len(register.machines)}


def _owners(program: Any) -> list[str]:
    """The keys of the fleet's owners: whoever may begin it in the browser."""
    try:
        with program.store.read() as connection:
            register = program.registry.current(connection)
    except LookupError:
        return []
    return sorted(each.key for each in register.people.values() if each.role == "owner" and each.state == "member")


def _next(fleet: dict[str, Any] | None, owners: list[str]) -> str:
    """The next command. By the pages where somebody can sign in to them, which is less to type than a file."""
    if fleet is not None and fleet["machines"]:
        return "logbook serve"
    by_file = "write down sites, machines and people in FLEET.toml, then run: logbook fleet apply FLEET.toml"
    if owners:
        return f"logbook link {owners[0]} (signs you in to the pages, with [web] in logbook.toml), then: logbook serve. Or {by_file}"
    if fleet is not None:
        return by_file
    return (
        f"{by_file}. Or, to begin in the browser: logbook init --name FLEET --origin YOUR.DOMAIN/floors --owner YOURKEY"
    )
