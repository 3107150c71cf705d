"""From an entry that is recorded to Tonight's page changed before the eyes of a supervisor, in Debian's Chromium.

Both clocks are this machine's: the time before `record` is called, and the time at which the page's row was gone.
"""

from __future__ import annotations

import time
from itertools import islice
from pathlib import Path

from tests.bench.harness import Row, Size

MACHINES = 12


def run(folder: Path, size: Size) -> list[Row]:
    """One row: milliseconds, a round each, for a small fleet."""
    from playwright.sync_api import sync_playwright

    from logbook.bootstrap import house
    from logbook.config import Config
    from logbook.domain.codes import every
    from logbook.domain.instants import HOUR
    from logbook.web.app import make_app
    from tests.web.browser.conftest import _SWITCHES, Served
    from tests.whole.stage import START, fleet, new_database, stage

    codes = list(islice(every(3), MACHINES))
    machines = [
        {"code": c, "site": "HX", "battery": "flooded", "commissioned_at": "2026-03-01T12:00:00Z"} for c in codes
    ]
    one = stage(new_database(folder))
    one.apply(fleet(machine=machines, policy={"rinse": False, "squeegee": False}))
    for code in codes:
        one.tell(code, "put_away")
    one.until(START + 2 * HOUR)
    stands = house(one.program, Config())
    served = Served(one, stands, make_app(stands))
    served.up()
    took: list[float] = []
    try:
        with sync_playwright() as playwright:
            import shutil

            browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=_SWITCHES)
            context = browser.new_context(base_url=served.address, viewport={"width": 1360, "height": 900})
            served.sign_in(context, "lee")
            page = context.new_page()
            page.goto("/en/tonight")
            page.wait_for_selector("#live.on")
            for code in codes[: max(2, size.rounds)]:
                page.evaluate(_WATCH, f"late-{code}")
                page.wait_for_timeout(400)  # a supervisor's page rests; news one upon another is gathered
                begun = time.time() * 1000
                one.tell(code, "charge")
                took.append(page.evaluate("window.gone") - begun)
            browser.close()
    finally:
        served.down()
        one.close()
    return [
        Row(
            f"an entry to Tonight's page changed, {MACHINES} machines", "record, bell, news, rows, page", "",
            "the row is gone", figures=took, goal=200, unit="ms", at_most=True,
        )
    ]  # fmt: skip


_WATCH = """id => { window.gone = new Promise(done => new MutationObserver((_all, me) => {
  if (!document.getElementById(id)) { me.disconnect(); done(Date.now()); }
}).observe(document.getElementById('board'), { childList: true, subtree: true })) }"""
