"""What is taken away: the objects of the command line, a CSV that no spreadsheet works out, and calendars as RFC 5545."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from logbook.domain.history_rows import rows
from logbook.domain.instants import HOUR, parse
from logbook.intake.reading import told_of
from logbook.web.history.calendar import Due, calendar
from logbook.web.history.export import cell, table
from tests.web.conftest import Pages
from tests.web.test_history import a_night

Make = Callable[..., Pages]


def command_line(one: Pages, known: str | None = None) -> list[dict[str, Any]]:
    """What `logbook history B7H --json` prints, by the way it goes there."""
    register, uuid = one.stage.register, one.stage.machine("B7H")
    told = one.stage.read(lambda c: told_of(c, uuid, register))
    found = rows(
        told, lambda site, at: register.policy(uuid, site, at).late_after, known_at=parse(known) if known else None
    )
    return [row.as_json() for row in found]


def struck(one: Pages) -> None:
    """A night, and an entry that was struck at 12:00 UTC."""
    a_night(one)
    wrong = one.stage.tell("B7H", "hours", meter_s=3_600).entries[0]
    one.stage.now = parse("2026-03-03T12:00:00Z")
    one.stage.tell("B7H", "void", entry=wrong.id, why="wrong machine")


def test_json_lines_are_the_objects_of_the_command_line(pages: Make) -> None:
    one = pages()
    struck(one)
    browser = one.client("lee")
    answer = browser.get("/en/history/B7H.jsonl")
    assert answer.headers["content-disposition"] == 'attachment; filename="history-B7H.jsonl"'
    assert [json.loads(line) for line in answer.text.splitlines()] == command_line(one)
    then = browser.get("/en/history/B7H.jsonl?known=2026-03-03T11:59:59Z")
    assert then.headers["content-disposition"] == 'attachment; filename="history-B7H-known-2026-03-03T1159Z.jsonl"'
    objects = [json.loads(line) for line in then.text.splitlines()]
    assert objects == command_line(one, "2026-03-03T11:59:59Z")
    assert "hours" in [each["kind"] for each in objects]
    # At or after the strike it is gone out of the effective history.
    one.stage.now += HOUR
    after = browser.get("/en/history/B7H.jsonl?known=2026-03-03T12:00:00Z").text
    assert "hours" not in [json.loads(line)["kind"] for line in after.splitlines()]


def test_exports_follow_the_filters(pages: Make) -> None:
    one = pages()
    struck(one)
    browser = one.client("lee")
    only = browser.get("/en/history/B7H.jsonl?kind=charge&role=cleaner").text.splitlines()
    assert [json.loads(line)["kind"] for line in only] == ["charge"]
    lines = list(csv.DictReader(io.StringIO(browser.get("/en/history/B7H.csv?only=struck").text)))
    assert [line["kind"] for line in lines] == ["hours", "void"]


def test_a_csv_comes_back_as_it_went(pages: Make) -> None:
    one = pages()
    struck(one)
    one.stage.tell("B7H", "segments", left_um=[9_500, 0])
    one.stage.tell("B7H", "note", note='a "quoted" word, a comma;\r\nand a line — ñandú')
    answer = one.client("lee").get("/en/history/B7H.csv")
    assert answer.headers["content-type"].startswith("text/csv; charset=utf-8")
    raw = answer.content.decode("utf-8")
    assert raw.count("\r\n") >= 10
    back = list(csv.DictReader(io.StringIO(raw, newline="")))
    objects = command_line(one)
    assert len(back) == len(objects)
    for line, said in zip(back, objects, strict=True):
        assert int(line["seq"]) == said["seq"]
        for name in ("id", "kind", "occurred_at", "recorded_at", "role", "channel", "site"):
            assert line[name] == said[name]
        assert (line["struck_by"] or None) == said["struck_by"]
        assert (line["recorded_late"] == "true") == said["recorded_late"]
        for name, value in said["data"].items():
            seen = line[f"data.{name}"]
            if isinstance(value, list):
                assert [int(each) for each in seen.split()] == value
            else:
                assert seen == str(value)


@pytest.mark.parametrize("note", ["=1+1", "+1", "-1+2", "@SUM(A1)", "\t=1", '=HYPERLINK("http://x.example","y")'])
def test_no_cell_is_a_formula(pages: Make, note: str) -> None:
    one = pages()
    one.stage.tell("B7H", "note", note=note)
    back = list(csv.DictReader(io.StringIO(one.client("lee").get("/en/history/B7H.csv").text)))
    assert back[-1]["data.note"] == f"'{note}"
    assert json.loads(one.client("lee").get("/en/history/B7H.jsonl").text.splitlines()[-1])["data"]["note"] == note


def test_cells_of_every_kind() -> None:
    assert [cell(each) for each in (None, True, -3, [1, 2], "a", {"=": 1}, ["=x"])] == [
        "", "true", "-3", "1 2", "a", '{"=": 1}', '["=x"]',
    ]  # fmt: skip
    assert table([], leads=True).startswith("seq,id,kind,")


# -- calendars, by a second reading of RFC 5545 -----------------------------------------------------------------


def unfolded(raw: bytes) -> Iterator[tuple[str, str]]:
    """(name with parameters, value) of each content line (RFC 5545 §3.1)."""
    assert raw.endswith(b"\r\n")
    assert b"\n" not in raw.replace(b"\r\n", b"")
    for line in raw.split(b"\r\n"):
        assert len(line) <= 75, line  # octets, the line break left out
    for whole in re.sub(rb"\r\n[ \t]", b"", raw).decode("utf-8").split("\r\n"):
        if whole:
            name, colon, value = whole.partition(":")
            assert colon
            yield name, value


def unescaped(value: str) -> str:
    """TEXT (RFC 5545 §3.3.11)."""
    assert not re.search(r"(?<!\\)(?:\\\\)*[;,]", value), value
    return re.sub(r"\\([\\;,nN])", lambda found: "\n" if found[1] in "nN" else found[1], value)


def events(raw: bytes) -> list[dict[str, str]]:
    lines = list(unfolded(raw))
    assert lines[0] == ("BEGIN", "VCALENDAR")
    assert lines[-1] == ("END", "VCALENDAR")
    assert ("VERSION", "2.0") in lines
    assert sum(name == "PRODID" for name, _value in lines) == 1
    found: list[dict[str, str]] = []
    open_: dict[str, str] | None = None
    for name, value in lines:
        if (name, value) == ("BEGIN", "VEVENT"):
            open_ = {}
        elif (name, value) == ("END", "VEVENT"):
            assert open_ is not None
            found.append(open_)
            open_ = None
        elif open_ is not None:
            assert name not in open_, name
            open_[name] = value
    return found


def test_what_is_due_as_a_calendar(pages: Make) -> None:
    one = pages()
    a_night(one)
    browser = one.client("lee")
    answer = browser.get("/en/due.ics")
    found = {unescaped(each["SUMMARY"]): each for each in events(answer.content)}
    assert "B7H: tank rinse, late" in found
    assert "B7H: battery watering" in found
    assert not any("charge" in each for each in found)
    rinse = found["B7H: tank rinse, late"]
    assert rinse["DTSTART"] == "20260303T073000Z"  # put away 07:00 UTC, and half an hour
    assert rinse["DTSTAMP"] == "20260303T100000Z"
    assert unescaped(rinse["LOCATION"]) == "North Slip"
    assert "emptied and rinsed" in unescaped(rinse["DESCRIPTION"])
    assert rinse["URL"] == "https://log.ferry.example/en/history/B7H"
    # Watered never, commissioned Sunday 1 March 08:00 in Halifax: a week, then on to noon, the clocks gone forward.
    assert found["B7H: battery watering"]["DTSTART"] == "20260308T150000Z"


def test_the_same_duty_keeps_its_name_in_every_language_and_at_every_fetch(pages: Make) -> None:
    one = pages()
    a_night(one)
    browser = one.client("lee")
    names = [each["UID"] for each in events(browser.get("/en/due.ics").content)]
    assert len(names) == len(set(names))
    assert all(name.endswith("@ferry.example") for name in names)
    one.stage.now += HOUR
    again = events(browser.get("/es/history/B7H.ics").content)
    assert [each["UID"] for each in again] == names
    assert any("con retraso" in each["SUMMARY"] for each in again)
    for each in again:
        assert one.stage.machine("B7H") not in "".join(each.values())


def test_texts_are_escaped_and_lines_folded_by_octets() -> None:
    site = "Pier 4; lower deck, “east” \\ ñandú " + "é" * 90
    raw = calendar([Due("u", "B7H", site, "watering", "e1", parse("2026-03-08T15:00:00.5Z"))], "Ferry, Inc; \\", "f.example/log",
                   "es", parse("2026-03-03T10:00:00.25Z"))  # fmt: skip
    (event,) = events(raw)
    assert unescaped(event["LOCATION"]) == site
    assert event["DTSTART"] == "20260308T150000Z"
    named = dict(unfolded(raw))
    assert unescaped(named["NAME"]) == unescaped(named["X-WR-CALNAME"]) == "Ferry, Inc; \\"


def test_an_empty_calendar_is_one_too() -> None:
    assert events(calendar([], "Ferry", "f.example", "en", parse("2026-03-03T10:00:00Z"))) == []
