"""Every page, for those who look at them all: who opens it, and where. `{code}` is the machine with most to show,
`{mine}` the cleaner's own, `{person}` somebody's uuid."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import Page

PAGES: dict[str, tuple[str | None, str]] = {
    "sign-in": (None, "/{lang}/sign-in"),
    "join": (None, "/{lang}/join/{mine}"),
    "phone": ("ana", "/{lang}/m/{mine}"),
    "machines": ("ana", "/{lang}/machines"),
    "me": ("ana", "/{lang}/me"),
    "tonight": ("lee", "/{lang}/tonight"),
    "histories": ("lee", "/{lang}/history"),
    "history": ("lee", "/{lang}/history/{code}"),
    "register": ("own", "/{lang}/register"),
    "register-site": ("own", "/{lang}/register/sites/north-slip"),
    "register-new-site": ("own", "/{lang}/register/sites/new"),
    "register-machines": ("own", "/{lang}/register/machines"),
    "register-machine": ("own", "/{lang}/register/machines/{code}"),
    "register-new-machine": ("own", "/{lang}/register/machines/new"),
    "register-phones": ("own", "/{lang}/register/sites/north-slip/phones"),
    "register-fit": ("own", "/{lang}/register/machines/{code}/fit"),
    "register-people": ("own", "/{lang}/register/people"),
    "register-person": ("own", "/{lang}/register/people/{person}"),
    "register-new-person": ("own", "/{lang}/register/people/new"),
    "register-policy": ("own", "/{lang}/register/policy"),
    "register-number": ("own", "/{lang}/register/policy/watering.every"),
    "register-preview": ("own", "/{lang}/register/policy/watering.every"),
    "register-link": ("own", "/{lang}/register/people/{person}"),
    "enter": ("own", "/{lang}/register/people/{person}"),
    "register-import": ("own", "/{lang}/register/import"),
    "register-keys": ("own", "/{lang}/register/keys"),
    "register-erasing": ("own", "/{lang}/register/erasing/{person}"),
    "keeper": ("kay", "/{lang}/keeper"),
    "keeper-led": ("own", "/{lang}/keeper"),
    "plates": ("lee", "/{lang}/register/plates"),
    "training": ("own", "/{lang}/register/retraining"),
    "nothing": ("lee", "/{lang}/nothing-here"),
}
"""By a short name: the person's key in `tests.web.terrible` (None: nobody), and the address."""

WIDTHS = {320: 640, 390: 844, 1360: 900}
"""Widths of a window and their heights, px."""


def _preview(page: Page) -> None:
    page.locator("#chosen").select_option("P3D")
    with page.expect_navigation():
        page.locator("main form button.first").click()


def _link(page: Page) -> None:
    with page.expect_navigation():
        page.locator('main form[action$="/link"] button').click()


def _enter(page: Page) -> None:
    _link(page)
    there = page.locator("code.token").inner_text()
    page.goto(there[there.index("/", 8) :] if there.startswith("http") else there)


STEPS: dict[str, Callable[[Page], None]] = {"register-preview": _preview, "register-link": _link, "enter": _enter}
"""How a page is come to from its address, where that takes more than opening it."""
