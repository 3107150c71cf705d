"""How a machine stands, and which of several reasons to stop is the one that is named."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from logbook.domain.standing import Standing, standing_of, stop_of
from tests.whole.stage import Stage, make

__all__ = ["make"]


def stands(one: Stage) -> tuple[Standing, bool]:
    """How B7H stands now, and whether anything keeps it from running."""

    def look(connection: Any) -> tuple[Standing, bool]:
        machine = one.program.intake.watchman(connection, one.register, one.machine("B7H")).machine
        return standing_of(machine, one.now), stop_of(machine) is None

    found: tuple[Standing, bool] = one.read(look)
    return found


def test_what_says_most_outweighs_the_rest(make: Callable[..., Stage]) -> None:
    one = make()
    one.until("2026-03-03T02:00:00Z")
    assert stands(one) == ("ready", True)
    one.tell("B7H", "start")
    assert stands(one) == ("in_use", True)
    one.tell("B7H", "segments", left_um=[0, 3_000])
    assert stands(one) == ("bare_head", False)
    one.tell("B7H", "held", who="own")
    assert stands(one) == ("held", False)
    one.tell("B7H", "out_of_service", who="own")
    assert stands(one) == ("out_of_service", False)
    one.tell("B7H", "retired", who="own")
    assert stands(one) == ("retired", False)


@pytest.mark.parametrize(
    ("stop", "ends", "named"),
    [("held", "released", "held"), ("out_of_service", "in_service", "out_of_service")],
)
def test_a_stop_lasts_until_it_is_taken_back(make: Callable[..., Stage], stop: str, ends: str, named: Standing) -> None:
    one = make()
    one.until("2026-03-03T02:00:00Z")
    one.tell("B7H", stop, who="own")
    one.tell("B7H", "start")  # somebody ran it all the same
    assert stands(one) == (named, False)
    one.tell("B7H", ends, who="own")
    assert stands(one) == ("in_use", True)
