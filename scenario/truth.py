"""What a clock that never sleeps must have written, reckoned from what was made up.

Most of it was said where it was made up (`misses`, `care`). Here the rest is read off plain gaps: two rounds too far
apart, an expected night without a word. And the two are held against each other: an alert that no story meant, or a
story without its alert, is an error of the scenario and stops it. Nothing of the program is used.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from itertools import pairwise
from typing import Any

from scenario import walls
from scenario.book import Book, Entry, Expected
from scenario.care import EVERY, Care
from scenario.fleet import Fleet
from scenario.shift import State, told

_RENEWS = {
    "watering": {"commissioned", "battery_fitted", "watering"},
    "filter": {"commissioned", "filter"},
    "segments": {"commissioned", "segments", "segment_change"},
}


class ScenarioError(AssertionError):
    """The scenario contradicts itself: a story left something open that it did not mean to."""


def lines(
    book: Book, fleet: Fleet, states: dict[str, State], cares: dict[str, Care], until: datetime
) -> list[dict[str, Any]]:
    """The truth, a line an alert, in order of raising. Raises ScenarioError."""
    entries = [entry for entry in book.entries if entry.recorded <= until]
    expected = list(book.expected)
    for machine in fleet.machines:
        own = [entry for entry in entries if entry.machine == machine.code and entry.struck_at is None]
        expected += _rounds(own, states[machine.code], cares[machine.code], until)
        _nights_agree(own, states[machine.code], cares[machine.code], expected, until)
    retired = {entry.machine: entry.recorded for entry in entries if entry.kind == "retired"}
    rows = [_row(one, entries, retired.get(one.machine), until) for one in expected if one.raised <= until]
    return sorted(rows, key=lambda row: (row["raised_at"], row["machine"], row["duty"], row["opened_by"]))


def _row(one: Expected, entries: Sequence[Entry], retired: datetime | None, until: datetime) -> dict[str, Any]:
    end = one.ends(entries)
    if retired is not None and (end is None or end[0] > retired):
        end = (retired, "overtaken")
    if end is not None and end[0] > until:
        end = None
    return {
        "machine": one.machine,
        "duty": one.duty,
        "opened_by": one.opened_by,
        "due_at": walls.rfc3339(one.due),
        "raised_at": walls.rfc3339(one.raised),
        "outcome": end and end[1],
        "cleared_at": end and walls.rfc3339(end[0]),
        "why": one.why,
    }


def _rounds(own: Sequence[Entry], state: State, care: Care, until: datetime) -> Iterator[Expected]:
    """Alerts of the weekly and fortnightly rounds: a gap that passes the noon on which the next was due."""
    for duty, days in EVERY.items():
        battery = state.machine.battery
        renewals: list[Entry | None] = []
        ended = None
        for entry in sorted(own, key=lambda entry: entry.occurred):
            if entry.kind == "battery_fitted":
                battery = entry.data["battery"]
            if entry.kind == "retired" or (
                duty == "watering" and entry.kind == "battery_fitted" and battery != "flooded"
            ):
                ended = entry
                break
            if entry.kind in _RENEWS[duty] and (duty != "watering" or battery == "flooded"):
                renewals.append(entry)
        renewals.append(ended)
        for last, following in pairwise(renewals):
            if last is None:
                continue
            due = walls.noon_after(last.occurred, days, state.where(last.occurred).zone)
            if due > until or (following is not None and following.recorded <= due):
                continue
            why = care.why.get((duty, last.id))
            if why is None or (following is not None and following.kind == "battery_fitted"):
                raise ScenarioError(f"{last.machine}: {duty} of {last.occurred} ran past {due}, and no story meant it")
            if following is None or following.kind == "retired":
                yield Expected(last.machine, duty, last.id, due, due, why)
                continue
            outcome = "late" if following.occurred > due else "told_late"
            yield Expected(last.machine, duty, last.id, due, due, why, told(following.recorded, outcome))


def _nights_agree(
    own: Sequence[Entry], state: State, care: Care, expected: Sequence[Expected], until: datetime
) -> None:
    """Every expected night is told by its due instant, or a story meant it to be silent. Raises ScenarioError."""
    service = [entry for entry in own if entry.kind in {"out_of_service", "in_service", "retired"}]
    meant = {one.opened_by for one in expected if one.machine == state.machine.code and one.duty == "night"}
    for day in care.calendar.dates:
        site = state.where(walls.at(state.stood[0][1].zone, day, "18:00"))
        begins, due = site.begins(day), site.night_due(day)
        before = [entry.kind for entry in service if entry.occurred <= begins]
        if due > until or (before and before[-1] != "in_service"):
            continue
        heard = any(
            entry.kind in {"put_away", "not_used"}
            and begins - walls.HOUR <= entry.occurred <= due
            and entry.recorded <= due
            for entry in own
        )
        name = f"{site.code}/{day.isoformat()}"
        if heard == (name in meant):
            raise ScenarioError(
                f"{state.machine.code}: the night {name} is {'told' if heard else 'silent'}, unlike its story"
            )
