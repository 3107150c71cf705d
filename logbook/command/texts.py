"""`logbook texts`: what came in as it came, and what to do with what could not be saved."""

from __future__ import annotations

from typing import Annotated

import typer

from logbook.command import show
from logbook.command.options import Db, Json, opened, person_of, register_of
from logbook.command.refusals import Refusal

_Id = Annotated[str, typer.Argument(metavar="ID", help="The text's id, as `logbook texts list` shows it.")]


def add(app: typer.Typer) -> None:
    """Hang this family's commands on the app."""
    texts = typer.Typer(
        help="What came in as it came; what was kept aside, and whose it is.",
        no_args_is_help=True,
        rich_markup_mode=None,
    )
    texts.command("list")(listed)
    texts.command("take")(taken)
    texts.command("drop")(dropped)
    app.add_typer(texts, name="texts")


def listed(
    every: Annotated[bool, typer.Option("--all", help="Saved ones too, not only what was kept aside.")] = False,
    most: Annotated[int, typer.Option(min=1, max=100_000, help="At most so many, the newest first.")] = 50,
    db: Db = None,
    json: Json = False,
) -> None:
    """List texts that were kept aside: from unknown senders, or not understood."""
    from logbook.channels.desk.message import WAITING_FOR_NOBODY
    from logbook.store import heard

    with opened(db) as program, program.store.read() as connection:
        rows = [row for row in heard.latest(connection, most=100_000) if every or row.outcome not in WAITING_FOR_NOBODY]
    rows = rows[:most]
    if json:
        show.as_json(
            [
                {
                    "id": row.id, "channel": row.channel, "sender": row.sender, "received_at": show.utc(row.received_at),
                    "text": row.text, "outcome": row.outcome, "reply": row.reply, "entries": list(row.entries),
                }
                for row in rows
            ]
        )  # fmt: skip
        return
    if not rows:
        show.line("No text waits.")
        return
    show.table(
        ("id", "received", "sender", "what became of it", "text"),
        [(row.id, show.utc(row.received_at), row.sender, row.outcome, row.text[:60]) for row in rows],
    )


def taken(
    id: _Id,
    who: Annotated[str, typer.Option("--as", metavar="KEY", help="Whose it is: a person's key in the fleet file.")],
    db: Db = None,
) -> None:
    """Take a text that was kept aside as somebody's, at the time when it came."""
    with opened(db) as program:
        person = person_of(register_of(program), who)
        answer = program.desk.take_as(id, person)
    if answer is None:
        raise Refusal(f"No text {id!r} waits. Nothing was changed; see: logbook texts list")
    if answer.outcome != "saved":
        raise Refusal(f"It cannot be read: {answer.reply} The text waits as before.")
    show.line(answer.reply or "Saved.")


def dropped(id: _Id, db: Db = None) -> None:
    """Say that a text which was kept aside is nobody's. It stays as it came until its time is over."""
    with opened(db) as program:
        if not program.desk.put_aside(id):
            raise Refusal(f"No text {id!r} waits. Nothing was changed; see: logbook texts list")
    show.line("Set aside.")
