"""`logbook record`: one entry, typed at the office by someone who answers for the machine."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any

import typer

from logbook.command import show
from logbook.command.options import By, Db, Json, instant, machine_of, opened, person_of, register_of
from logbook.command.refusals import Refusal
from logbook.command.values import schema_of, value
from logbook.domain.instants import text as instant_text

CHANNEL = "command"


def add(app: typer.Typer) -> None:
    """Hang this family's commands on the app."""
    app.command("record")(record)


def record(
    machine: Annotated[str, typer.Argument(metavar="MACHINE", help="The code on its plate.")],
    kind: Annotated[str, typer.Argument(metavar="KIND", help="What is recorded; see: logbook kinds")],
    by: By,
    values: Annotated[list[str] | None, typer.Argument(metavar="[KEY=VALUE]...", help="The entry's data.")] = None,
    at: Annotated[str, typer.Option("--at", metavar="INSTANT", help="When it happened.")] = "now",
    id: Annotated[
        str | None, typer.Option("--id", metavar="UUID", help="The entry's id, if it has one already.")
    ] = None,
    db: Db = None,
    json: Json = False,
) -> None:
    """Record one entry on a machine, as its supervisor or owner does: an order, a repair, a hold, an excuse."""
    from logbook.domain.wording.duties import duty_label
    from logbook.domain.wording.labels import entry_label
    from logbook.intake import By as Reporter
    from logbook.intake import Draft

    with opened(db) as program:
        register = register_of(program)
        known, person = machine_of(register, machine), person_of(register, by)
        happened = None if at == "now" else instant(at, "--at")
        draft = Draft(id or program.intake.new_id(), known.uuid, kind, data_of(kind, values or []), happened)
        receipt = program.intake.record([draft], Reporter(person.uuid, person.role, CHANNEL))
    entry, owed = receipt.entries[0], receipt.owed.get(known.uuid, ())
    if json:
        show.as_json({
            "id": entry.id, "machine": known.code, "seq": entry.seq, "kind": entry.kind,
            "occurred_at": instant_text(entry.occurred_at), "recorded_at": instant_text(entry.recorded_at),
            "recorded_late": entry.late, "repeated": entry.repeated, "owed": [each.duty for each in owed],
        })  # fmt: skip
        return
    before = "was recorded before" if entry.repeated else "recorded"
    show.line(f"{known.code}: {entry_label(kind, 'en')}, {before} as entry {entry.seq}.")
    left = ", ".join(duty_label(each.duty, "en") for each in owed)
    show.line(f"Still owed: {left}." if left else "Nothing is owed.")


def data_of(kind: str, values: Sequence[str]) -> dict[str, Any]:
    """The data of an entry from `key=value` words; read by the kind's own form.

    Raises door.Refused for an unknown kind, and Refusal for a word that cannot be read.
    """
    schema = schema_of(kind)
    data: dict[str, Any] = {}
    for word in values:
        key, equals, written = word.partition("=")
        if not equals:
            raise Refusal(f"{word!r} is not of the form key=value. Nothing was saved.")
        if key in data:
            raise Refusal(f"{key!r} is given twice. Nothing was saved.")
        data[key] = value(written, schema.get(key, {}))
    return data
