"""The slow reading of the rules, held against examples worked out by hand and against its own promises."""

from __future__ import annotations

from collections import defaultdict

import pytest

from tests.whole import oracle
from tests.whole.histories import history
from tests.whole.worked import Case
from tests.whole.worked_rounds import ROUNDS
from tests.whole.worked_uses import USES

SEEDS = range(20)


@pytest.mark.parametrize("case", [*USES, *ROUNDS], ids=lambda case: case.name)
def test_hand_worked_example(case: Case) -> None:
    assert oracle.replay(case.fleet, case.entries, case.until) == case.expected


def test_names_of_the_examples_are_their_own() -> None:
    names = [case.name for case in (*USES, *ROUNDS)]
    assert len(names) == len(set(names)) >= 25


@pytest.mark.parametrize("seed", SEEDS)
def test_alerts_of_one_duty_are_numbered_and_cleared_in_turn(seed: int) -> None:
    told = history(seed)
    seen = defaultdict(list)
    for line in oracle.replay(told.fleet, told.entries, told.until):
        seen[line["machine"], line["duty"], line["opened_by"]].append((line["number"], line["kind"]))
    assert seen
    for rows in seen.values():
        turns = [(n, kind) for n in range(1, len(rows) + 1) for kind in ("alert_raised", "alert_cleared")]
        assert rows == turns[: len(rows)]


@pytest.mark.parametrize("seed", SEEDS)
def test_what_was_written_by_an_instant_does_not_depend_on_later_entries(seed: int) -> None:
    told = history(seed)
    whole = oracle.replay(told.fleet, told.entries, told.until)
    middle = told.entries[len(told.entries) // 2]["recorded_at"]
    known = [entry for entry in told.entries if oracle.parse(entry["recorded_at"]) <= oracle.parse(middle)]
    early = oracle.replay(told.fleet, known, middle)
    assert early == [line for line in whole if oracle.parse(line["at"]) <= oracle.parse(middle)]
