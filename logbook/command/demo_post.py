"""The demo's postbox: a mail server of its own on loopback, to which the real mail route delivers."""

from __future__ import annotations

import asyncio
import email
import email.policy
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from logbook.bootstrap import Program
from logbook.channels.mail_out import MailRoute, MailSettings
from logbook.domain.instants import Instant


class Postbox:
    """A mail server of the demo's own, on loopback, that keeps what it is handed."""

    def __init__(self, port: int) -> None:
        self.port = port
        self.kept: list[Any] = []
        self._route = MailRoute(
            MailSettings(
                host="127.0.0.1",
                port=port,
                security="none",
                from_address="logbook@ferry.example",
                from_name="Machine logbook",
            )
        )

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        """Called by the SMTP server for each message it took."""
        self.kept.append(email.message_from_bytes(envelope.content, policy=email.policy.default))
        return "250 kept"

    def deliver(self, logbook: Program, now: Instant) -> None:
        """Send what waits, by real SMTP."""
        asyncio.run(logbook.delivery([self._route], by="demo").once(now))

    def take(self) -> list[Any]:
        """What came since the last call."""
        came, self.kept = self.kept, []
        return came


@contextmanager
def postbox() -> Iterator[Postbox]:
    """A running postbox. Raises ImportError where the SMTP server's package is not installed."""
    from aiosmtpd.controller import Controller

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    box = Postbox(port)
    controller = Controller(box, hostname="127.0.0.1", port=port)
    controller.start()
    try:
        yield box
    finally:
        controller.stop()
