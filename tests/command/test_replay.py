"""`logbook replay`: the lines agreed on, the same as the engine's; and the first line that intake would refuse."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from logbook.replay import replay
from tests.whole.histories import history
from tests.whole.worked import Case, ident
from tests.whole.worked_rounds import ROUNDS
from tests.whole.worked_uses import USES

UNTIL = "2026-04-01T00:00:00Z"


def toml(plan: dict[str, Any]) -> str:
    """A fleet, given as the content of its file, as the file."""

    def value(what: Any) -> str:
        if isinstance(what, dict):
            return "{" + ", ".join(f"{json.dumps(key)} = {value(each)}" for key, each in what.items()) + "}"
        if isinstance(what, list):
            return "[" + ", ".join(map(value, what)) + "]"
        return json.dumps(what)

    out = []
    for name, table in plan.items():
        for row in [table] if isinstance(table, dict) else table:
            out.append(f"[{name}]" if isinstance(table, dict) else f"[[{name}]]")
            out += [f"{json.dumps(key)} = {value(each)}" for key, each in row.items()]
    return "\n".join(out)


def write(home: Path, fleet: dict[str, Any], entries: list[dict[str, Any]]) -> list[str]:
    (home / "f.toml").write_text(toml(fleet))
    (home / "e.jsonl").write_text("".join(json.dumps(entry) + "\n" for entry in entries))
    return ["replay", "--fleet", "f.toml", "--entries", "e.jsonl", "--until"]


@pytest.mark.parametrize("case", [*USES[::4], *ROUNDS[::4]], ids=lambda case: case.name)
def test_an_example_worked_out_by_hand(case: Case, home, done):
    said = done(*write(home, case.fleet, case.entries), case.until)
    assert [json.loads(line) for line in said.splitlines()] == case.expected


@pytest.mark.parametrize("seed", range(6))
def test_it_is_the_engine_s_own_replay(seed, home, done):
    told = history(seed)
    said = done(*write(home, told.fleet, told.entries), told.until)
    assert [json.loads(line) for line in said.splitlines()] == replay(told.fleet, told.entries, told.until)


def entry(number: int, machine: str = "MILL", kind: str = "rinse", **other: Any) -> dict[str, Any]:
    at = f"2026-03-02T{number:02d}:00:00Z"
    return {
        "id": ident(f"{machine} {number}"), "machine": machine, "kind": kind, "occurred_at": at, "recorded_at": at,
        "reporter": "ana", "channel": "form", "data": {}, **other,
    }  # fmt: skip


FLEET = {"site": [{"code": "HX", "zone": "America/Halifax"}]}
BORN = {"kind": "commissioned", "data": {"site": "HX", "battery": "flooded"}}


def two_machines() -> list[dict[str, Any]]:
    return [entry(1, **BORN), entry(1, "MALL", **BORN), entry(2), entry(2, "MALL"), entry(3), entry(3, "MALL")]


def test_the_form_of_a_line(home, done):
    said = done(*write(home, FLEET, two_machines()), "2026-03-09T15:00:00Z").splitlines()
    assert said[0] == (
        '{"at":"2026-03-09T15:00:00Z","kind":"alert_raised","machine":"MALL","duty":"filter","opened_by":"'
        + ident("MALL 1") + '","number":1,"due_at":"2026-03-09T15:00:00Z","outcome":null}'
    )  # fmt: skip
    assert [json.loads(line)["machine"] for line in said] == ["MALL", "MALL", "MILL", "MILL"]


@pytest.mark.parametrize(
    ("line", "change", "why"),
    [
        (3, {"kind": "rinsse"}, "no kind of entry 'rinsse'"),
        (4, {"data": {"water": 3}}, "water"),
        (4, {"occurred_at": "2026-03-02 02:00:00Z"}, "RFC 3339"),
        (4, {"recorded_at": "2026-03-02T25:00:00Z"}, "hour"),
        (5, {"recorded_at": "2026-03-02T01:30:00Z", "occurred_at": "2026-03-02T01:30:00Z"}, "before the line above"),
        (5, {"occurred_at": "2026-03-02T03:30:00Z"}, "has not come yet"),
        (6, {"id": ident("MALL 2"), "kind": "charge"}, "another entry's"),
        (6, {"id": ident("MILL 2")}, "another machine's"),
        (5, {"id": 7}, "expected `str`"),
        (5, {"data": [1]}, "expected `object`"),
        (5, {"kind": "site_set", "data": {"site": "HX", "name": "x", "zone": "UTC"}}, "fleet's log"),
        (2, {"data": {"site": "QQ", "battery": "flooded"}}, "no site 'QQ'"),
        (2, {"kind": "rinse", "data": {}}, "begins with `commissioned`"),
        (6, {"kind": "void", "data": {"entry": ident("MILL 2")}}, "not in this machine's log"),
    ],
)
def test_a_line_that_intake_would_refuse(line, change, why, home, refused):
    entries = two_machines()
    entries[line - 1].update(change)
    said = refused(*write(home, FLEET, entries), UNTIL)
    assert f"line {line}: " in said
    assert why in said


@pytest.mark.parametrize(
    "field", ["id", "machine", "kind", "occurred_at", "recorded_at", "reporter", "channel", "data"]
)
def test_a_field_that_is_lacking(field, home, refused):
    entries = two_machines()
    del entries[3][field]
    said = refused(*write(home, FLEET, entries), UNTIL)
    assert "line 4: " in said
    assert f"`{field}`" in said


@pytest.mark.parametrize(
    "broken",
    [b'{"id": "x", "machine":\n', b"rinse\n", b'{"id":"a","machine":"\xff"}\n', b"[" * 5_000 + b"\n", b"[1]\n"],
)
def test_broken_json_and_the_first_fault_of_all(broken, home, refused):
    words = write(home, FLEET, two_machines())
    lines = (home / "e.jsonl").read_bytes().splitlines(keepends=True)
    (home / "e.jsonl").write_bytes(b"".join([*lines[:4], broken, *lines[4:]]))
    assert "line 5: " in refused(*words, UNTIL)
    # An entry that is refused further up is the one that is told, and one further down is not.
    lines[2] = lines[2].replace(b'"rinse"', b'"rimse"')
    lines[5] = lines[5].replace(b'"rinse"', b'"rimse"')
    (home / "e.jsonl").write_bytes(b"".join([*lines[:4], broken, *lines[4:]]))
    assert "line 3: " in refused(*words, UNTIL)


def test_blank_lines_are_counted_and_nothing_is_an_answer_too(home, done, refused):
    words = write(home, FLEET, [])
    assert done(*words, UNTIL) == ""
    text = "".join(json.dumps(each) + "\n\n" for each in two_machines())
    (home / "e.jsonl").write_text(text.removesuffix("\n\n"))
    assert done(*words, UNTIL)
    (home / "e.jsonl").write_text(text.replace('"channel"', '"chanel"'))
    assert "line 1: " in refused(*words, UNTIL)


def test_supposing_other_numbers(home, done, refused):
    words = [*write(home, FLEET, two_machines()), "2026-03-09T16:00:00Z"]
    assert done(*words, "--policy", "filter=false", "--policy", "watering.every=P9D") == ""
    assert "2026-03-05T16:00:00Z" in done(*words, "--policy", "filter.every=P3D")
    assert "filter.every" in refused(*words, "--policy", "filter.evry=P3D")
    assert "P3X" in refused(*words, "--policy", "filter.every=P3X")
    assert "key=value" in refused(*words, "--policy", "filter.every")


def test_a_summary_by_duty(home, asked, done):
    late = entry(4, kind="filter", occurred_at="2026-03-09T15:30:00Z", recorded_at="2026-03-09T15:30:00Z")
    words = [*write(home, FLEET, [*two_machines(), late]), "2026-03-09T16:00:00Z", "--summary"]
    counted = [(row["duty"], row["raised"], row["late"], row["live"]) for row in asked(*words)]
    assert counted == [("watering", 2, 0, 2), ("filter", 2, 1, 1)]
    assert done(*words).splitlines()[0].split()[:2] == ["duty", "raised"]


def test_files_that_cannot_be_read(home, refused):
    words = write(home, FLEET, [])
    assert "no-such.jsonl" in refused(*words[:3], "--entries", "no-such.jsonl", "--until", UNTIL)
    assert "no-such.toml" in refused("replay", "--fleet", "no-such.toml", *words[3:], UNTIL)
    assert "--until" in refused(*words, "tomorrow")
    (home / "f.toml").write_text("[[site]\n")
    assert "broken TOML" in refused(*words, UNTIL)
    (home / "f.toml").write_text('[[site]]\ncode = "HX"\nzone = "America/Halfax"\n')
    assert "Halfax" in refused(*words, UNTIL)
