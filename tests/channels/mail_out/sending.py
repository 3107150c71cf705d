"""Ready-made settings and messages for tests of mail out."""

from __future__ import annotations

import contextlib
import socket
from collections.abc import Iterator
from typing import Any

from aiosmtpd.controller import Controller

from logbook.channels.mail_out import MailRoute, MailSettings
from logbook.domain.instants import parse
from logbook.watch.routes import Outgoing

AT = parse("2026-03-09T09:30:00Z")


def settings(port: int, **more: Any) -> MailSettings:
    given: dict[str, Any] = {
        "host": "localhost", "port": port, "security": "none", "from_address": "logbook@ferries.example",
        "from_name": "Machine logbook", "timeout": 0.5, "final_timeout": 0.5,
    }  # fmt: skip
    return MailSettings(**{**given, **more})


def route(port: int, **more: Any) -> MailRoute:
    return MailRoute(settings(port, **more))


def outgoing(number: int = 1, **more: Any) -> Outgoing:
    given: dict[str, Any] = {
        "message_id": f"<m{number}@log.ferries.example>", "address": "ann@ferries.example", "subject": "B7H: rinse",
        "body": "Not rinsed.\nPier 3, since 05:10.", "queued_at": AT, "language": "en",
    }  # fmt: skip
    return Outgoing(**{**given, **more})


class Keeper:
    """A handler for aiosmtpd that takes everything, unless `refuse` has an answer for an address."""

    def __init__(self, refuse: dict[str, str] | None = None) -> None:
        self.envelopes: list[Any] = []
        self.refuse = refuse or {}

    async def handle_RCPT(self, _server: Any, _session: Any, envelope: Any, address: str, _options: Any) -> str:  # noqa: N802
        if address in self.refuse:
            return self.refuse[address]
        envelope.rcpt_tos.append(address)
        return "250 ok"

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:  # noqa: N802
        self.envelopes.append(envelope)
        return "250 taken"


def free_port() -> int:
    """A port that nobody listened at a moment ago."""
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        return int(asked.getsockname()[1])


@contextlib.contextmanager
def server(keeper: Keeper, port: int = 0, **more: Any) -> Iterator[int]:
    """A whole mail server in a thread of its own; yields its port."""
    controller = Controller(keeper, hostname="127.0.0.1", port=port or free_port(), **more)
    controller.start()
    try:
        yield int(controller.port)
    finally:
        controller.stop()
