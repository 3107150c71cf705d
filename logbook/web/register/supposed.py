"""The page of a preview: what would have been raised last month, and the form that saves what was supposed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import Request
from starlette.datastructures import FormData
from starlette.responses import Response

from logbook.domain.wording.duties import duty_label
from logbook.domain.wording.mark import mark
from logbook.domain.wording.times import day_clock
from logbook.web.pages import render
from logbook.web.register import preview

BUSY = mark("Another preview is being worked out. Nothing was saved; try again in half a minute.")
_SHOWN_MOST = 60


def carried(fields: FormData) -> dict[str, list[str]]:
    """What a form said, to be said again by the page that asks whether to save it."""
    return {n: [v for v in fields.getlist(n) if isinstance(v, str)] for n in fields if n not in ("csrf", "id")}


def shown(
    request: Request, lang: str, found: preview.Difference, action: str, hidden: Mapping[str, Any], id_: str, back: str
) -> Response:
    """The page of a preview; what it would save is carried in hidden fields, a list as several."""

    def rows(said: Any) -> list[tuple[str, str, str]]:
        return [
            (s.machine, duty_label(s.duty, lang), day_clock(s.at, found.zones[s.machine], lang))
            for s in said[:_SHOWN_MOST]
        ]

    pairs = [(n, v) for n, many in hidden.items() for v in (many if isinstance(many, list) else [many])]
    return render(
        request,
        "register_preview.html",
        lang,
        "register",
        found=found,
        more=rows(found.more),
        fewer=rows(found.fewer),
        action=action,
        hidden=pairs,
        id=id_,
        back=back,
        duties=[(duty_label(d, lang), m, f) for d, m, f in found.by_duty()],
    )
