"""A form of the Register as its template prints it: fields in order, each with what was entered and what is wrong."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from fastapi import Request
from starlette.datastructures import FormData
from starlette.responses import Response

from logbook.web.house import house_of
from logbook.web.pages import render
from logbook.web.register import objections
from logbook.web.register.nightform import NightRow


@dataclass(frozen=True, slots=True)
class Field:
    """One field. `kind`: text, email, tel, date, number, select, ticks, list (typed with suggestions), note.

    `label` and `hint` are sentences to be translated; `options` are (value, shown).
    """

    name: str
    label: str
    kind: str = "text"
    value: str = ""
    hint: str = ""
    options: tuple[tuple[str, str], ...] = ()
    values: tuple[str, ...] = ()
    needed: bool = False
    most: int = 200


@dataclass(slots=True)
class Sheet:
    """A whole form. `title`, `lead`, `button` are sentences; `about` stands beside the title as it is."""

    title: str
    action: str
    fields: Sequence[Field]
    button: str
    lead: str = ""
    about: str = ""
    hidden: dict[str, str] = field(default_factory=dict)
    nights: Sequence[NightRow] = ()
    foreign: Sequence[str] = ()
    night_choice: str | None = None
    back: str = ""
    preview: bool = False


def show(
    request: Request,
    lang: str,
    sheet: Sheet,
    *,
    wrong: str = "",
    status: int = 200,
    stands: Iterable[tuple[str, str]] = (),
) -> Response:
    """The form. `wrong`: a sentence that is translated if it is one of ours; `stands`: what the log says now."""
    return render(
        request,
        "register_form.html",
        lang,
        "register",
        status=status,
        sheet=sheet,
        wrong=wrong,
        reason=objections.reasons(lang),
        stands=list(stands),
        id=sheet.hidden.get("id") or house_of(request).intake.new_id(),
    )


def many(fields: FormData, name: str) -> tuple[str, ...]:
    """All values of one name, once each."""
    return tuple(dict.fromkeys(v for v in fields.getlist(name) if isinstance(v, str) and len(v) <= 200))


def given(**maybe: Any) -> dict[str, Any]:
    """Of these, what is neither None nor empty text: an entry does not say what it does not know."""
    return {name: value for name, value in maybe.items() if value is not None and value != ""}
