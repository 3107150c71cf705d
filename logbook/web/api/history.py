"""A machine's log, page by page: every entry with both its times, and what became of it.

Promises that pages follow `seq`, which never changes, so that a program that reads on misses nothing and reads nothing
twice; and that private words are given only to a key that may read them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any

import msgspec
from fastapi import APIRouter, Query
from starlette.responses import Response

from logbook.domain.instants import Instant
from logbook.evidence.form import read as read_form
from logbook.store import log, words
from logbook.store.log import Stored
from logbook.web.api import shapes
from logbook.web.api.answers import Time, following, instant, read
from logbook.web.api.asking import Looking, WithKey
from logbook.web.api.machines import READ_PROBLEMS
from logbook.web.api.shapes import at

router = APIRouter()
_BIG = 2**53 - 1
_NEVER = {("passed_on", "to")}
"""Who somebody is on this machine: a pseudonym, and the business of nobody outside."""
_PICTURES = {"image"}


class _Said(msgspec.Struct):
    data: dict[str, Any]


_said = msgspec.json.Decoder(_Said).decode


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which entries are wanted: what happened from one instant to another, as known at a third, behind a `seq`."""

    since: Instant | None
    until: Instant | None
    known_at: Instant | None
    after: int
    most: int

    def holds(self, row: Stored) -> bool:
        """Whether an entry is among them."""
        if row.seq <= self.after or (self.since is not None and row.occurred_at < self.since):
            return False
        return self.until is None or row.occurred_at <= self.until


@router.get("/machines/{machine}/entries", response_model=shapes.Entries, responses=READ_PROBLEMS,
            operation_id="read_history", summary="A machine's history", tags=["machines"])  # fmt: skip
def history(
    asked: WithKey, machine: str,
    since: Annotated[Time, Query(alias="from", description="What happened from here on.")] = None,
    until: Annotated[Time, Query(alias="to", description="What happened up to here.")] = None,
    known_at: Annotated[Time, Query(description="As known then: without what was struck by then.")] = None,
    after: Annotated[int, Query(ge=0, le=_BIG, description="The `seq` behind which to go on.")] = 0,
    most: Annotated[int, Query(alias="limit", ge=1, le=500, description="At most so many.")] = 100,
) -> Response:  # fmt: skip
    """The entries of a machine's log in the order of recording, those that were struck marked.

    With `known_at`: those that counted at that instant. The order in which things happened is that of `occurred_at`,
    then `seq`.
    """
    wanted = Wanted(instant("from", since), instant("to", until), instant("known_at", known_at), after, most + 1)
    with asked.looking("read") as sight:
        known = sight.machine(machine)
        items = list(_entries(sight, known.uuid, wanted))
    link = None
    if len(items) > most:
        items = items[:most]
        link = following(asked.request, after=items[-1].seq)
    return read(asked.request, shapes.Entries(machine=known.code, items=items, next=link))


def _entries(sight: Looking, machine: str, wanted: Wanted) -> Iterator[shapes.Entry]:
    connection, register = sight.connection, sight.register
    rows: list[tuple[Stored, str]] = []
    struck: dict[str, str] = {}
    site = ""
    for row in log.by_seq(connection, machine):
        if wanted.known_at is not None and row.recorded_at > wanted.known_at:
            break  # recorded_at never goes back
        if row.kind == "void":
            struck[_said(row.bytes).data["entry"]] = row.id
        elif row.kind in ("commissioned", "moved"):
            site = _said(row.bytes).data["site"]
        if wanted.holds(row):
            rows.append((row, site))
    if wanted.known_at is not None:
        rows = [(row, place) for row, place in rows if row.id not in struck]
    waiting = {
        name for name, person in words.people_of(connection, machine).items()
        if (known := register.people.get(person)) is not None and known.state == "unconfirmed"
    }  # fmt: skip
    for row, place in rows[: wanted.most]:
        told = read_form(row.bytes)
        data = {name: value for name, value in told.data.items() if (row.kind, name) not in _NEVER}
        given = sorted(set(told.private) - _PICTURES) if "words" in sight.key.may else []
        if given:
            kept = {word.item: word.content.decode() for word in words.of_entry(connection, machine, row.id)}
            data |= {item: kept.get(item) for item in given}
        late_after = register.policy(machine, place, row.recorded_at).late_after
        yield shapes.Entry(
            seq=row.seq, id=row.id, kind=row.kind, occurred_at=at(row.occurred_at), recorded_at=at(row.recorded_at),
            recorded_late=row.recorded_at - row.occurred_at > late_after, role=told.role,
            unconfirmed=told.reporter in waiting, channel=told.channel, site=place, data=data,
            withheld=sorted(set(told.private) - set(given)), struck_by=struck.get(row.id),
        )  # fmt: skip
