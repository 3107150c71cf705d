"""The roll call: a machine whose log was removed whole is missed, and one that goes by another plate is named."""

from __future__ import annotations

from typing import Any

from logbook.evidence.form import Formed
from logbook.evidence.roll import named, roll


def entry(kind: str, **data: Any) -> Formed:
    return Formed(
        "program",
        data,
        "e",
        kind,
        "o",
        "f",
        "2026-01-01T00:00:00Z",
        "0" * 64,
        {},
        "2026-01-01T00:00:00Z",
        "p",
        "p",
        1,
        1,
    )


def test_the_last_word_of_the_fleets_log_counts() -> None:
    said = [
        entry("machine_set", machine="m1", code="B7H"), entry("site_set", site="x"), entry("machine_set", machine="m1", code="C4J"),
        entry("machine_set", machine="m2", code="B8F"), entry("machine_set", machine=None, code="B8F"),
    ]  # fmt: skip
    assert named(said) == {"m1": "C4J", "m2": "B8F"}


def test_a_log_that_is_gone_and_a_plate_that_was_changed_are_named() -> None:
    faults = roll({"m1": "B7H", "m2": "C4J", "m3": "B8F"}, {"m2": "C9X", "m3": "B8F", "m4": None})
    assert [(fault.machine, fault.why) for fault in faults] == [("m1", "no_log"), ("m2", "column")]
    assert "B7H" in faults[0].sentence
    assert "C9X" in faults[1].sentence


def test_a_whole_fleet_is_all_there() -> None:
    assert roll({"m1": "B7H"}, {"m1": "B7H"}) == []
