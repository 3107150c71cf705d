"""The pages as a test asks them: a whole logbook with its clock in the test's hand, and a browser without a screen."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import pytest
from starlette.responses import Response
from starlette.testclient import TestClient

from logbook.bootstrap import house
from logbook.config import Config
from logbook.store import sessions
from logbook.web.app import make_app
from logbook.web.house import House
from logbook.web.settings import WebSettings
from logbook.web.who.visitor import begin, cookie_name, csrf_of
from tests.whole.stage import Stage, make

__all__ = ["make"]

ADDRESS = "https://log.ferry.example"
BROWSER = {"sec-fetch-site": "same-origin"}


@dataclass
class Pages:
    """The pages of one stage. `client(key)`: a browser in which that person is signed in; None: nobody."""

    stage: Stage
    house: House
    app: Any
    opened: list[TestClient] = field(default_factory=list)

    def client(self, key: str | None = None, kind: str = "own") -> TestClient:
        # Nothing is hidden by a failure: what the app raises in spite of its handlers is raised in the test.
        browser = TestClient(self.app, base_url=ADDRESS, headers=BROWSER, follow_redirects=False)
        self.opened.append(browser)
        if key is not None:
            self.sign_in(browser, key, kind)
        return browser

    def sign_in(self, browser: TestClient, key: str, kind: str = "own") -> str:
        """Sign somebody in as the pages do; answers with the session's id."""
        response = Response()
        person = self.stage.person(key)
        row = self.house.store.write(lambda c: begin(self.house, c, response, person, kind, "a test's"))
        cookie = response.headers["set-cookie"].partition(";")[0].partition("=")
        browser.cookies.set(cookie[0], cookie[2])
        return row.id

    def csrf(self, browser: TestClient) -> str:
        """What the forms of this browser's session carry."""
        from logbook.web.house import digest

        token = browser.cookies[cookie_name(self.house)]
        session = self.stage.read(lambda c: sessions.of_hash(c, digest(token)))
        return csrf_of(self.house, session)

    def post(self, browser: TestClient, path: str, **fields: Any) -> Any:
        """Send a form as the page would."""
        return browser.post(path, data={"csrf": self.csrf(browser), **fields})


@pytest.fixture
def pages(make: Callable[..., Stage]) -> Iterator[Callable[..., Pages]]:
    """`pages(policy={...})`: a stage as `make` gives it, and its pages, reached by https."""
    made: list[Pages] = []

    def build(*, line: str | None = "+19025550100", **changes: Any) -> Pages:
        one = make(**changes)
        config = Config(base_address=ADDRESS, web=WebSettings(line=line))
        stands = house(one.program, config)
        made.append(Pages(one, stands, make_app(stands)))
        return made[-1]

    yield build
    for each in made:
        for browser in each.opened:
            browser.close()
