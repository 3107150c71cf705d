"""A phone without signal, in a real browser: what is tapped arrives once, in order, whatever happens between.

Every test counts the log's rows before and after. The stage's clock stands still, so that what is asserted of times is
how long before it was recorded an entry says that it happened.
"""

from __future__ import annotations

import os
import signal as signals
from contextlib import suppress
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Route, expect
from playwright.sync_api import Error as PlaywrightError

from logbook.domain.instants import HOUR, MINUTE, SECOND
from logbook.store import sessions
from tests.web.browser.conftest import _SWITCHES, Windows
from tests.web.browser.phones import PEOPLE, Serve, arrived, kept, kinds, opened, reporters, rows, signal, tap, until
from tests.web.browser.test_every_page import _OUTSIDE, _SMALL, RULES


def test_written_without_signal_and_across_a_reload(served: Serve, windows: Windows) -> None:
    house = served()
    page = opened(windows.context(house, "ana"))
    page.context.set_offline(True)
    tap(page, "rinse")
    kept(page, 1)
    tap(page, "charge")
    kept(page, 2)
    expect(page.locator("#say .done")).to_have_text("Kept here: Plugged in to charge.")
    page.reload()  # the worker shows the page; the queue is on the disk
    kept(page, 2)
    expect(page.locator("#kept li")).to_have_count(2)
    tap(page, "put_away")
    kept(page, 3)
    assert kinds(house) == []
    signal(page)
    arrived(house, page, ["rinse", "charge", "put_away"])
    expect(page.locator("#say .done")).to_contain_text("Saved")


def test_a_server_that_is_down(served: Serve, windows: Windows) -> None:
    house = served()
    page = opened(windows.context(house, "ana"))
    house.down()
    tap(page, "rinse")
    kept(page, 1)
    page.reload()
    tap(page, "charge")
    kept(page, 2)
    expect(page.locator("#state span")).to_have_text("No signal. Sent later by itself.")
    house.up()
    arrived(house, page, ["rinse", "charge"])  # by itself


def test_an_answer_that_is_lost(served: Serve, windows: Windows) -> None:
    house = served()
    page = opened(windows.context(house, "ana", service_workers="block"), worker=False)
    lost: list[str] = []

    def lose(route: Route) -> None:
        if len(lost) < 2:
            lost.append(str(route.fetch().status))
            route.abort()
        else:
            route.continue_()

    page.route("**/taps", lose)
    tap(page, "rinse")
    kept(page, 1)
    signal(page)
    tap(page, "charge")
    kept(page, 0)
    assert lost == ["201", "200"]
    assert kinds(house) == ["rinse", "charge"]


def test_an_answer_that_is_somebody_elses(served: Serve, windows: Windows) -> None:
    """A network that wants to be signed in to answers everything with 200 and a page of its own."""
    house = served()
    # Without the worker: what it sends by itself cannot be stood in for.
    page = opened(windows.context(house, "ana", service_workers="block"), worker=False)
    page.route("**/taps", lambda route: route.fulfill(status=200, content_type="text/html", body="<h1>Welcome</h1>"))
    tap(page, "rinse")
    expect(page.locator("#state span")).to_have_text("No signal. Sent later by itself.")
    kept(page, 1)
    assert kinds(house) == []
    page.unroute("**/taps")
    signal(page)
    arrived(house, page, ["rinse"])


def test_a_thumb_that_comes_down_twice(served: Serve, windows: Windows) -> None:
    house = served()
    page = opened(windows.context(house, "ana"), worker=False)
    page.locator("button[data-act=charge]").dblclick()
    kept(page, 0)
    expect(page.locator("#say .done")).to_contain_text("Saved")
    assert kinds(house) == ["charge"]
    page.wait_for_timeout(1_000)
    tap(page, "charge")  # later it is told once more
    arrived(house, page, ["charge", "charge"])


@pytest.mark.parametrize("locks", [True, False])
def test_four_tabs(served: Serve, windows: Windows, *, locks: bool) -> None:
    house = served()
    context = windows.context(house, "ana")
    if not locks:
        context.add_init_script("Object.defineProperty(navigator, 'locks', { value: undefined })")
    pages = [opened(context, worker=False) for _ in range(4)]
    context.set_offline(True)
    told = ["charge", "unplug", "fill", "start"]
    for number, kind in enumerate(told):
        # A tab that is not in front takes two seconds to be clicked, so its own script does it.
        pages[number % 4].locator(f"button[data-act={kind}]").first.evaluate("button => button.click()")
        kept(pages[(number + 1) % 4], number + 1)  # each tab knows what another has kept
    context.set_offline(False)
    for page in pages:
        page.evaluate("dispatchEvent(new Event('online'))")
    for page in pages:
        arrived(house, page, told)


