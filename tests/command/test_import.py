"""`logbook import`: the good lines are kept, the bad ones named, and nothing comes in twice."""

from __future__ import annotations

import json

import pytest
from freezegun import freeze_time

from logbook.command import importing

CSV = """machine,kind,occurred_at,water_ml,left_um,note
B7H,watering,2026-03-09 05:10,2000,,
b7h,segments,2026-03-09T09:10:00Z,,9500 9000 8500,
R4X,fault,2026-03-09T05:10,,,"hose leaks, badly"
Z9Z,rinse,2026-03-09 03:00,,,
B7H,rinse,9 March,,,
B7H,watering,2026-03-09 03:00,99999999,,
B7H,rinse,2020-04-01 03:00,,,
,rinse,2020-04-01 03:00,,,
B7H,wash,2026-03-09 03:00,,,
B7H,rinse,2026-03-09 03:00,5,,
"""


@pytest.fixture(autouse=True)
def april(fleet):
    with freeze_time("2026-04-02T12:00:00Z"):
        yield


@pytest.fixture
def imported(home, run):
    """`imported(text, "--dry-run", name="past.csv")`: what --json says, and stderr; the exit status must fit."""

    def ran(text, *words, name="past.csv"):
        (home / name).write_text(text, encoding="utf-8")
        result = run("import", name, "--by", "jo", "--json", *words)
        said = json.loads(result.stdout)
        assert result.exit_code == (1 if said["refused"] else 0)
        return said

    return ran


def test_good_lines_are_kept_and_bad_ones_named(imported, asked):
    said = imported(CSV)
    assert (said["lines"], said["recorded"], said["recorded_late"], said["repeated"], said["kept"]) == (
        10,
        3,
        3,
        0,
        True,
    )
    assert [bad["line"] for bad in said["refused"]] == [5, 6, 7, 8, 9, 10, 11]
    why = [bad["why"] for bad in said["refused"]]
    for sentence, word in zip(
        why, ("'Z9Z'", "RFC 3339", "20000", "commissioned", "machine", "'wash'", "water_ml"), strict=True
    ):
        assert word in sentence
    rows = [row for row in asked("history", "B7H") if row["channel"] == "import"]
    assert [(row["kind"], row["occurred_at"], row["role"], row["data"]) for row in rows] == [
        ("watering", "2026-03-09T08:10:00Z", "supervisor", {"water_ml": 2000}),
        ("segments", "2026-03-09T09:10:00Z", "supervisor", {"left_um": [9500, 9000, 8500]}),
    ]
    # The same wall-clock time, half an hour further east, is half an hour earlier.
    assert asked("history", "R4X")[-1]["occurred_at"] == "2026-03-09T07:40:00Z"
    assert asked("history", "R4X")[-1]["data"] == {"note": "hose leaks, badly"}


def test_the_same_file_again_adds_nothing_even_with_its_columns_moved(imported, asked):
    imported(CSV)
    before = asked("audit")["entries"]
    again = imported(CSV)
    assert (again["recorded"], again["repeated"]) == (0, 3)
    moved = imported("kind,water_ml,machine,occurred_at\nwatering,2000,B7H,2026-03-09T08:10:00Z\n")
    assert (moved["recorded"], moved["repeated"]) == (0, 1)
    assert asked("audit") == {"verdict": "whole", **{k: v for k, v in asked("audit").items() if k != "verdict"}}
    assert asked("audit")["entries"] == before


def test_a_rehearsal_and_all_or_nothing_keep_nothing(imported, asked):
    before = asked("audit")
    assert (imported(CSV, "--dry-run")["recorded"], imported(CSV, "--dry-run")["kept"]) == (3, False)
    assert imported(CSV, "--all-or-nothing")["kept"] is False
    assert asked("audit") == before
    good = "".join(CSV.splitlines(keepends=True)[:4])
    assert imported(good, "--all-or-nothing")["kept"] is True
    assert asked("audit")["entries"] == before["entries"] + 3


def test_all_or_nothing_minds_what_only_the_door_refuses(imported, asked):
    before = asked("audit")
    text = "machine,kind,occurred_at\nB7H,rinse,2026-03-09 03:00\nB7H,rinse,2020-01-01 03:00\n"
    assert imported(text, "--all-or-nothing")["kept"] is False
    assert asked("audit") == before


def test_json_lines(imported, asked):
    ident = "0192d5c8-0000-7000-8000-0000000000ab"
    lines = [
        {
            "id": ident,
            "machine": "B7H",
            "kind": "gravity",
            "occurred_at": "2026-03-09T08:10:00Z",
            "data": {"gravity_milli": 1265},
        },
        {"machine": "B7H", "kind": "rinse", "occurred_at": "2026-03-09T08:20:00Z"},
        {"machine": 7, "kind": "rinse", "occurred_at": "2026-03-09T08:20:00Z"},
        {"machine": "B7H", "kind": "rinse", "occurred_at": "2026-03-09T08:20:00Z", "data": []},
        {"machine": "B7H", "kind": "note", "occurred_at": "2026-03-09T08:20:00Z", "data": {"note": "\ud800"}},
        {"id": ident, "machine": "B7H", "kind": "rinse", "occurred_at": "2026-03-09T08:20:00Z"},
        [1],
    ]
    text = "".join(json.dumps(line) + "\n" for line in lines) + "\nrinse\n"
    said = imported(text, name="past.jsonl")
    assert (said["lines"], said["recorded"]) == (8, 2)
    assert [bad["line"] for bad in said["refused"]] == [3, 4, 5, 6, 7, 9]
    assert ident in [row["id"] for row in asked("history", "B7H")]


def test_lines_out_of_order_and_in_many_transactions(imported, asked, monkeypatch):
    monkeypatch.setattr(importing, "AT_ONCE", 4)
    rows = [f"B7H,rinse,2026-03-{day:02d} 05:00\n" for day in range(30, 1, -1)]
    rows.insert(11, "B7H,rinse,never\n")
    said = imported("machine;kind;occurred_at\n".replace(";", ",") + "".join(rows))
    assert (said["recorded"], [bad["line"] for bad in said["refused"]]) == (29, [13])
    days = [row["occurred_at"] for row in asked("history", "B7H") if row["kind"] == "rinse"]
    assert days == sorted(days)
    assert asked("audit")["verdict"] == "whole"


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "missing: machine, kind, occurred_at"),
        ("machine,kind\nB7H,rinse\n", "missing: occurred_at"),
        ("machine,kind,occurred_at,kind\n", "the same"),
        ('machine,kind,occurred_at\nB7H,"rinse,2026-03-09\n', "no CSV"),
    ],
)
def test_a_file_that_is_none(text, why, home, refused):
    (home / "past.csv").write_text(text)
    assert why in refused("import", "past.csv", "--by", "jo")


def test_semicolons_and_rows_of_another_length(imported):
    said = imported(
        "\ufeffmachine;kind;occurred_at\nB7H;rinse;2026-03-09 05:00\nB7H;rinse\n\nB7H;rinse;2026-03-09 06:00;x\n"
    )
    assert (said["recorded"], [bad["line"] for bad in said["refused"]]) == (1, [3, 5])


def test_for_people(home, run):
    (home / "past.csv").write_text(CSV)
    said = run("import", "past.csv", "--by", "jo", "--dry-run")
    assert said.stdout == "10 lines: 3 would be recorded (3 of them late), 0 there already, 7 refused.\n"
    assert "line 6: " in said.stderr
    assert said.stderr.splitlines()[-1] == ("logbook: 7 of 10 lines were refused, first line 5; nothing was recorded.")
