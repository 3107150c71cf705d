"""The cleaner's page on a slow phone with a poor signal: 400 kb/s, 400 ms a round trip, a quarter of this processor.

`ready` is when the document, its styles and its scripts have been read and run (DOMContentLoaded, which waits for
modules); from then on a tap is kept. The octets are those that came over the wire until then (Network domain of the
Chrome DevTools Protocol). A tap is timed in the page, from the click until the foot says that it is kept. What the
worker fetches behind the page, for when there is no signal, comes after and is not slowed by the emulation.
"""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

from tests.bench.harness import Row, Size

RATE, DELAY, SLOWER = 400_000 / 8, 400, 4
_READY = "performance.getEntriesByType('navigation')[0].domContentLoadedEventEnd"
_TAP = """async kind => {
  const button = document.querySelector(`button[data-act=${kind}]`), foot = document.querySelector("#state b");
  const before = foot.textContent, begun = performance.now();
  const done = new Promise(done => new MutationObserver((_all, me) => {
    if (foot.textContent !== before) { me.disconnect(); done(performance.now()); }
  }).observe(foot, { childList: true, characterData: true, subtree: true }));
  button.click();
  return await done - begun;
}"""


def run(folder: Path, size: Size) -> list[Row]:
    """Milliseconds and octets, a round each, each round a phone that has never been here."""
    from playwright.sync_api import sync_playwright

    from logbook.bootstrap import house
    from logbook.config import Config
    from logbook.web.app import make_app
    from tests.web.browser.conftest import _SWITCHES, Served
    from tests.whole.stage import fleet, new_database, stage

    one = stage(new_database(folder))
    one.apply(fleet())
    for kind in ("start", "fill", "empty"):
        one.tell("B7H", kind)
    stands = house(one.program, Config())
    served = Served(one, stands, make_app(stands))
    served.up()
    found: dict[str, list[float]] = {}
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=_SWITCHES)
            for _ in range(size.rounds):
                for what, figure in _visit(browser, served).items():
                    found.setdefault(what, []).append(figure)
            browser.close()
    finally:
        served.down()
        one.close()
    slow = "400 kb/s, 400 ms, CPU / 4"
    return [
        Row(f"phone page, first visit: ready ({slow})", "page, styles, scripts", "", "a tap is kept from then on",
            figures=found["first"], goal=1_500, unit="ms", at_most=True),
        Row("phone page, first visit: over the wire until ready", "", "", "as counted by the browser",
            figures=found["octets"], goal=20, unit="kB", at_most=True),
        Row(f"phone page, later visit: ready ({slow})", "by the worker", "", "the same page",
            figures=found["later"], goal=300, unit="ms", at_most=True),
        Row("phone page, later visit without signal: ready (CPU / 4)", "by the worker", "", "the same page",
            figures=found["offline"], goal=300, unit="ms", at_most=True),
        Row(f"a tap is on the phone's disk and shown ({slow})", "", "", "one more in the queue",
            figures=found["tap"], goal=300, unit="ms", at_most=True),
        Row("the same without signal (CPU / 4)", "", "", "one more in the queue",
            figures=found["tap offline"], goal=300, unit="ms", at_most=True),
    ]  # fmt: skip


def _visit(browser: Any, served: Any) -> dict[str, float]:
    """One phone: its first visit, a later one, one without signal, and a tap on each of the latter two."""
    found: dict[str, float] = {}
    context = browser.new_context(base_url=served.address, viewport={"width": 390, "height": 844})
    served.sign_in(context, "ana")
    page = context.new_page()
    wire = context.new_cdp_session(page)
    octets = [0.0]
    wire.on("Network.loadingFinished", lambda each: octets.append(octets[-1] + each["encodedDataLength"]))
    wire.send("Network.enable")
    slow = {"latency": DELAY, "downloadThroughput": RATE, "uploadThroughput": RATE}
    wire.send("Network.emulateNetworkConditions", {"offline": False, **slow})
    wire.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    page.goto("/en/m/B7H", wait_until="domcontentloaded")
    found["octets"] = octets[-1] / 1_000
    found["first"] = page.evaluate(_READY)
    for _ in range(400):  # until the worker has what it needs
        if page.evaluate("(async () => (await (await caches.open('pages')).keys()).length)()") == 3:
            break
        page.wait_for_timeout(25)
    page.reload(wait_until="domcontentloaded")
    found["later"] = page.evaluate(_READY)
    page.wait_for_timeout(1_500)  # what is refreshed behind it has come
    found["tap"] = page.evaluate(_TAP, "charge")
    page.wait_for_timeout(2_500)
    context.set_offline(True)
    page.reload(wait_until="domcontentloaded")
    found["offline"] = page.evaluate(_READY)
    page.wait_for_timeout(500)
    found["tap offline"] = page.evaluate(_TAP, "put_away")
    context.close()
    return found
