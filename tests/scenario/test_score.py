"""Detection, scored: over 120 made-up nights every miss is found at its instant, and there is no false alarm."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from logbook.replay import replay
from scenario.generate import Nights, entries, main, make
from scenario.score import score
from scenario.walls import rfc3339

ROOT = Path(__file__).resolve().parents[2]
# `LOGBOOK_SEEDS=200` looks longer.
SEEDS = (7, *range(100, 100 + int(os.environ.get("LOGBOOK_SEEDS", "3"))))
DUTIES = {
    "rinse", "charge", "squeegee", "watering", "filter", "segments", "segments_low", "segments_gone", "fault", "repair",
    "held_start", "delivery", "night", "prepared",
}  # fmt: skip


@cache
def nights(seed: int) -> Nights:
    return make(seed)


def replayed(made: Nights, **policy: Any) -> list[dict[str, Any]]:
    fleet = {**made.fleet.raw, "policy": {**made.fleet.raw["policy"], **policy}}
    return replay(fleet, entries(made), rfc3339(made.until))


@pytest.mark.parametrize("seed", SEEDS)
def test_every_miss_is_found_and_nothing_else(seed: int) -> None:
    made = nights(seed)
    result = score(made.truth, replayed(made))
    assert result.wrong == [], result.table()
    assert result.found == result.planted
    assert not result.false


@pytest.mark.parametrize(("seed", "count"), [(7, 14), (7, 60), (7, 200), (8, 330)])
def test_so_it_is_over_shorter_and_longer_times(seed: int, count: int) -> None:
    made = make(seed, count)
    assert score(made.truth, replayed(made)).wrong == []


def test_every_duty_is_missed_somewhere_in_every_way() -> None:
    rows = nights(7).truth
    assert {row["duty"] for row in rows} == DUTIES
    outcomes = {row["outcome"] for row in rows}
    assert outcomes == {None, "late", "told_late", "overtaken", "excused", "withdrawn", "not_due"}
    assert any(row["raised_at"] != row["due_at"] for row in rows)


def test_a_change_of_the_clocks_lies_within() -> None:
    made = nights(7)
    zones = {site.zone for site in made.fleet.sites.values()}
    assert len(zones) == 2
    for zone in zones:
        first = min(entry.recorded for entry in made.book.entries)
        assert first.astimezone(zone).utcoffset() != made.until.astimezone(zone).utcoffset()


def test_five_days_instead_of_seven_would_have_changed_the_watering_and_nothing_else() -> None:
    made = nights(7)
    seven, five = replayed(made), replayed(made, **{"watering.every": "P5D"})

    def of(lines: list[dict[str, Any]], *, watering: bool) -> list[dict[str, Any]]:
        return [line for line in lines if (line["duty"] == "watering") == watering]

    assert of(five, watering=False) == of(seven, watering=False)
    raised = [sum(line["kind"] == "alert_raised" for line in of(lines, watering=True)) for lines in (seven, five)]
    assert raised[0] < raised[1]
    # Nearly every weekly round comes too late for five days; not so those soon after a first day or a new battery.
    rounds = sum(entry.kind == "watering" for entry in made.book.entries)
    assert raised[1] > 0.8 * rounds


def test_a_forgotten_word_is_a_miss() -> None:
    """The score itself can fail: one act struck out of the entries must be noticed."""
    made = nights(7)
    lines = entries(made)
    last = max(number for number, line in enumerate(lines) if line["kind"] == "watering")
    without = lines[:last] + lines[last + 1 :]
    alerts = replay(made.fleet.raw, without, "2026-05-31T12:00:00Z")
    assert score(made.truth, alerts).false["watering"] >= 1


def test_a_miss_that_is_not_raised_and_one_at_the_wrong_instant_are_told_apart() -> None:
    made = nights(7)
    alerts = replayed(made)
    first = next(line for line in alerts if line["kind"] == "alert_raised" and line["duty"] == "rinse")
    fewer = score(made.truth, [line for line in alerts if line is not first])
    assert fewer.planted["rinse"] == fewer.found["rinse"] + 1
    assert fewer.false["rinse"] == 0
    moved = [{**line, "at": "2026-01-11T00:00:00Z"} if line is first else line for line in alerts]
    shifted = score(made.truth, moved)
    assert shifted.found["rinse"] == shifted.planted["rinse"] - 1
    assert shifted.false["rinse"] == 1


def test_the_same_seed_writes_the_same_bytes_and_another_does_not(tmp_path: Path) -> None:
    for name, seed in (("a", "7"), ("b", "7"), ("c", "8")):
        assert main(["--seed", seed, "--nights", "30", "--out", str(tmp_path / name)]) == 0
    files = sorted(file.name for file in (tmp_path / "a").iterdir())
    assert files == ["direct.jsonl", "entries.jsonl", "period.json", "texts.jsonl", "truth.jsonl"]
    for name in files:
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()
    assert (tmp_path / "a" / "texts.jsonl").read_bytes() != (tmp_path / "c" / "texts.jsonl").read_bytes()


def test_the_nights_are_made_up_without_the_program() -> None:
    """In a fresh Python, with the hash seed that chance gives: no module of the program is loaded."""
    code = (
        "import sys; import scenario.generate as g; g.make(7, 14);"
        "print([m for m in sys.modules if m.startswith('logbook')])"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert json.loads(done.stdout.replace("'", '"')) == []


def test_too_few_nights_are_refused_with_a_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--nights", "3", "--out", str(tmp_path / "x")]) == 2
    assert "not 3. Nothing was written." in capsys.readouterr().err
    assert not (tmp_path / "x").exists()
