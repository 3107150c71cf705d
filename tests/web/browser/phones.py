"""What tests of a phone's page have in common: opening it, tapping, and looking at the log."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from playwright.sync_api import BrowserContext, Page, expect

from logbook.evidence.form import read as read_form
from logbook.store import log, words
from tests.web.browser.conftest import Served

Serve = Callable[..., Served]
SENT = "Everything is sent"
PEOPLE: list[dict[str, Any]] = [
    {"key": "ana", "name": "Ana Silva", "role": "cleaner", "phone": "+19025550111", "sites": ["HX"]},
    {"key": "ben", "name": "Ben Roy", "role": "cleaner", "phone": "+19025550114", "sites": ["HX"]},
    {"key": "lee", "name": "Lee Shaw", "role": "supervisor", "email": "lee@ferry.example", "sites": ["HX"]},
]


def rows(house: Served, code: str = "B7H") -> list[log.Stored]:
    """What was told of a machine since it was commissioned."""
    found: list[log.Stored] = house.stage.read(lambda c: list(log.by_seq(c, house.stage.machine(code))))
    return found[1:]


def kinds(house: Served, code: str = "B7H") -> list[str]:
    return [row.kind for row in rows(house, code)]


def reporters(house: Served, code: str = "B7H") -> list[str]:
    """By which person each entry was told, by key."""
    machine = house.stage.machine(code)
    names = {
        house.stage.read(lambda c, key=key: words.reporter_of(c, machine, house.stage.person(key))): key
        for key in ("ana", "ben", "lee")
    }
    return [str(names[read_form(row.bytes).reporter]) for row in rows(house, code)]


def by_the_clock(house: Served) -> None:
    """Put the stage's clock to the time that a browser shows."""
    house.stage.now = time.time_ns() // 1_000


def opened(context: BrowserContext, path: str = "/en/m/B7H", *, worker: bool = True) -> Page:
    """The machine's page; `worker`: once it can be had without signal, in both languages."""
    page = context.new_page()
    page.goto(path)
    if worker:
        until(page, "(await (await caches.open('pages')).keys()).length == 3 && !!navigator.serviceWorker.controller")
    return page


def until(page: Page, holds: str) -> None:
    """Wait until this holds in the page; it may `await`."""
    for _ in range(200):
        if page.evaluate(f"(async () => {holds})()"):
            return
        page.wait_for_timeout(25)
    raise AssertionError(f"it never came about that {holds}")


def tap(page: Page, kind: str) -> None:
    """Tap the button of an act, wherever on the page it is."""
    button = page.locator(f"button[data-act={kind}]").first
    button.evaluate("button => { const around = button.closest('details'); if (around) around.open = true }")
    button.click()


def kept(page: Page, count: int) -> None:
    """So many wait on this phone, and the foot says so."""
    expect(page.locator("#state b")).to_have_text(f"{count} kept here" if count else SENT)


def arrived(house: Served, page: Page, told: list[str], code: str = "B7H") -> None:
    """The log holds these, in this order, and no more; and the phone keeps nothing."""
    for _ in range(200):
        if len(kinds(house, code)) >= len(told):
            break
        page.wait_for_timeout(25)
    kept(page, 0)
    assert kinds(house, code) == told


def signal(page: Page) -> None:
    """The signal is there again, and the phone has noticed."""
    page.context.set_offline(False)
    page.evaluate("dispatchEvent(new Event('online'))")
