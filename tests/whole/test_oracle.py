"""The slow reading of the rules, held against examples worked out by hand."""

from __future__ import annotations

import pytest

from tests.whole import oracle
from tests.whole.worked import Case
from tests.whole.worked_rounds import ROUNDS
from tests.whole.worked_uses import USES


@pytest.mark.parametrize("case", [*USES, *ROUNDS], ids=lambda case: case.name)
def test_hand_worked_example(case: Case) -> None:
    assert oracle.replay(case.fleet, case.entries, case.until) == case.expected


def test_names_of_the_examples_are_their_own() -> None:
    names = [case.name for case in (*USES, *ROUNDS)]
    assert len(names) == len(set(names)) >= 25
