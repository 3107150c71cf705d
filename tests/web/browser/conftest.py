"""The pages in a real browser: Debian's Chromium, driven by playwright, against the real server on loopback.

The clock is the stage's, in the test's hand; the browser's is the real one.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright
from starlette.responses import Response

from logbook.bootstrap import house
from logbook.channels.gateway.listening import listen
from logbook.config import Config
from logbook.web.app import make_app
from logbook.web.house import House
from logbook.web.settings import WebSettings
from logbook.web.who.visitor import begin
from tests.whole.stage import Stage, make

__all__ = ["make"]

_SWITCHES = ["--no-sandbox", "--disable-quic", "--disable-background-networking", "--disable-component-update",
             "--disable-sync", "--no-first-run", "--disable-dev-shm-usage"]  # fmt: skip


@dataclass
class Served:
    """One logbook's pages, served on loopback. `address` begins every page's."""

    stage: Stage
    house: House
    app: Any
    port: int = 0
    _loop: asyncio.AbstractEventLoop | None = None
    _stop: asyncio.Event | None = None
    _thread: threading.Thread | None = None

    @property
    def address(self) -> str:
        return f"http://localhost:{self.port}"

    def up(self) -> None:
        """Serve; at the same port as before, if there was one."""
        ready = threading.Event()

        async def run() -> None:
            self._loop, self._stop = asyncio.get_running_loop(), asyncio.Event()

            def known(port: int) -> None:
                self.port = port
                ready.set()

            await listen(self.app, "127.0.0.1", self.port, self._stop, ready=known)

        self._thread = threading.Thread(target=lambda: asyncio.run(run()))
        self._thread.start()
        assert ready.wait(20), "the pages did not come up"

    def down(self) -> None:
        """Stop serving: whoever asks is not answered."""
        if self._thread is not None and self._loop is not None and self._stop is not None:
            self._loop.call_soon_threadsafe(self._stop.set)
            self._thread.join(30)
            assert not self._thread.is_alive()
            self._thread = None

    def sign_in(self, context: BrowserContext, key: str, kind: str = "own") -> str:
        """Sign somebody in; answers with the session's id."""
        response = Response()
        person = self.stage.person(key)
        row = self.house.store.write(lambda c: begin(self.house, c, response, person, kind, "a test's"))
        name, _is, value = response.headers["set-cookie"].partition(";")[0].partition("=")
        context.add_cookies([{"name": name, "value": value, "url": self.address, "httpOnly": True, "sameSite": "Lax"}])
        return row.id


@pytest.fixture
def served(make: Callable[..., Stage]) -> Iterator[Callable[..., Served]]:
    """`served(policy={...})`: a stage as `make` gives it, and its pages on loopback."""
    made: list[Served] = []

    def build(*, line: str | None = "+19025550100", **changes: Any) -> Served:
        one = make(**changes)
        stands = house(one.program, Config(web=WebSettings(line=line)))
        each = Served(one, stands, make_app(stands))
        made.append(each)
        each.up()
        return each

    yield build
    for each in made:
        each.down()


@pytest.fixture(scope="module")
def browser(chromium: str) -> Iterator[Browser]:
    """One browser for all tests of a file; each opens contexts of its own.

    Not the session's: while playwright runs, its event loop is this thread's, and no other test could run one.
    """
    with sync_playwright() as playwright:
        one = playwright.chromium.launch(executable_path=chromium, args=_SWITCHES)
        yield one
        one.close()


@dataclass
class Windows:
    """Opens browser contexts, and notes what a page complains of."""

    browser: Browser
    opened: list[BrowserContext] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def context(self, served: Served, key: str | None = None, *, width: int = 390, height: int = 844,
                kind: str = "own", **options: Any) -> BrowserContext:  # fmt: skip
        """A window's worth of cookies and storage. `options` are playwright's."""
        made = self.browser.new_context(viewport={"width": width, "height": height}, base_url=served.address, **options)
        made.set_default_timeout(10_000)
        self.opened.append(made)
        if key is not None:
            served.sign_in(made, key, kind)
        return made

    def page(self, served: Served, key: str | None = None, **options: Any) -> Page:
        """A page in a context of its own; a script's error or a refusal by the policy becomes a complaint."""
        page = self.context(served, key, **options).new_page()
        page.on("pageerror", lambda why: self.complaints.append(f"script: {why}"))
        page.on(
            "console",
            lambda said: (
                self.complaints.append(f"console: {said.text}") if "Content Security Policy" in said.text else None
            ),
        )
        return page


@pytest.fixture
def windows(browser: Browser) -> Iterator[Windows]:
    """Windows for one test. What a page complained of fails it at the end."""
    made = Windows(browser)
    yield made
    for each in made.opened:
        each.close()
    assert made.complaints == []
