"""The benchmarks run, and both sides of each compute the same. Never how long it takes: that is no test."""

from __future__ import annotations

from pathlib import Path

import pytest

pytest.importorskip("eventsourcing", reason="the benchmarks' other side; comes with the extra `bench`")
pytest.importorskip("orjson", reason="the faster codec of the benchmarks' other side; comes with the extra `bench`")

from tests.bench.__main__ import BENCHES, run
from tests.bench.harness import Row, Size, show


@pytest.mark.parametrize("name", list(BENCHES))
def test_each_benchmark_runs_small(name: str, tmp_path: Path) -> None:
    rows = run([name], Size(quick=True), tmp_path)
    assert rows
    assert all(row.values and row.same and min(row.values) > 0 for row in rows)
    assert len(show(rows).splitlines()) == 2 + len(rows)


def test_the_table_says_whether_a_goal_is_met() -> None:
    slow = Row("a", "1 s", "2 s", "sum", ratios=[1.0, 2.0, 9.0], goal=3.0)
    small = Row("b", "", "", "sum", figures=[1.0, 2.0], goal=3.0, at_most=True)
    assert (slow.met, small.met, Row("c", "", "", "sum", ratios=[1.0]).met) == (False, True, None)
    assert "| 2 (1 to 9) x | >= 3 x | NO |" in show([slow])
