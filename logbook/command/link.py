"""`logbook link`: an address by which one person's phone signs in, or a phone becomes a site's own."""

from __future__ import annotations

import os
from importlib.util import find_spec
from typing import Annotated

import typer

from logbook.command import show
from logbook.command.options import Db, Json, opened, person_of, register_of
from logbook.command.refusals import Refusal, say

NO_PAGES = "Links lead to the pages, which need machine-logbook[web]; it is not installed. Nothing was made."
NO_ADDRESS = (
    "This is the path alone: set base_address in logbook.toml (or LOGBOOK_BASE_ADDRESS), such as "
    "https://log.ferries.example, to have the whole address."
)
HERE_ONLY = (
    "Good on this computer alone, while `logbook serve` runs: base_address is not set, which says how phones reach the "
    "pages (deploy/pages.md)."
)
DAYS_MOST = 14


def add(app: typer.Typer) -> None:
    """Hang this family's commands on the app."""
    app.command("link")(link)


def link(
    key: Annotated[
        str, typer.Argument(metavar="KEY", help="The person's key in the fleet file; with --shared, a site's code.")
    ],
    days: Annotated[int, typer.Option("--days", metavar="N", min=1, max=DAYS_MOST, help="How long it waits.")] = 2,
    shared: Annotated[bool, typer.Option("--shared", help="Make a phone the site's, for whoever has a PIN.")] = False,
    db: Db = None,
    json: Json = False,
) -> None:
    """Make a link that signs a person's phone or computer in, once. Give it to nobody else."""
    if find_spec("fastapi") is None:
        raise Refusal(NO_PAGES)
    from logbook.bootstrap import house
    from logbook.config import read
    from logbook.domain.instants import DAY, text
    from logbook.web.who.links import offer

    config = read(None, os.environ)
    with opened(db) as program:
        register, rooms = register_of(program), house(program, config)
        lasts = days * DAY
        until = program.now() + lasts
        if shared:
            if key not in register.sites:
                raise Refusal(f"There is no site {key!r} in this fleet. Nothing was made; see: logbook fleet show")
            address = offer(rooms, None, site=key, purpose="shared", lasts=lasts)
        else:
            person = person_of(register, key)
            address = offer(rooms, None, person=person.uuid, lasts=lasts)
    if not config.base_address and config.web is not None and config.web.port:
        address = f"http://127.0.0.1:{config.web.port}{address}"
        say(HERE_ONLY)
    elif not config.base_address:
        say(NO_ADDRESS)
    if json:
        show.as_json({"link": address, "for": key, "purpose": "shared" if shared else "enter", "until": text(until)})
    else:
        show.line(address)
