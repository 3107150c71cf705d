"""`logbook kinds`: everything that can be recorded, made from the catalogue."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from logbook.command import show
from logbook.command.options import Json
from logbook.domain import door
from logbook.domain.entries import Kind, Quantity, catalogue


def add(app: typer.Typer) -> None:
    """Hang this family's commands on the app."""
    app.command("kinds")(kinds)


def kinds(
    kind: Annotated[str | None, typer.Argument(metavar="[KIND]", help="One kind, with its fields.")] = None,
    json: Json = False,
) -> None:
    """Show every kind of entry: its meaning, the words for it in a text, its quantity, who may record it."""
    rows = [described(each) for each in ([door.kind_of(kind)] if kind is not None else catalogue)]
    if json:
        show.as_json(rows)
    elif kind is not None:
        (one,) = rows
        shown = {**one, "words_en": ", ".join(one["words_en"]), "words_es": ", ".join(one["words_es"])}
        shown |= {"by": ", ".join(one["by"]), "private": ", ".join(one["private"])}
        shown |= {"fields": ", ".join(f"{name} ({what})" for name, what in one["fields"].items())}
        show.table(("of the kind", ""), [(name.replace("_", " "), value) for name, value in shown.items()])
    else:
        show.table(
            ("kind", "meaning", "words, English", "words, Spanish", "quantity", "log"),
            [
                (r["kind"], r["meaning"], ", ".join(r["words_en"]), ", ".join(r["words_es"]), r["quantity"], r["log"])
                for r in rows
            ],
        )


def described(kind: type[Kind]) -> dict[str, Any]:
    """One kind of the catalogue, for JSON."""
    words = kind.words
    base = catalogue.newest(words.also_of) if words is not None and words.also_of else None
    en, es = (words.en, words.es) if words is not None else ((), ())
    if words is not None and base is not None and base.words is not None:
        also = ", ".join(words.with_also)
        en = tuple(f"{word} with one of: {also}" for word in base.words.en[:1])
        es = tuple(f"{word} with one of: {also}" for word in base.words.es[:1])
    return {
        "kind": kind.kind,
        "version": kind.version,
        "meaning": kind.meaning,
        "words_en": list(en),
        "words_es": list(es),
        "quantity": quantity(words.quantity) if words is not None and words.quantity is not None else None,
        "log": kind.log,
        "by": sorted(kind.by),
        "can_be_struck": kind.strikable,
        "fields": fields(kind),
        "private": sorted(kind.private_fields()),
        "example": kind.example,
    }


def quantity(what: Quantity) -> str:
    """`volume, 1 to 20000, into water_ml`: in the unit in which it is kept."""
    need = "needed" if what.required else "may be left out"
    each = ", one a head" if what.many else ""
    return f"{what.family}{each}, {what.low} to {what.high} into {what.field}, {need}"


def fields(kind: type[Kind]) -> dict[str, str]:
    """The fields of a kind's data, each with whether it is needed."""
    return {
        info.alias or name: "needed" if info.is_required() else "may be left out"
        for name, info in kind.model_fields.items()
    }
