"""The phone's page in a real browser without a script, and where its parts come to lie on a phone's glass."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from logbook.domain.instants import HOUR, MINUTE, parse
from tests.web.browser.conftest import Served, Windows

EVENING = parse("2026-03-03T02:00:00Z")
NIGHTS = [{"code": "HX", "name": "North Slip, arrivals concourse", "zone": "America/Halifax",
           "nights": [{"rule": "FREQ=DAILY", "from": "22:00", "to": "06:00"}]},
          {"code": "SJ", "name": "Harbour Hall", "zone": "America/St_Johns"}]  # fmt: skip


def told(house: Served) -> list[str]:
    return [kind for kind, _at, _data in house.stage.entries("B7H") if kind != "commissioned"]


def test_a_night_is_told_without_a_script(served: Callable[..., Served], windows: Windows) -> None:
    house = served(at=EVENING, site=NIGHTS)
    page = windows.page(house, "ana", java_script_enabled=False)
    page.goto("/en/m/B7H")
    page.get_by_text("The start of the night, all in one").click()
    page.get_by_label("Unplugged").check()
    page.get_by_label("Started work").check()
    page.get_by_role("button", name="Save what is ticked").click()
    assert "Saved: taken off charge, started 22:00." in page.locator("#say").inner_text()
    house.stage.now += 6 * HOUR
    for label in ("Emptied and rinsed", "Wiped the squeegee", "Plugged in to charge", "Put away"):
        house.stage.now += MINUTE
        page.goto("/en/m/B7H")
        big = page.locator(".big")
        assert label in big.inner_text()  # each time the largest button is the next thing that is done
        big.click()
    assert "Nothing else is owed." in page.locator("#say").inner_text()
    page.get_by_role("button", name="Take back the last one").click()
    assert "Taken back: put away." in page.locator("#say").inner_text()
    # A return key in a field must not tell the largest button's act.
    page.get_by_text("Every week").click()
    page.get_by_text("Read the hour meter").first.click()
    page.get_by_label("Hours on the meter").fill("1233.6")
    page.get_by_label("Hours on the meter").press("Enter")
    page.get_by_role("button", name="Save: Read the hour meter").click()
    assert "Saved: hour meter read" in page.locator("#say").inner_text()
    assert told(house) == ["unplug", "start", "rinse", "squeegee", "charge", "put_away", "void", "hours"]


def _held(house: Served) -> None:
    house.stage.tell("B7H", "start")
    house.stage.tell("B7H", "held", who="lee", why="the left head knocks loudly")
    house.stage.now += 6 * HOUR


def _late(house: Served) -> None:
    house.stage.tell("B7H", "start")
    house.stage.tell("B7H", "put_away")
    house.stage.now += 2 * HOUR


@pytest.mark.parametrize("state", [lambda _house: None, _held, _late], ids=["ready", "held", "late"])
def test_trouble_is_in_sight_and_the_foot_covers_nothing(
    served: Callable[..., Served], windows: Windows, state: Callable[[Any], None]
) -> None:
    house = served(at=EVENING, site=NIGHTS)
    state(house)
    for language in ("en", "es"):
        page = windows.page(house, "ana")
        page.goto(f"/{language}/m/B7H")
        foot = page.locator(".foot").bounding_box()
        trouble = page.locator("form > .trouble").bounding_box()
        assert foot is not None
        assert trouble is not None
        assert trouble["y"] + trouble["height"] <= foot["y"]
        # Scrolled to its end, the last thing lies above the foot.
        page.evaluate("scrollTo(0, 1e6)")
        last, foot = page.locator(".ways").bounding_box(), page.locator(".foot").bounding_box()
        assert last is not None
        assert foot is not None
        assert last["y"] + last["height"] <= foot["y"] + 1