def _killed(folder: Path) -> None:
    """Kill the browser that lives in this folder, which this test started."""
    for each in Path("/proc").iterdir():
        try:
            line = (each / "cmdline").read_text() if each.name.isdigit() else ""
        except OSError:
            continue
        if f"--user-data-dir={folder}" in line and "--type=" not in line:
            os.kill(int(each.name), signals.SIGKILL)


def test_a_browser_that_is_killed(served: Serve, browser: Browser, chromium: str, tmp_path: Path) -> None:
    house = served()

    def start() -> tuple:  # type: ignore[type-arg]
        made = browser.browser_type.launch_persistent_context(
            tmp_path, executable_path=chromium, args=_SWITCHES, base_url=house.address
        )
        return made, made.pages[0]

    context, page = start()
    house.sign_in(context, "ana")
    page.goto("/en/m/B7H")
    until(page, "(await (await caches.open('pages')).keys()).length == 3")
    context.set_offline(True)
    tap(page, "rinse")
    tap(page, "charge")
    kept(page, 2)
    _killed(tmp_path)
    with suppress(PlaywrightError):  # it is gone already, if this comes after
        context.close()
    assert kinds(house) == []
    context, page = start()
    house.sign_in(context, "ana")
    page.goto("/en/m/B7H")
    arrived(house, page, ["rinse", "charge"])
    context.close()


def test_who_wrote_it_told_it_whoever_is_signed_in_when_it_is_sent(served: Serve, windows: Windows) -> None:
    house = served(person=PEOPLE)
    context = windows.context(house, "ana")
    page = opened(context)
    context.set_offline(True)
    tap(page, "rinse")
    kept(page, 1)
    house.sign_in(context, "ben")
    context.set_offline(False)
    page.evaluate("fetch('/en/nowhere', { method: 'POST' })")  # whoever signs in posts somewhere: the pages go
    page.goto("/en/m/B7H")
    expect(page.locator("header")).to_contain_text("Ben Roy")
    kept(page, 0)
    tap(page, "charge")
    expect(page.locator("#say .done")).to_contain_text("Saved")
    assert kinds(house) == ["rinse", "charge"]
    assert reporters(house) == ["ana", "ben"]


def test_what_is_not_accepted_is_kept_and_holds_up_nobody_else(served: Serve, windows: Windows) -> None:
    house = served(person=PEOPLE)
    context = windows.context(house)
    session = house.sign_in(context, "ana")
    page = opened(context)
    context.set_offline(True)
    tap(page, "rinse")
    kept(page, 1)
    house.stage.program.store.write(lambda c: sessions.revoke(c, session, house.stage.now))
    house.sign_in(context, "ben")
    context.set_offline(False)
    page.goto("/en/m/B7H?")
    expect(page.locator("#state span")).to_contain_text("Not taken from this phone any more")
    expect(page.locator("#kept li")).to_contain_text("told by somebody else")
    tap(page, "charge")
    expect(page.locator("#say .done")).to_contain_text("Saved")
    kept(page, 1)
    assert kinds(house) == ["charge"]


def test_what_is_refused_for_good_is_shown_until_it_is_seen(served: Serve, windows: Windows) -> None:
    house = served()
    page = opened(windows.context(house, "ana"))
    page.context.set_offline(True)
    tap(page, "rinse")
    tap(page, "charge")
    kept(page, 2)
    house.stage.tell("B7H", "retired", who="own", why="worn out")
    house.stage.now += HOUR
    signal(page)
    kept(page, 0)
    expect(page.locator("#kept li")).to_have_count(2)
    expect(page.locator("#kept li").first).to_contain_text("This machine is retired. Nothing was saved.")
    page.reload()
    expect(page.locator("#kept li")).to_have_count(2)
    for left in (1, 0):
        page.locator("#kept button").first.click()
        expect(page.locator("#kept li")).to_have_count(left)
    assert kinds(house) == ["retired"]


