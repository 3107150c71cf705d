"""Tonight in a real browser: news without reloading, nothing lost that somebody typed, and an end when it must end."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from playwright.sync_api import Page, expect

from logbook.domain.instants import HOUR, MINUTE
from logbook.store import sessions
from tests.web.browser.conftest import Served, Windows
from tests.web.test_tonight_acts import LEADERS
from tests.web.test_tonight_board import CALM
from tests.whole.stage import START

Serve = Callable[..., Served]
_FLEET = [
    {"code": code, "site": "HX", "battery": "flooded", "commissioned_at": "2026-03-01T12:00:00Z"}
    for code in ("B7H", "C2N", "D2J")
]


def night(served: Serve) -> Served:
    """Three machines at HX; B7H and C2N were put away and are late since 14:00, it is 15:00 there."""
    one = served(policy=CALM, person=LEADERS, machine=_FLEET)
    stage = one.stage
    stage.now = START + 5 * HOUR + 30 * MINUTE
    for code in ("B7H", "C2N"):
        stage.tell(code, "put_away", charge_pct=20)
    stage.until(START + 7 * HOUR)
    return one


def live(page: Page, address: str = "/en/tonight") -> Page:
    page.goto(address)
    expect(page.locator("#live")).to_have_text("live")
    return page


def opened(page: Page, fold: str) -> None:
    """Tap a fold open, if it is one on this screen, and not open yet."""
    summary = page.locator(f"{fold} > summary")
    if summary.is_visible() and page.locator(fold).get_attribute("open") is None:
        summary.click()


def _unloaded(page: Page) -> None:
    page.evaluate("window.stays = true")


def test_what_is_recorded_elsewhere_appears_and_what_is_typed_stays(served: Serve, windows: Windows) -> None:
    one = night(served)
    page = live(windows.page(one, "lee", width=1360))
    _unloaded(page)
    opened(page, "#late-B7H-rest")
    page.locator("#late-B7H-excuse summary").click()
    why = page.locator("#late-B7H-why")
    why.fill("no power at the")
    one.stage.tell("D2J", "put_away")
    expect(page.locator("#due-D2J")).to_be_visible()
    one.stage.tell("C2N", "charge")
    expect(page.locator("#late-C2N")).to_have_count(0)
    expect(page.locator("h1")).to_have_text("One machine is late, and one falls due before 19:00.")
    expect(page.locator("#spoken")).to_have_text("One machine is late, and one falls due before 19:00.")
    assert why.input_value() == "no power at the"
    page.keyboard.type(" quay")  # the cursor is still where it was
    assert why.input_value() == "no power at the quay"
    assert page.evaluate("window.stays") is True  # never loaded anew
    page.keyboard.press("Enter")
    expect(page.locator(".done")).to_contain_text("Excused on B7H")
    assert len(one.stage.entries("B7H", "excused")) == 1


def test_a_row_that_is_over_stays_while_somebody_types_in_it(served: Serve, windows: Windows) -> None:
    one = night(served)
    page = live(windows.page(one, "lee"))
    opened(page, "#late-B7H-rest")
    page.locator("#late-B7H-excuse summary").click()
    page.locator("#late-B7H-why").fill("half a rea")
    one.stage.tell("B7H", "charge")
    expect(page.locator("#late-B7H > .wrong")).to_contain_text("over by now")
    assert page.locator("#late-B7H-why").input_value() == "half a rea"


def test_what_somebody_opened_stays_open_and_what_has_the_focus_keeps_it(served: Serve, windows: Windows) -> None:
    one = night(served)
    page = live(windows.page(one, "lee"))
    opened(page, "#late-B7H-rest")
    page.locator("#late-B7H-long summary").click()
    page.locator("#late-B7H-for").focus()
    one.stage.tell("C2N", "charge")
    expect(page.locator("#late-C2N")).to_have_count(0)
    assert page.evaluate("document.activeElement.id") == "late-B7H-for"
    assert page.locator("#late-B7H-long").get_attribute("open") is not None


def test_whoever_is_signed_out_hears_no_more(served: Serve, windows: Windows) -> None:
    one = night(served)
    context = windows.context(one)
    session = one.sign_in(context, "lee")
    page = live(context.new_page())
    news = one.app.state.tonight.news
    _until(lambda: news.open == 1)
    one.house.store.write(lambda c: sessions.revoke(c, session, one.stage.now))
    expect(page.locator("#live")).to_contain_text("You are signed out here.")
    _until(lambda: news.open == 0)
    one.stage.tell("C2N", "charge")
    page.wait_for_timeout(300)
    expect(page.locator("#late-C2N")).to_have_count(1)  # what it shows is what it was


def test_a_server_with_open_pages_stops_and_they_catch_up(served: Serve, windows: Windows) -> None:
    one = night(served)
    page = live(windows.page(one, "lee"))
    begun = time.monotonic()
    one.down()
    assert time.monotonic() - begun < 5
    expect(page.locator("#live")).to_contain_text("not live since 15:0")
    one.stage.tell("C2N", "charge")
    one.up()
    expect(page.locator("#live")).to_have_text("live", timeout=15_000)
    expect(page.locator("#late-C2N")).to_have_count(0)


def test_time_goes_by_on_the_page_by_itself(served: Serve, windows: Windows) -> None:
    one = night(served)
    page = windows.page(one, "lee")
    page.clock.install()
    live(page)
    expect(page.locator("#late-B7H .span")).to_have_text("1 h")
    page.clock.run_for(125_000)
    expect(page.locator("#late-B7H .span")).to_have_text("1 h 2 min")
    expect(page.locator("#clock")).to_have_text("15:02")
    expect(page.locator("#looked")).to_contain_text("2 min")


def test_all_of_it_is_reached_and_done_by_keys_alone(served: Serve, windows: Windows) -> None:
    one = night(served)
    page = live(windows.page(one, "lee", width=1360))
    for _each in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent") == "I see to it":
            break
    page.keyboard.press("Enter")
    expect(page.locator(".done")).to_contain_text("is in your hands now")
    assert len(one.stage.entries("B7H", "acknowledged") + one.stage.entries("C2N", "acknowledged")) == 1


def test_without_scripts_everything_is_done_by_forms(served: Serve, windows: Windows) -> None:
    one = night(served)
    page = windows.page(one, "lee", java_script_enabled=False)
    page.goto("/en/tonight")
    assert "live" not in page.locator("#live").inner_text()
    page.locator("#late-B7H-pass summary").click()
    page.locator("#late-B7H-to").select_option(label="Sol Peña (supervisor)")
    page.locator("#late-B7H-pass button").click()
    expect(page.locator(".done")).to_contain_text("Asked. B7H stays late here")
    page.locator("#late-C2N .first").click()
    expect(page.locator("#hand-C2N")).to_be_visible()
    opened(page, "#late-B7H-rest")
    page.locator("#late-B7H form[action$=name] button").click()
    expect(page.locator(".done")).to_contain_text("Ana Silva")
    kinds: list[Any] = [kind for kind, _at, _data in one.stage.entries("B7H", "passed_on", "name_opened")]
    assert kinds == ["passed_on", "name_opened"]


def test_a_narrow_screen_folds_what_is_not_worst_and_a_wide_one_shows_it(served: Serve, windows: Windows) -> None:
    one = night(served)
    page = windows.page(one, "lee", java_script_enabled=False)
    page.goto("/en/tonight")
    worst, other = (each.get_attribute("id") for each in page.locator("#late .row").all())
    expect(page.locator(f"#{worst}-rest .told")).to_be_visible()
    expect(page.locator(f"#{other}-rest .told")).to_be_hidden()
    expect(page.locator(f"#{other} .first")).to_be_visible()
    page.locator(f"#{other}-rest > summary").click()
    expect(page.locator(f"#{other}-rest .told")).to_be_visible()
    wide = windows.page(one, "lee", width=1360, java_script_enabled=False)
    wide.goto("/en/tonight")
    expect(wide.locator(f"#{other}-rest .told")).to_be_visible()
    expect(wide.locator(f"#{other}-rest > summary")).to_be_hidden()
    expect(wide.locator("#all-D2J")).to_be_visible()


def _until(holds: Callable[[], bool], seconds: float = 10.0) -> None:
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end
        time.sleep(0.02)
