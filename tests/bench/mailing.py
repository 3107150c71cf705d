"""Delivery: one connection for a batch, against a connection a message; the same route, server and messages.

The server is a process of its own that throws everything away. In the open it shows what a connection costs at
least; with TLS, what it costs where passwords are sent.
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from logbook.channels.mail_out import MailRoute, MailSettings
from logbook.domain.instants import parse
from logbook.watch.routes import Outgoing, Sent
from tests.bench.harness import Row, Side, Size, duel, timed
from tests.channels.mail_out.certificates import authority
from tests.channels.mail_out.sending import free_port

_GOAL = 3.0


def run(folder: Path, size: Size) -> list[Row]:
    """One row in the open, one with TLS."""
    ca = authority(folder)
    pem = ca.server_file()
    rows = []
    for security in ("none", "implicit"):
        tls = ["--smtpscert", str(pem), "--smtpskey", str(pem)] if security == "implicit" else []
        with _server(tls) as port:
            settings = MailSettings(
                host="localhost",
                port=port,
                security=security,
                from_address="logbook@ferries.example",
                ca_file=ca.ca_file,
            )
            number = size.of(150, 3)
            ratios, ours, peer = duel(
                _side(settings, number, each=False), _side(settings, number, each=True), size.rounds
            )
            what = f"delivery of {number} mails, one reused connection, {'TLS' if tls else 'in the open'}"
            rows.append(Row(what, ours, peer, f"{number} taken by both", ratios, _GOAL))
    return rows


def _side(settings: MailSettings, number: int, *, each: bool) -> Side:
    async def send() -> None:
        route = MailRoute(settings)
        for n in range(number):
            outgoing = Outgoing(
                f"<{n}@log.ferries.example>", "ann@ferries.example", "B7H: not rinsed",
                "Not rinsed since 05:10.\n" * 20, parse("2026-03-09T09:30:00Z"), "en",
            )  # fmt: skip
            outcome = await route.send(outgoing)
            if not isinstance(outcome, Sent):
                raise RuntimeError(f"the server did not take a message: {outcome}")
            if each:
                await route.rest()
        await route.rest()

    return timed(lambda: asyncio.run(send()))


@contextlib.contextmanager
def _server(tls: list[str]) -> Iterator[int]:
    port = free_port()
    command = [sys.executable, "-m", "aiosmtpd", "-n", "-l", f"localhost:{port}", *tls, "-c", "aiosmtpd.handlers.Sink"]
    process = subprocess.Popen(command, stderr=subprocess.DEVNULL)
    try:
        end = time.monotonic() + 20
        while True:
            try:
                socket.create_connection(("localhost", port), 1).close()
                break
            except OSError:
                if time.monotonic() > end:
                    raise
                time.sleep(0.05)
        yield port
    finally:
        process.terminate()
        process.wait()
