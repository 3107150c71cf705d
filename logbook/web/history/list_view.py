"""The list of histories in words: a machine a line. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from logbook.domain.instants import Instant
from logbook.domain.wallclock import wall, zone
from logbook.domain.wording import times
from logbook.domain.wording.duties import duty_label
from logbook.web.history.listing import MOST, Listed
from logbook.web.history.saying import Sayer
from logbook.web.pages import words


@dataclass(frozen=True, slots=True)
class ListRow:
    """One machine in words."""

    code: str
    site: str
    since: str
    entries: str
    last: str
    late: tuple[str, ...]
    retired: bool


@dataclass(frozen=True, slots=True)
class ListPage:
    """The machines of the visitor's sites."""

    rows: tuple[ListRow, ...]
    search: str
    more: bool


def list_page(found: Sequence[Listed], search: str, language: str, now: Instant) -> ListPage:
    """The list in words."""
    say = Sayer(words(language, "history"), now)
    rows = []
    for each in found[:MOST]:
        since = ""
        if each.since is not None:
            shown = wall(each.since, zone(each.zone))
            since = f"{times.day(shown.date().isoformat(), language)} {shown.year}"
        rows.append(
            ListRow(
                each.code, each.site_name, since, say.number(each.entries), say.stamp(each.last, each.zone),
                tuple(duty_label(duty, language) for duty in each.late), each.retired,
            )
        )  # fmt: skip
    return ListPage(tuple(rows), search.strip(), len(found) > MOST)
