"""A history in a real browser: its two forms, a name opened by keys alone, and what comes out of a printer."""

from __future__ import annotations

import re
from collections.abc import Callable

from axe_playwright_python.sync_playwright import Axe

from tests.web.browser.conftest import Served, Windows
from tests.whole.stage import Stage

Make = Callable[..., Served]


def a_night(stage: Stage) -> None:
    for at, kind in (
        ("2026-03-03T02:00:00Z", "start"), ("2026-03-03T06:55:00Z", "empty"), ("2026-03-03T06:58:00Z", "charge"),
        ("2026-03-03T07:00:00Z", "put_away"),
    ):  # fmt: skip
        stage.until(at)
        stage.tell("B7H", kind)
    stage.until("2026-03-03T10:00:00Z")


def test_the_nights_have_a_form_for_desks_and_one_for_phones(served: Make, windows: Windows) -> None:
    house = served()
    a_night(house.stage)
    page = windows.page(house, "lee", width=1360)
    page.goto("/en/history/B7H")
    chart, strips = page.locator("svg.chart").first, page.locator("ol.strips").first
    assert chart.is_visible()
    assert not strips.is_visible()
    drawn = page.evaluate(
        "(() => { const bar = document.querySelector('svg.chart rect.working').getBoundingClientRect();"
        " const all = document.querySelector('svg.chart path.rule').getBoundingClientRect();"
        " return [(bar.left - all.left) / all.width, bar.width / all.width] })()"
    )
    assert abs(drawn[0] - 10 / 24) < 0.005  # 22:00, ten hours after noon
    assert abs(drawn[1] - 5 / 24) < 0.005
    page.set_viewport_size({"width": 390, "height": 844})
    assert not chart.is_visible()
    assert strips.is_visible()
    assert "Worked 22:00 to 03:00, 5 h." in strips.inner_text()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_a_name_is_opened_by_keys_alone_and_gone_on_the_way_back(served: Make, windows: Windows) -> None:
    house = served()
    a_night(house.stage)
    page = windows.page(house, "lee")
    page.goto("/en/history/B7H?kind=charge")
    assert "Ana" not in page.content()
    page.get_by_role("link", name=re.compile("Open the name")).focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/name/*")
    page.get_by_label("Why").focus()
    page.keyboard.type("to thank them")
    page.keyboard.press("Enter")
    page.get_by_text("Ana Silva").wait_for()
    assert len(house.stage.entries("B7H", "name_opened")) == 1
    page.get_by_role("link", name="Back to the history").click()
    page.locator("ol.entries").wait_for()
    assert "Ana" not in page.content()
    assert "to thank them" in page.content()


def test_a_past_moment_is_chosen_and_left_again(served: Make, windows: Windows) -> None:
    house = served()
    a_night(house.stage)
    page = windows.page(house, "lee", width=1360)
    page.goto("/en/history/B7H")
    page.get_by_label("As known at").fill("2026-03-02T22:30")
    page.get_by_role("button", name="Show what was known then").click()
    page.get_by_text("What was known on Mon 2 Mar 2026 22:30.").wait_for()
    assert "Put away" not in page.locator("ol.entries").inner_text()
    page.get_by_role("link", name="Back to now").click()
    page.locator("ol.entries").get_by_text("Put away").wait_for()


def test_on_paper_every_sheet_says_what_it_is(served: Make, windows: Windows) -> None:
    house = served()
    a_night(house.stage)
    stage = house.stage
    stage.program.intake.record([stage.draft("B7H", "wipe") for _ in range(60)], stage.by("ana"))
    page = windows.page(house, "lee", width=1360)
    page.goto("/en/history/B7H?all=1")
    head = page.locator(".hash").inner_text()
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
    for hidden in (".top", "form.known", "form.filters", ".clock"):
        assert not page.locator(hidden).first.is_visible(), hidden
    foot = page.locator(".running.foot").inner_text()
    assert "/en/history/B7H?all=1" in foot
    assert head in foot
    assert "it does not show that the reporter told the truth" in foot
    assert page.evaluate("getComputedStyle(document.querySelector('.running.foot')).display") == "table-footer-group"
    sheets = len(re.findall(rb"/Type\s*/Page\b", page.pdf(format="A4")))
    assert sheets >= 3


def test_a_name_s_page_and_a_past_view_are_for_everybody(served: Make, windows: Windows) -> None:
    house = served()
    a_night(house.stage)
    page = windows.page(house, "lee")
    for path in (
        "/en/history/B7H/name/3",
        "/es/history/B7H?known=2026-03-03T04:00&only=departures",
        "/es/history?q=zz",
    ):
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            page.goto(path)
            said = Axe().run(page, options={"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag22aa"]}})
            assert [each["id"] for each in said.response["violations"]] == [], (path, scheme)
