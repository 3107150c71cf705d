"""Every row of worked.tsv, read by the program as a person reads it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from logbook.channels.text import answer, as_json
from logbook.domain import instants
from logbook.domain.instants import HOUR, MINUTE

ROWS = [
    line.split("\t")
    for line in Path(__file__).with_name("worked.tsv").read_text(encoding="utf-8").splitlines()
    if not line.startswith("#")
]
CARD = "empty;rinse;squeegee;charge;put_away told=card"
MIDNIGHT = instants.parse("2026-11-25T04:00:00Z")


def _expected(said: str) -> list[tuple[str, str, int, dict[str, object]]]:
    """One tuple an entry: machine, kind, moment, data ("note" only as a promise that there is one)."""
    if said == CARD:
        return [
            ("B7H", kind, MIDNIGHT + 5 * HOUR + 12 * MINUTE, {"told": "card"}) for kind in CARD.split()[0].split(";")
        ]
    found = []
    for entry in said.split(";"):
        machine, moment = "B7H", MIDNIGHT + 5 * HOUR + 12 * MINUTE
        parts = entry.split(" ")
        if parts[0][0].isupper():
            machine = parts.pop(0)
        data: dict[str, object] = {}
        yesterday = False
        for part in parts[1:]:
            if part == "note":
                data["note"] = ...
            elif part == "@yesterday":
                yesterday = True
            elif "=" in part:
                data[part.split("=")[0]] = json.loads(part.split("=")[1])
            else:
                hour, minute = map(int, part.removeprefix("@").split(":"))
                moment = MIDNIGHT + hour * HOUR + minute * MINUTE - (24 * HOUR if yesterday else 0)
        found.append((machine, parts[0], moment, data))
    return found


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0])
def test_a_worked_text(row, ask):
    text, entries, other = [*row, "", ""][:3]
    reading = ask(text)
    if entries:
        assert (reading.refused, reading.control) == (None, None)
        found = [
            (d.machine, d.kind, d.occurred_at, {k: (... if k == "note" else v) for k, v in d.data.items()})
            for d in reading.drafts
        ]
        assert found == _expected(entries)
        assert all(draft.data.get("note", "x") for draft in reading.drafts)
    else:
        assert reading.drafts == ()
        assert other in (reading.refused, f"control {reading.control}")


def test_the_table_is_whole():
    assert len(ROWS) == 77
    assert all(2 <= len(row) <= 3 for row in ROWS)


def test_the_printed_object_is_the_one_agreed_on(ask, fleet):
    reading = ask("B7H rinsed. C4J sg 1265 0510")
    said = as_json(reading, answer(reading, fleet=fleet, owed=None, language="en"))
    assert json.loads(json.dumps(said)) == {
        "entries": [
            {"machine": "B7H", "kind": "rinse", "occurred_at": "2026-11-25T09:12:00Z", "data": {}},
            {
                "machine": "C4J",
                "kind": "gravity",
                "occurred_at": "2026-11-25T09:10:00Z",
                "data": {"gravity_milli": 1265},
            },
        ],
        "refused": None,
        "control": None,
        "reply": "B7H 05:12 rinsed. C4J 05:10 gravity 1.265. Wrong? UNDO",
    }
    refused = as_json(ask("rinse"), "no")
    assert refused == {"entries": [], "refused": "which_machine", "control": None, "reply": "no"}
