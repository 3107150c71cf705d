"""Wiring: from settings to a running program. The only real clock and the only source of chance stand here."""

from __future__ import annotations

import asyncio
import os
import time
import uuid
from collections.abc import Awaitable, Callable, Iterable
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from logbook.channels.desk import Desk
from logbook.channels.mail_out import MailRoute
from logbook.channels.modem import Incoming, Receipts
from logbook.channels.modem import TextRoute as ModemRoute
from logbook.config import Config
from logbook.domain.instants import Instant
from logbook.intake import Intake
from logbook.store import Store
from logbook.store.registry import Registry
from logbook.watch.delivery import Delivery
from logbook.watch.gather import Post
from logbook.watch.reach import People
from logbook.watch.routes import Route
from logbook.watch.step import Stepped, step

if TYPE_CHECKING:
    from logbook.web.house import House

ROUTES = frozenset({"mail"})
"""The ways that are sent by unless an installation says otherwise."""

_WAYS_BACK = {"gateway": "text", "modem": "text", "mail": "mail"}
"""Way in -> the way by which its texts are answered."""


def real_now() -> Instant:
    """The real clock, to the millisecond: the only place where it is read."""
    return time.time_ns() // 1_000_000 * 1_000


def new_id() -> str:
    """A random UUID (RFC 9562, version 4)."""
    return str(uuid.uuid4())


@dataclass(slots=True)
class Program:
    """The parts of a running logbook, wired to one database."""

    store: Store
    registry: Registry
    intake: Intake
    post: Post
    desk: Desk
    now: Callable[[], Instant]
    draw: Callable[[int], bytes] = os.urandom

    def step(self, now: Instant | None = None) -> Stepped:
        """The clock, once."""
        return step(self.post, self.now() if now is None else now)

    def delivery(self, routes: Iterable[Route], *, by: str, alone: bool = False) -> Delivery:
        """A worker that sends what waits, by these routes. `by` names it; `alone`: nobody else has that name."""
        people = People(self.intake, frozenset(route.name for route in routes))
        return Delivery(self.store, routes, people, by=by, now=self.now, language=people.language, alone=alone)

    def close(self) -> None:
        """Finish what was queued and let go of the database."""
        self.store.close()


def program(
    url: str, *, now: Callable[[], Instant] = real_now, draw: Callable[[int], bytes] = os.urandom,
    ids: Callable[[], str] = new_id, routes: frozenset[str] = ROUTES,
) -> Program:  # fmt: skip
    """Open a database that `logbook init` has made. Raises StoreError with a sentence if it cannot be."""
    store = Store(url)
    registry = Registry()
    intake = Intake(store, registry, now, draw, ids)
    back = {way_in: way for way_in, way in _WAYS_BACK.items() if way in routes}
    return Program(store, registry, intake, Post(intake, routes), Desk(intake, back), now, draw)


def house(program: Program, config: Config) -> House:
    """What the pages stand on. Needs the extra `web`."""
    from logbook.web.house import House

    web = config.web
    return House(
        program.intake, program.desk, program.draw, config.base_address, None if web is None else web.line,
        program.post.routes, behind_proxy=web is not None and web.proxy,
    )  # fmt: skip


class Relay:
    """Passes a word on to whoever listens by then: a route is made before there is anybody to hear its receipts."""

    def __init__(self) -> None:
        self.to: Callable[[str], None] | None = None

    def __call__(self, reference: str) -> None:
        if self.to is not None:
            self.to(reference)


def routes_of(
    config: Config, now: Callable[[], Instant] = real_now, met_again: Callable[[str], None] | None = None
) -> list[Route]:
    """The ways by which this installation can send. `met_again`: hears of a text that a modem had from us before."""
    routes: list[Route] = []
    if config.mail is not None:
        routes.append(MailRoute(config.mail))
    if config.gateway is not None and config.gateway.out is not None:
        from logbook.channels.gateway.outgoing import TextRoute  # needs the extra `web`

        routes.append(TextRoute(config.gateway.out, now=now))
    elif config.modem is not None:
        routes.append(ModemRoute(config.modem, met_again))
    return routes


Way = tuple[str, Callable[[asyncio.Event], Awaitable[None]]]
"""A way in: its name, and what runs until it is stopped."""


def ways_in(program: Program, config: Config, delivery: Delivery, met_again: Relay | None = None) -> list[Way]:
    """The ways by which texts, and word of what became of ours, come into this installation."""
    found: list[Way] = []
    take, aside, now = program.desk.take, program.desk.keep_aside, program.now
    receipt = partial(delivery.receipt, "text")
    if config.gateway is not None and config.gateway.inward is not None:
        from logbook.channels.gateway.incoming import make_app  # needs the extra `web`
        from logbook.channels.gateway.listening import listen

        app = make_app(config.gateway, take, receipt, now=now)
        found.append(("gateway", partial(listen, app, config.gateway.host, config.gateway.port)))
    if config.modem is not None:
        found.append(("modem", Incoming(config.modem, take, now, aside).run))
        receipts = Receipts(config.modem, receipt, now)
        if met_again is not None:
            met_again.to = receipts.say_again
        found.append(("modem receipts", receipts.run))
    if config.mail_in is not None:
        from logbook.channels.mail_in.mailbox import Mailbox  # needs the extra `mail-in`

        found.append(("mailbox", Mailbox(config.mail_in, take=take, keep_aside=aside, now=now).run))
    if config.web is not None:
        from logbook.channels.gateway.listening import listen
        from logbook.web.app import make_app as make_pages  # needs the extra `web`

        pages = make_pages(house(program, config))
        found.append(("pages", partial(listen, pages, config.web.host, config.web.port)))
    return found
