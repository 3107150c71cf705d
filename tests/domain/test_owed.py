"""Whether a machine is in use, as far as its log says; and what it owes then."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from logbook.domain.owed import is_out, owed_now
from logbook.store import folds
from tests.whole.stage import Stage, make

__all__ = ["make"]


def state(one: Stage) -> tuple[bool, dict[str, bool]]:
    """Whether B7H is out, and what it owes: late or not, by duty."""

    def look(connection: object) -> tuple[bool, dict[str, bool]]:
        machine = folds.load(connection, one.machine("B7H"), one.program.intake.book(one.register, one.machine("B7H")))  # type: ignore[arg-type]
        owed = owed_now(machine.machine, one.now)
        return is_out(machine.machine, one.now), {each.duty: each.late for each in owed if each.duty in OF_A_USE}

    found: tuple[bool, dict[str, bool]] = one.read(look)
    return found


OF_A_USE = ("rinse", "charge", "squeegee")


@pytest.mark.parametrize("acts", [("rinse",), ("empty", "rinse"), ("wipe", "squeegee"), ("charge",)])
def test_what_is_made_up_for_hours_later_begins_no_other_use(make: Callable[..., Stage], acts: tuple[str, ...]) -> None:
    one = make()
    one.until("2026-03-03T02:00:00Z")
    one.tell("B7H", "start", "2026-03-02T23:00:00Z")
    one.tell("B7H", "put_away")
    one.until("2026-03-03T04:21:00Z")  # longer than `closing`
    for act in acts:
        one.tell("B7H", act)
    out, owed = state(one)
    assert not out
    assert owed == {duty: True for duty in OF_A_USE if duty not in acts}


def test_the_same_act_once_more_is_another_uses(make: Callable[..., Stage]) -> None:
    one = make()
    one.until("2026-03-03T02:00:00Z")
    one.tell("B7H", "start", "2026-03-02T23:00:00Z")
    for act in ("rinse", "squeegee", "charge", "put_away"):
        one.tell("B7H", act)
    one.until("2026-03-03T08:00:00Z")
    one.tell("B7H", "rinse")  # nobody has said that it was out, but a tank that is clean is rinsed by nobody
    out, owed = state(one)
    assert out
    assert owed == {"charge": False, "squeegee": False}
