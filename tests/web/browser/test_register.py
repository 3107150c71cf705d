"""From an empty fleet to the first tap, by the keyboard alone, following what the Register says is missing."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Page

from tests.web.browser.conftest import Served, Windows


def walk(page: Page, name: str) -> None:
    """By Tab to the link, button or field of this name, as somebody without a mouse would."""
    for _step in range(140):
        page.keyboard.press("Tab")
        found = page.evaluate(
            """() => { const e = document.activeElement; const l = e.labels && e.labels[0];
            return (l ? l.textContent : e.getAttribute('aria-label') || e.textContent || '').trim(); }"""
        )
        if found.startswith(name):
            return
    pytest.fail(f"no way by keyboard to {name!r} on {page.url}")


def fill(page: Page, **fields: str) -> None:
    for label, value in fields.items():
        walk(page, label.replace("_", " "))
        page.keyboard.type(value)


def press(page: Page, name: str) -> None:
    walk(page, name)
    with page.expect_navigation():
        page.keyboard.press("Enter")


def test_from_nothing_to_the_first_tap_by_keyboard(make_served: Served, windows: Windows) -> None:
    page = windows.page(make_served, "own", width=1360, height=900)
    page.goto("/en/register")
    press(page, "Add the first site")
    fill(page, Short_code="north", Name="North Slip", Time_zone="America/Halifax", Joining_word="gannet")
    walk(page, "Mon")
    page.keyboard.press("Space")
    fill(page, **{"from": "22:00", "to": "06:00"})
    press(page, "Save the site")
    press(page, "Add a machine")
    fill(page, Site="North", Battery="lead-acid, s")
    press(page, "Save the machine")
    code = page.locator("h1").inner_text().strip()
    press(page, "Sites")
    press(page, "Add a cleaner")
    fill(page, Name="Eva")
    walk(page, "North Slip")
    if not page.evaluate("document.activeElement.checked"):
        page.keyboard.press("Space")
    press(page, "Save the person")
    press(page, "Show a link for their phone")
    link = page.locator("code.token").inner_text()
    phone = windows.page(make_served)
    phone.goto(link)
    phone.locator("main form button").first.focus()
    with phone.expect_navigation():
        phone.keyboard.press("Enter")
    phone.goto(f"/en/m/{code}")
    assert code in phone.locator("body").inner_text()
    assert phone.locator("main button").count() > 0


@pytest.fixture
def make_served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A fleet that was founded, with its owner and nothing else."""
    from logbook.bootstrap import house
    from logbook.config import Config
    from logbook.web.app import make_app
    from logbook.web.settings import WebSettings
    from tests.whole.stage import START, fleet, new_database, stage

    one = stage(new_database(tmp_path_factory.mktemp("empty")), START)
    owner = {"key": "own", "name": "Jo", "role": "owner", "email": "jo@ferry.example"}
    one.apply(fleet(site=[], machine=[], person=[owner]))
    stands = house(one.program, Config(web=WebSettings(line="+19025550100")))
    served = Served(one, stands, make_app(stands))
    served.up()
    yield served
    served.down()
    one.close()
