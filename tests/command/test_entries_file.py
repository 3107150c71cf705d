"""The entries file: the same instants as the letter-by-letter reading, and each machine's lines by themselves."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.command.entries_file import OFTEN, Clock, EntriesFile
from logbook.domain import instants

SHAPES = st.from_regex(
    r"20[0-2][0-9]-[01][0-9]-[0-3][0-9][Tt ][0-2][0-9]:[0-6][0-9]:[0-6][0-9](\.[0-9]{1,7})?(Z|z|[+-]0[0-9]:[0-5]0)?",
    fullmatch=True,
)


def outcome(read, text):
    try:
        return read(text)
    except ValueError as why:
        return str(why)


@given(st.lists(SHAPES, max_size=8))
def test_the_quick_clock_reads_what_the_slow_one_reads(texts):
    quick = Clock()
    for text in [*texts, *texts]:  # each again, when its hour is known
        assert outcome(quick, text) == outcome(instants.parse, text)


@pytest.mark.parametrize(
    "text", ["", "Z", ":00:00Z", "2026-02-30T10:00:00Z", "x" * 13 + ":00:00Z", "2026-03-09T24:00:00Z"]
)
def test_what_only_ends_like_a_time(text):
    with pytest.raises(ValueError, match=r"."):
        Clock()(text)


def test_lines_come_by_machine_with_their_numbers_and_the_progress_adds_up(home):
    path = home / "e.jsonl"
    with path.open("w") as file:
        for number in range(1, OFTEN + 1_001):
            at = instants.text(number * instants.SECOND)
            line = {
                "id": f"e{number}", "machine": f"M-{number % 3}", "kind": "rinse", "occurred_at": at, "recorded_at": at,
                "reporter": None, "channel": "form", "data": {},
            }  # fmt: skip
            file.write(json.dumps(line) + "\n")
    read = []
    with EntriesFile(path, read.append) as entries:
        machines = {machine: list(lines) for machine, lines in entries.machines().items()}
    assert entries.broken is None
    assert list(machines) == ["M-1", "M-2", "M-0"]
    for machine, lines in machines.items():
        assert [line.number for line in lines] == list(range(lines[0].number, OFTEN + 1_001, 3))
        assert all(line.id == f"e{line.number}" and line.occurred_at == line.number * instants.SECOND for line in lines)
        assert machine == f"M-{lines[0].number % 3}"
    assert sum(read) == 2 * path.stat().st_size


def test_a_line_that_is_no_json_is_told_in_proper_letters(home):
    path = home / "e.jsonl"
    path.write_text("nope\n")
    with EntriesFile(path) as entries:
        assert str(entries.broken).startswith("line 1: JSON is malformed")
