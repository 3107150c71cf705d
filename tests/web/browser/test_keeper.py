"""The keeper's page and the printing of plates in a real browser; the page that erases, held against WCAG 2.2 AA."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.whole.stage import FLEET

KEEPER = {"key": "kay", "name": "Kay Bright", "role": "keeper", "email": "kay@ferry.example", "sites": ["HX"]}
MM = 96 / 25.4
"""CSS px in a millimetre (CSS Values and Units, level 3)."""


def test_a_key_goes_out_by_keyboard_alone(served, windows):
    made = served(person=[*FLEET["person"], KEEPER])
    page = windows.page(made, "kay")
    page.goto("/en/keeper")
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.value") == "key_out":
            break
    page.keyboard.press("Enter")
    page.wait_for_url("**/keeper?done=key_out*")
    assert "The key is out since" in page.locator("#B7H").inner_text()
    assert len(made.stage.entries("B7H", "key_out")) == 1
    # Going back shows how it stands now, and not the form that was sent.
    page.go_back()
    assert page.locator("#B7H button[value=key_out]").count() == 0
    assert windows.complaints == []


@pytest.mark.parametrize(("paper", "width", "height"), [("A4", 210, 297), ("Letter", 216, 279)])
def test_a_printed_plate_is_as_wide_as_it_must_be(served, windows, paper, width, height):
    machines = [
        {**FLEET["machine"][0], "code": code} for code in ("B7H", "C4J", "D2J", "K2S", "D3H", "K3Q", "D4F", "D5D")
    ]
    made = served(machine=machines)
    page = windows.page(made, "own", width=round((width - 24) * MM), height=round((height - 24) * MM))
    made.house.address = "http://log.ferry.example"  # https would ask for another cookie
    page.goto("/en/register/plates")
    page.emulate_media(media="print")
    plates = page.locator("article.metal")
    assert plates.count() == 8
    boxes = [plates.nth(number).bounding_box() for number in range(8)]
    assert min(box["width"] for box in boxes) >= 86 * MM - 0.5
    assert max(box["x"] + box["width"] for box in boxes) <= (width - 24) * MM + 1
    square = page.locator("svg.square").first.bounding_box()
    assert square["width"] >= 29 * MM, "a module is three quarters of a millimetre or more"
    assert not page.locator("h1").is_visible()
    assert not page.locator("header.top").is_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_that_erases_can_be_read_by_anybody(served, windows, scheme):
    made = served()
    page = windows.page(made, "own", width=320, color_scheme=scheme)
    page.goto(f"/en/register/erasing/{made.stage.person('ana')}")
    rules = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"]}}
    assert [each["id"] for each in Axe().run(page, options=rules).response["violations"]] == []
    page.get_by_label("asked by the person").check()
    page.get_by_role("button", name="Go on").click()
    assert [each["id"] for each in Axe().run(page, options=rules).response["violations"]] == []
    page.get_by_label("Type Ana Silva").fill("Ana Silva")
    page.get_by_role("button", name="Erase, for good").click()
    assert "Nothing of this person is left" in page.locator("main").inner_text()
    assert windows.complaints == []
