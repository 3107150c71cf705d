"""The program as it runs on a server: the clock in its thread; delivery and the ways in, in the event loop; a health
address beside.

Promises that each of them goes on whatever befalls the others, that a step which queued something wakes
delivery, and that stopping finishes the step and the message in hand.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import signal
import threading
from collections.abc import Awaitable, Callable, Sequence
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import structlog

from logbook.domain.instants import Instant
from logbook.intake import Intake
from logbook.store import Store, StoreError
from logbook.watch.clock import PULSE, AlarmClock
from logbook.watch.delivery import Delivery
from logbook.watch.health import health
from logbook.watch.step import Stepped

_log = structlog.get_logger("logbook.service")


class Service:
    """Runs clock, delivery and health address until it is stopped."""

    def __init__(
        self, store: Store, intake: Intake, act: Callable[[Instant], Stepped], delivery: Delivery,
        now: Callable[[], Instant], *, health_at: tuple[str, int] | None = None, pulse: Instant = PULSE,
        ways_in: Sequence[tuple[str, Callable[[asyncio.Event], Awaitable[None]]]] = (),
    ) -> None:  # fmt: skip
        """`ways_in`: (name, what runs until it is stopped); one that ends otherwise is started again."""
        self._store = store
        self._delivery = delivery
        self._now = now
        self._health_at = health_at
        self._ways_in = ways_in
        self._clock = AlarmClock(act, now, pulse=pulse, after=self._stepped)
        intake.woken = self._clock.wake
        self._stop: asyncio.Event | None = None

    def _stepped(self, stepped: Stepped) -> None:
        if stepped.messages:
            self._delivery.wake()

    async def run(self, *, signals: bool = True, ready: Callable[[], None] = lambda: None) -> None:
        """Run until `stop`, or SIGTERM or SIGINT if `signals`."""
        self._stop = asyncio.Event()
        loop = asyncio.get_running_loop()
        if signals:
            for each in (signal.SIGTERM, signal.SIGINT):
                loop.add_signal_handler(each, self._stop.set)
        server = None
        if self._health_at is not None:
            server = _serve_health(self._health_at, self._store, self._now)
        self._clock.start()
        _log.info("running", health=self._health_at)
        ways = [asyncio.create_task(_kept_going(name, run, self._stop)) for name, run in self._ways_in]
        ready()
        try:
            await self._delivery.run(self._stop)
        finally:
            self._stop.set()
            await asyncio.gather(*ways)
            await asyncio.to_thread(self._clock.stop)
            if server is not None:
                await asyncio.to_thread(server.shutdown)
                server.server_close()
            _log.info("stopped")

    def stop(self) -> None:
        """End. May be called from the event loop only."""
        if self._stop is not None:
            self._stop.set()


async def _kept_going(name: str, run: Callable[[asyncio.Event], Awaitable[None]], stop: asyncio.Event) -> None:
    """Run a way in until the stop; one that fails is told to the log and started again, a little later each time."""
    wait = 1.0
    while not stop.is_set():
        began = asyncio.get_running_loop().time()
        try:
            await run(stop)
            if stop.is_set():
                return
            _log.error("a way in has ended; it is started again", way=name)
        except Exception as why:  # noqa: BLE001 - one way in must not take the others with it
            _log.error("a way in has failed; it is started again", way=name, why=f"{type(why).__name__}: {why}")
        wait = 1.0 if asyncio.get_running_loop().time() - began > 60 else min(wait * 2, 60.0)
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(stop.wait(), wait)


def _serve_health(address: tuple[str, int], store: Store, now: Callable[[], Instant]) -> ThreadingHTTPServer:
    """GET /health: 200 while the clock runs, 503 when its last step is old, with the reason as JSON."""

    class Handler(BaseHTTPRequestHandler):
        timeout = 10
        server_version, sys_version = "logbook", ""

        def do_GET(self) -> None:
            if self.path.split("?")[0] != "/health":
                self.send_error(404)
                return
            try:
                found = health(store, now())
                status, answer = (200 if found.well else 503), found.as_json()
            except StoreError as why:
                status, answer = 503, {"well": False, "why": str(why)}
            body = json.dumps(answer).encode()
            self.send_response(status)
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(body)))
            self.send_header("Cache-Control", "no-store")
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, format: str, *args: object) -> None:
            """Asked every few seconds by a machine: not worth a line."""

    server = ThreadingHTTPServer(address, Handler)
    server.daemon_threads = True
    threading.Thread(target=server.serve_forever, name="logbook-health", daemon=True).start()
    return server
