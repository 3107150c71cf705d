"""`logbook key`: keys by which other programs read and report; each is shown once, and can be taken away."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from logbook.command import show
from logbook.command.options import Db, Json, opened, person_of, register_of
from logbook.command.refusals import Refusal

_Words = Annotated[str, typer.Argument(metavar="LABEL", help="Which program has it.")]


def add(app: typer.Typer) -> None:
    """Hang this family's commands on the app."""
    keys = typer.Typer(
        help="Keys by which other programs read and report (deploy/interface.md).", no_args_is_help=True,
        rich_markup_mode=None,
    )  # fmt: skip
    keys.command("add")(made)
    keys.command("list")(listed)
    keys.command("revoke")(revoked)
    app.add_typer(keys, name="key")


def made(
    label: _Words,
    may: Annotated[
        str, typer.Option("--may", metavar="SCOPES", help="What it may do: read, words, post, lead, alerts; commas between.")
    ],
    site: Annotated[list[str] | None, typer.Option("--site", metavar="CODE", help="Of this site only; may be given again.")] = None,
    person: Annotated[
        str | None, typer.Option("--as", metavar="KEY", help="Everything it reports is this person's; else it says whose.")
    ] = None,
    db: Db = None,
    json: Json = False,
) -> None:  # fmt: skip
    """Make a key. It is shown now and never again."""
    from sqlalchemy import Connection

    from logbook.domain.keyring import TOKEN_BYTES, Key, checked, token_hash, token_of
    from logbook.store import api_keys

    with opened(db) as program:
        register = register_of(program)
        scopes = [each.strip() for each in may.split(",") if each.strip()]
        tidy = checked(label, scopes, site or [], register.sites)
        who = None if person is None else person_of(register, person).uuid
        token = token_of(program.draw(TOKEN_BYTES))
        key = Key(
            program.intake.new_id(), token_hash(token), tidy, frozenset(scopes), tuple(dict.fromkeys(site or [])), who, None,
            program.now(),
        )  # fmt: skip

        def job(connection: Connection) -> None:
            api_keys.add(connection, key)

        program.store.write(job)
    if json:
        show.as_json({"id": key.id, "label": key.label, "key": token})
        return
    show.line(f"{key.label}: {token}")
    show.line(
        f"Keep it where only that program reads it; it is not shown again. To take it away: logbook key revoke {key.id}"
    )


def listed(db: Db = None, json: Json = False) -> None:
    """List the keys, those that were taken away included. None can be shown again."""
    from logbook.store import api_keys

    with opened(db) as program:
        register = register_of(program)
        with program.store.read() as connection:
            keys = api_keys.every(connection)
    rows: list[dict[str, Any]] = []
    for key in keys:
        person = register.people.get(key.person or "")
        rows.append({
            "id": key.id, "label": key.label, "may": sorted(key.may), "sites": list(key.sites),
            "as": None if key.person is None else (person.key if person is not None and person.key else key.person),
            "made_at": show.utc(key.made_at), "used_at": show.utc(key.used_at), "revoked_at": show.utc(key.revoked_at),
        })  # fmt: skip
    if json:
        show.as_json(rows)
    elif not rows:
        show.line("There is no key yet.")
    else:
        show.table(
            ("id", "label", "may", "sites", "as", "last used", "taken away"),
            [
                (r["id"], r["label"], ", ".join(r["may"]), ", ".join(r["sites"]) or "all", r["as"], r["used_at"], r["revoked_at"])
                for r in rows
            ],
        )  # fmt: skip


def revoked(
    id: Annotated[str, typer.Argument(metavar="ID", help="The key's id, as `logbook key list` shows it.")],
    db: Db = None,
) -> None:
    """Take a key away: what comes with it from now on is turned away."""
    from logbook.store import api_keys

    with opened(db) as program:
        now = program.now()
        if not program.store.write(lambda connection: api_keys.revoke(connection, id, now)):
            raise Refusal(f"No key {id!r} is in use. Nothing was changed; see: logbook key list")
    show.line("Taken away.")
