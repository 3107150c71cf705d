"""`logbook step`: the clock, once, for whoever has another alarm to wake it by."""

from __future__ import annotations

from typing import Annotated

import typer

from logbook.command import show
from logbook.command.options import Db, Json, instant, opened
from logbook.command.refusals import say
from logbook.domain.door import AHEAD
from logbook.domain.instants import text


def add(app: typer.Typer) -> None:
    """Hang this family's commands on the app."""
    app.command("step")(step)


def step(
    now: Annotated[
        str, typer.Option("--now", metavar="INSTANT", help="The instant at which it acts, or: now.")
    ] = "now",
    db: Db = None,
    json: Json = False,
) -> None:
    """Let the clock act once: raise and clear what is due, queue what people are to be told, write the letters."""
    with opened(db) as program:
        real = program.now()
        at = instant(now, "--now", real)
        if at > real + AHEAD:
            say(
                f"{text(at)} has not come yet by this machine's clock ({text(real)}). What is written now carries that "
                "instant, and whatever is recorded after it carries none earlier."
            )
        done = program.step(at)
    said = {
        "at": text(done.at), "machines": done.machines, "raised": done.raised, "cleared": done.cleared,
        "passed_on": done.passed_on, "messages": done.messages, "next_at": show.utc(done.next_at),
    }  # fmt: skip
    if json:
        show.as_json(said)
        return
    show.line(
        f"At {said['at']}: looked at {done.machines} machines, raised {done.raised} alerts, cleared {done.cleared}, "
        f"passed {done.passed_on} on, queued {done.messages} messages."
    )
    show.line(f"Next: {said['next_at']}" if done.next_at is not None else "Nothing is due, as far as is known.")
