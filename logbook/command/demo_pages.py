"""The demo's pages: the real ones, on loopback, over the demo's own night; one address a role.

Promises to listen to this machine alone, and that the clock of the pages is the demo's.
"""

from __future__ import annotations

import asyncio
import http.client
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from html import unescape
from typing import TYPE_CHECKING, Any, NamedTuple

from logbook.bootstrap import house
from logbook.config import Config
from logbook.domain.instants import DAY

if TYPE_CHECKING:
    from logbook.bootstrap import Program
    from logbook.web.house import House

LINE = "+19025550100"


class Role(NamedTuple):
    """Whose page: the word before `.localhost` (a browser keeps each signed in apart), the person's key, their page."""

    host: str
    who: str
    page: str
    shows: str


ROLES = (
    Role("phone", "ana", "/en/m/B7H", "Ana, a cleaner, on her phone: her machines; open B7H"),
    Role("tonight", "jo", "/en/tonight", "Jo, who supervises: Tonight, what is late and who was told"),
    Role("owner", "olu", "/en/history/C4J", "Olu, who owns the fleet: Tonight, each machine's History, the Register"),
    Role("keeper", "kit", "/en/keeper", "Kit, who keeps the terminal: keys, segments in the drawer, deliveries"),
)


class Pages:
    """The pages, being served."""

    def __init__(self, house: House, port: int) -> None:
        self._house = house
        self.port = port

    def link(self, role: Role) -> str:
        """An address that lets its reader in as somebody of this role, once."""
        from logbook.store import sessions
        from logbook.store.sessions import Link
        from logbook.web.house import digest

        token, now = self._house.token(), self._house.now()
        row = Link(digest(token), "enter", self._person(role.who), None, None, now, now + 7 * DAY)
        self._house.store.write(lambda connection: sessions.offer(connection, row))
        return f"http://{role.host}.localhost:{self.port}/en/enter/{token}"

    def headline(self, role: Role) -> tuple[int, str]:
        """What the page of a role answers, and its first heading: asked over the wire, as a browser would."""
        status, page = self.fetch(role, role.page)
        found = re.search(r"<h1[^>]*>(.*?)</h1>", page, re.DOTALL)
        words = unescape(re.sub(r"<[^>]+>", " ", found.group(1))) if found else ""
        return status, " ".join(words.split())

    def fetch(self, role: Role, path: str) -> tuple[int, str]:
        """A page, signed in as somebody of this role."""
        from starlette.responses import Response

        from logbook.web.who.visitor import begin

        given = Response()
        person = self._person(role.who)
        self._house.store.write(lambda c: begin(self._house, c, given, person, "link", "the demonstration"))
        cookie = given.headers["set-cookie"].partition(";")[0]
        asking = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        try:
            asking.request("GET", path, headers={"Cookie": cookie, "Host": f"{role.host}.localhost:{self.port}"})
            answer = asking.getresponse()
            return answer.status, answer.read().decode("utf-8", "replace")
        finally:
            asking.close()

    def _person(self, key: str) -> str:
        with self._house.store.read() as connection:
            person = self._house.register(connection).person_by_key(key)
        if person is None:
            raise LookupError(f"nobody in the demo is called {key}")
        return person.uuid


@contextmanager
def served(logbook: Program, port: int = 0) -> Iterator[Pages]:
    """The pages on loopback, while the block runs. Raises ImportError where the extra `web` is not installed."""
    from logbook.channels.gateway.listening import listen
    from logbook.web.app import make_app
    from logbook.web.settings import WebSettings

    config = Config(web=WebSettings(line=LINE))
    stands = house(logbook, config)
    app = make_app(stands)
    ready: threading.Event = threading.Event()
    known: dict[str, Any] = {}

    async def run() -> None:
        known["loop"], known["stop"] = asyncio.get_running_loop(), asyncio.Event()

        def up(at: int) -> None:
            known["port"] = at
            ready.set()

        try:
            await listen(app, "127.0.0.1", port, known["stop"], ready=up)
        except Exception as why:  # noqa: BLE001 - told to whoever waits for the pages
            known["why"] = why
            ready.set()

    thread = threading.Thread(target=lambda: asyncio.run(run()), name="pages", daemon=True)
    thread.start()
    try:
        if not ready.wait(20) or "why" in known:
            raise known.get("why") or RuntimeError("the demo's pages did not come up")
        yield Pages(stands, known["port"])
    finally:
        if "loop" in known and thread.is_alive():
            known["loop"].call_soon_threadsafe(known["stop"].set)
        thread.join(20)
