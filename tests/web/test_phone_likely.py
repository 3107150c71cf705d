"""Which act the page makes largest: a night walked through, tap by tap, each tap the likeliest one."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from logbook.domain.instants import HOUR, MINUTE, parse
from logbook.store import folds
from logbook.web.phone.likely import Next, likely
from tests.whole.stage import Stage, make

__all__ = ["make"]

EVENING = parse("2026-03-03T02:00:00Z")  # 22:00 on Monday at the terminals in Halifax
NIGHTS = [{"code": "HX", "name": "North Slip", "zone": "America/Halifax",
           "nights": [{"rule": "FREQ=DAILY", "from": "22:00", "to": "06:00"}]},
          {"code": "SJ", "name": "Harbour Hall", "zone": "America/St_Johns"}]  # fmt: skip


def now_likely(one: Stage, code: str = "B7H") -> Next:
    register, uuid = one.register, one.machine(code)
    machine = one.read(lambda c: folds.load(c, uuid, one.program.intake.book(register, uuid))).machine
    machine.reach(one.now)
    return likely(machine, one.now)


def test_a_night_in_which_every_tap_is_the_largest_button(make: Callable[..., Stage]) -> None:
    one = make(at=EVENING, site=NIGHTS)
    hours = {"start": 0, "fill": 0.2, "empty": 3, "rinse": 7, "squeegee": 7.1, "charge": 7.2, "put_away": 7.3}
    for act, hour in hours.items():
        one.now = EVENING + int(hour * HOUR)
        assert now_likely(one).act == act
        one.tell("B7H", act)
    found = now_likely(one)
    assert (found.phase, found.act, found.card) == ("ready", "start", "begin")


def test_where_a_look_over_is_asked_for_it_comes_first_and_counts_for_one_start(make: Callable[..., Stage]) -> None:
    one = make(at=EVENING, policy={"prepared": True})
    assert now_likely(one).act == "prepared"
    one.tell("B7H", "prepared")
    assert now_likely(one).act == "start"
    one.now += 2 * HOUR + MINUTE
    assert now_likely(one).act == "prepared"  # prepared.window is PT2H
    one.tell("B7H", "prepared")
    one.tell("B7H", "start")
    one.tell("B7H", "rinse")
    for kind in ("squeegee", "charge", "put_away"):
        one.now += MINUTE
        one.tell("B7H", kind)
    assert now_likely(one).act == "prepared"


def test_what_was_left_undone_stays_largest_after_the_put_away_until_a_use_later(make: Callable[..., Stage]) -> None:
    one = make(at=EVENING)
    one.tell("B7H", "start")
    one.now += HOUR
    one.tell("B7H", "put_away")
    acts = []
    for _ in range(3):
        one.now += MINUTE
        acts.append(now_likely(one).act)
        assert now_likely(one).card == "end"
        one.tell("B7H", str(acts[-1]))
    assert acts == ["rinse", "squeegee", "charge"]
    one = make(at=EVENING)
    one.tell("B7H", "put_away")
    one.now += 10 * HOUR
    assert now_likely(one).act == "rinse"
    one.now += MINUTE
    assert now_likely(one).act == "start"  # the next evening: somebody came to begin


def test_without_a_calendar_the_end_is_near_after_half_the_longest_use(make: Callable[..., Stage]) -> None:
    one = make(at=EVENING, policy={"longest_use": "PT6H"})
    one.tell("B7H", "start")
    one.now += 3 * HOUR - 1
    assert now_likely(one).phase == "early"
    one.now += 1
    assert (now_likely(one).phase, now_likely(one).act) == ("closing", "rinse")


def test_the_calendars_night_says_when_the_end_is_near(make: Callable[..., Stage]) -> None:
    one = make(at=EVENING, site=NIGHTS)
    one.tell("B7H", "start")
    one.now = EVENING + 6 * HOUR - 1
    assert now_likely(one).phase == "early"
    one.now += 1  # closing is PT2H, the night ends at 06:00
    assert now_likely(one).phase == "closing"
    one.now = EVENING + 9 * HOUR  # past the night's end, and still out
    assert now_likely(one).phase == "closing"


@pytest.mark.parametrize("kind", ["rinse", "squeegee", "charge"])
def test_a_closing_act_begins_the_end_of_a_night(make: Callable[..., Stage], kind: str) -> None:
    one = make(at=EVENING, site=NIGHTS)
    one.tell("B7H", "start")
    one.now += HOUR
    one.tell("B7H", kind)
    assert now_likely(one).phase == "closing"
    # Taken out again it was not the end after all, and what was done is to be done again.
    one.now += MINUTE
    one.tell("B7H", "start")
    assert now_likely(one).phase == "early"


def test_a_duty_that_policy_leaves_out_is_not_asked_for(make: Callable[..., Stage]) -> None:
    one = make(at=EVENING, policy={"squeegee": False})
    one.tell("B7H", "start")
    one.tell("B7H", "rinse")
    assert now_likely(one).act == "charge"


@pytest.mark.parametrize("stop", [("held", {"why": "smoke"}), ("out_of_service", {"why": "smoke"})])
def test_what_must_stand_is_never_asked_to_start(make: Callable[..., Stage], stop: tuple[str, dict[str, Any]]) -> None:
    one = make(at=EVENING)
    one.tell("B7H", stop[0], who="lee", **stop[1])
    found = now_likely(one)
    assert (found.phase, found.act, found.card) == ("stopped", None, None)
    assert "start" not in found.others
    one.tell("B7H", "fill")
    assert now_likely(one).phase == "stopped"
    # It was started all the same: it must be put away like any other.
    one.tell("B7H", "start")
    assert (now_likely(one).phase, now_likely(one).act) == ("closing", "rinse")  # brought in, and not asked to go on
    one.now += 6 * HOUR
    assert now_likely(one).act == "rinse"


def test_filled_and_unplugged_but_not_driven_off_is_about_to_start(make: Callable[..., Stage]) -> None:
    one = make(at=EVENING)
    for kind in ("unplug", "fill"):
        one.tell("B7H", kind)
        assert (now_likely(one).phase, now_likely(one).act) == ("ready", "start")


def test_a_retired_machine_asks_for_nothing(make: Callable[..., Stage]) -> None:
    one = make(at=EVENING)
    one.tell("B7H", "start")
    one.tell("B7H", "retired", who="lee", why="sold")
    assert now_likely(one) == Next("retired", None, (), None)


def test_four_others_at_most_and_none_twice(make: Callable[..., Stage]) -> None:
    one = make(at=EVENING, site=NIGHTS)
    for act in ("start", "fill", "empty", "fill", "rinse", "squeegee", "charge", "put_away"):
        found = now_likely(one)
        assert len(set(found.others)) == len(found.others) == 4
        assert found.act not in found.others
        one.now += 50 * MINUTE
        one.tell("B7H", act)