def test_what_waits_can_be_taken_back_before_it_is_sent(served: Serve, windows: Windows) -> None:
    house = served()
    page = opened(windows.context(house, "ana"))
    page.context.set_offline(True)
    page.evaluate("dispatchEvent(new Event('offline'))")
    for count, kind in enumerate(("rinse", "charge", "put_away")):
        tap(page, kind)
        kept(page, count + 1)
    # The first was tried already, and may have arrived: it is sent and struck. The second leaves no trace.
    page.locator("#kept li", has_text="Plugged in").get_by_role("button").click()
    kept(page, 2)
    page.locator("#kept li", has_text="rinsed").get_by_role("button").click()
    expect(page.locator("#kept li", has_text="taking back")).to_have_count(1)
    signal(page)
    kept(page, 0)
    expect(page.locator("#kept li")).to_have_count(0)
    assert kinds(house) == ["rinse", "put_away", "void"]


def test_what_was_sent_can_be_taken_back(served: Serve, windows: Windows) -> None:
    house = served()
    page = opened(windows.context(house, "ana"), worker=False)
    tap(page, "rinse")
    expect(page.locator("button.back")).to_contain_text("Take back")
    page.wait_for_timeout(400)
    page.locator("button.back").click()
    expect(page.locator("#say .done")).to_contain_text("Taken back")
    assert kinds(house) == ["rinse", "void"]


def test_how_long_ago_it_was_whatever_the_phones_clock_does(served: Serve, windows: Windows) -> None:
    house = served()
    page = opened(windows.context(house, "ana"))
    page.context.set_offline(True)
    tap(page, "rinse")
    page.locator("summary", has_text="It happened earlier").click()
    page.locator("label", has_text="15 min ago").click()
    tap(page, "charge")
    kept(page, 2)
    page.evaluate("{ const true_ = Date.now; Date.now = () => true_() - 7_200_000 }")  # put back by two hours
    tap(page, "put_away")
    kept(page, 3)
    page.wait_for_timeout(1_200)
    page.evaluate("{ const true_ = Date.now; Date.now = () => true_() - 7_200_000 }")
    signal(page)
    kept(page, 0)
    ages = {row.kind: row.recorded_at - row.occurred_at for row in rows(house)}
    assert SECOND < ages["rinse"] < 20 * SECOND
    assert 15 * MINUTE + SECOND < ages["charge"] < 16 * MINUTE
    assert SECOND < ages["put_away"] < 20 * SECOND


@pytest.mark.parametrize("broken", ["indexedDB", "BroadcastChannel"])
def test_where_nothing_can_be_kept_the_forms_work_as_without_a_script(
    served: Serve, windows: Windows, broken: str
) -> None:
    house = served()
    context = windows.context(house, "ana")
    context.add_init_script(f"Object.defineProperty(self, '{broken}', {{ value: undefined }})")
    page = context.new_page()
    page.goto("/en/m/B7H")
    page.locator("button[data-act=charge]").click()
    expect(page.locator("#say .done")).to_contain_text("Saved")
    assert "saved=" in page.url
    assert kinds(house) == ["charge"]


def test_the_queue_can_be_read_and_used_by_anybody(served: Serve, windows: Windows) -> None:
    """With what waits, what was refused, and the text: nothing that WCAG 2.2 AA objects to, at 320 px, text doubled."""
    house = served()
    page = opened(
        windows.context(house, "ana", service_workers="block", width=320, height=640), "/es/m/B7H", worker=False
    )
    refused = {"say": "Esta máquina está retirada. No se guardó nada. Si todavía se usa, avise a su supervisor."}
    page.route("**/taps", lambda route: route.fulfill(status=422, json=refused))
    tap(page, "charge")
    expect(page.locator("#kept li")).to_contain_text("retirada")
    expect(page.locator("#state")).to_have_text("Todo está enviado")
    page.unroute("**/taps")
    page.context.set_offline(True)
    tap(page, "unplug")
    expect(page.locator("#state a")).to_have_text("Mandar mensaje")
    found: list[str] = []
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        found += page.evaluate(_OUTSIDE) + page.evaluate(_SMALL)
        found += [
            f"{each['id']}: {node['html'][:160]}"
            for each in Axe().run(page, options=RULES).response["violations"]
            for node in each["nodes"]
        ]
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    found += page.evaluate(_OUTSIDE)
    assert sorted(set(found)) == []
