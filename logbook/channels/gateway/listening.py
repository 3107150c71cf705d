"""Listening: an app at an address, inside a loop that others run in too.

Promises to touch no signal handler, to raise and not to exit where the address cannot be had, and on `stop` to finish
what has begun. It takes plain HTTP: encryption is the reverse proxy's, and so is the world outside.
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import Callable, Iterator
from typing import Any

import uvicorn

CONNECTIONS_MOST = 512
FINISH_SECONDS = 15
"""How long what has begun may take once `stop` is set."""


class ListenError(Exception):
    """The address cannot be listened at. One sentence."""


class _Server(uvicorn.Server):
    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.up = asyncio.Event()
        self.served = False

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        with contextlib.suppress(SystemExit):  # newer releases would end the whole program here
            await super().startup(sockets)
        self.should_exit |= not self.started
        self.served = self.started
        self.up.set()

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Signals are the program's: several things run in this loop, and all are to stop in order."""
        yield


async def listen(
    app: Any, host: str, port: int, stop: asyncio.Event, *, ready: Callable[[int], None] | None = None
) -> None:
    """Serve an ASGI app until `stop`. `port` 0: any that is free; `ready` is told which. Raises ListenError."""
    config = uvicorn.Config(
        app, log_config=None, access_log=False, server_header=False, proxy_headers=False, lifespan="on", ws="none",
        http="h11", timeout_keep_alive=20, timeout_graceful_shutdown=FINISH_SECONDS, limit_concurrency=CONNECTIONS_MOST,
    )  # fmt: skip
    with _bound(host, port) as place:
        server = _Server(config)
        serving = asyncio.create_task(server.serve(sockets=[place]))
        starting = asyncio.create_task(server.up.wait())
        stopping = asyncio.create_task(stop.wait())
        try:
            await asyncio.wait({serving, starting}, return_when=asyncio.FIRST_COMPLETED)
            if ready is not None and server.started:
                ready(int(place.getsockname()[1]))
            await asyncio.wait({serving, stopping}, return_when=asyncio.FIRST_COMPLETED)
        finally:
            server.should_exit = True
            for farewell in tuple(getattr(getattr(app, "state", None), "farewells", ())):
                farewell()  # what would go on for ever by itself is told to end
            starting.cancel()
            stopping.cancel()
            await serving
        if not server.up.is_set() or not server.served:
            raise ListenError("What was to be served there could not begin; the log says why.")


@contextlib.contextmanager
def _bound(host: str, port: int) -> Iterator[socket.socket]:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as place:
        place.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            place.bind((host, port))
        except OSError as why:
            raise ListenError(
                f"{host} port {port} cannot be listened at ({why.strerror or why}); see what else listens there, or "
                "set another."
            ) from why
        yield place
