"""`logbook doctor`: what is wrong with this installation, and what a person must do about it.

It changes nothing; with `--trial` it sends one real message by every way that a person has.
"""

from __future__ import annotations

import json
import os
from typing import Annotated

import typer

from logbook.bootstrap import routes_of
from logbook.command.examining import examine, send_trial
from logbook.command.options import Db, Json, opened
from logbook.command.refusals import Refusal
from logbook.config import read as read_config

_SIGNS = {"well": "  well ", "look": "  look ", "wrong": "  WRONG"}


def add(app: typer.Typer) -> None:
    """Hang `doctor` on the app."""

    @app.command("doctor")
    def doctor(
        db: Db = None,
        trial: Annotated[
            str | None, typer.Option(metavar="KEY", help="Send this person a trial message by each of their ways.")
        ] = None,
        as_json: Json = False,
    ) -> None:
        """Say what is wrong with database, clock, mail, zones, people and queue, and what to do about it."""
        config = read_config(None, os.environ)
        routes = routes_of(config)
        with opened(db) as logbook:
            now = logbook.now()
            found = examine(logbook, config, routes, now)
            if trial is not None:
                with logbook.store.read() as connection:
                    person = logbook.registry.current(connection).person_by_key(trial)
                if person is None:
                    raise Refusal(
                        f"There is no person with the key {trial!r}. Nothing was sent; see `logbook fleet show`."
                    )
                found += send_trial(logbook, routes, person, now)
        if as_json:
            typer.echo(json.dumps([each.as_json() for each in found], ensure_ascii=False))
        else:
            for each in found:
                typer.echo(f"{_SIGNS[each.state]}  {each.what}: {each.found}" + (f" {each.do}" if each.do else ""))
        wrong = sum(each.state == "wrong" for each in found)
        if wrong:
            raise Refusal(f"{wrong} of {len(found)} things are wrong; see above.")
