"""The program's replay and the slow reading of the rules must write the same alerts.

`LOGBOOK_HISTORIES` says how many random histories are compared (default 300). Where they differ, the history
is first made as small as it goes, so that the difference can be read.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from typing import Any

import pytest

from logbook import replay as program
from tests.whole import oracle
from tests.whole.histories import history
from tests.whole.worked import Case
from tests.whole.worked_rounds import ROUNDS
from tests.whole.worked_uses import USES

HISTORIES = int(os.environ.get("LOGBOOK_HISTORIES", "300"))

Lines = list[dict[str, Any]]


def smallest(entries: Lines, differs: Callable[[Lines], bool]) -> Lines:
    """Leave out whatever can be left out, from large pieces to single entries, while they still differ."""
    piece = max(1, len(entries) // 2)
    while True:
        start, shrunk = 0, False
        while start < len(entries):
            fewer = entries[:start] + entries[start + piece :]
            if differs(fewer):
                entries, shrunk = fewer, True
            else:
                start += piece
        if piece > 1:
            piece //= 2
        elif not shrunk:
            return entries


def compare(fleet: dict[str, Any], entries: Lines, until: str) -> None:
    """Fail, showing a smallest history, if the two readings differ."""
    if program.replay(fleet, entries, until) == oracle.replay(fleet, entries, until):
        return

    def differs(fewer: Lines) -> bool:
        try:
            return bool(program.replay(fleet, fewer, until) != oracle.replay(fleet, fewer, until))
        except Exception:  # noqa: BLE001 - what no door would take shows nothing about the rules
            return False

    few = smallest(entries, differs)
    said, ought = program.replay(fleet, few, until), oracle.replay(fleet, few, until)
    rows = [
        f"until {until}, fleet {json.dumps(fleet)}",
        *(json.dumps(line) for line in few),
        *(f"only the program: {json.dumps(line)}" for line in said if line not in ought),
        *(f"only the rules:   {json.dumps(line)}" for line in ought if line not in said),
    ]
    pytest.fail("\n".join(rows), pytrace=False)


@pytest.mark.parametrize("case", [*USES, *ROUNDS], ids=lambda case: case.name)
def test_program_gives_what_was_worked_out_by_hand(case: Case) -> None:
    assert program.replay(case.fleet, case.entries, case.until) == case.expected


# Histories on which the two differed once: an excuse of a use that was renamed, a use named after the machine moved.
PINNED = [seed for seed in (591, 878, 1096, 1698) if seed >= HISTORIES]


@pytest.mark.parametrize("seed", [*range(HISTORIES), *PINNED])
def test_program_agrees_with_the_slow_reading(seed: int) -> None:
    told = history(seed)
    compare(told.fleet, told.entries, told.until)
