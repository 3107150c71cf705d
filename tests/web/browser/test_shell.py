"""The browser itself works, and a page that nobody wrote says so in it, under its policy."""

from __future__ import annotations

from collections.abc import Callable

from tests.web.browser.conftest import Served, Windows


def test_a_page_is_shown_under_its_policy(served: Callable[..., Served], windows: Windows) -> None:
    house = served()
    page = windows.page(house, "lee")
    answer = page.goto("/en/nowhere")
    assert answer is not None
    assert answer.status == 404
    assert page.locator("h1").inner_text() == "Not done"
    assert page.evaluate("getComputedStyle(document.body).margin") == "0px"  # the style was taken
    refused = page.evaluate("(() => { try { document.body.innerHTML = '<b>x</b>' } catch (e) { return e.name } })()")
    assert refused == "TypeError"  # Trusted Types
