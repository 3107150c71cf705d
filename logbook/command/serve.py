"""`logbook serve`: the clock, delivery and the health address, until it is stopped."""

from __future__ import annotations

import asyncio
import logging
import os
import socket
from importlib.util import find_spec
from typing import Annotated

import structlog
import typer

from logbook.bootstrap import Program, Relay, routes_of, ways_in
from logbook.command.options import Db, opened
from logbook.command.refusals import Refusal
from logbook.config import Config
from logbook.config import read as read_config
from logbook.watch.service import Service


def add(app: typer.Typer) -> None:
    """Hang `serve` on the app."""

    @app.command("serve")
    def serve(
        db: Db = None,
        health: Annotated[
            str, typer.Option(metavar="HOST:PORT", help="Where the clock's health is asked for; empty: nowhere.")
        ] = "127.0.0.1:8740",
    ) -> None:
        """Run the clock and send what waits, until stopped by Ctrl-C or SIGTERM.

        Settings come from logbook.toml and LOGBOOK_* variables; `logbook doctor` says what is missing.
        """
        config = read_config(None, os.environ)
        level = getattr(logging, config.log_level.upper())
        structlog.configure(
            wrapper_class=structlog.make_filtering_bound_logger(level),
            processors=[
                structlog.contextvars.merge_contextvars,
                structlog.processors.add_log_level,
                structlog.processors.TimeStamper(fmt="iso", utc=True),
                # Plain: a traceback that shows the values of variables would show addresses and words.
                structlog.dev.ConsoleRenderer(colors=False, exception_formatter=structlog.dev.plain_traceback),
            ],
        )
        logging.basicConfig(level=logging.WARNING)
        met_again = Relay()
        routes = routes_of(config, met_again=met_again)
        if not routes:
            structlog.get_logger("logbook.serve").warning(
                "no way of sending is set: alerts are raised, but reach nobody"
            )
        if config.web is not None and find_spec("fastapi") is None:
            raise Refusal(
                "The settings have [web], but the pages need machine-logbook[web], which is not installed. Install it, or "
                "take [web] out. Nothing was started."
            )
        with opened(db, routes=frozenset(route.name for route in routes)) as logbook:
            _erase_again(logbook)
            delivery = logbook.delivery(routes, by=f"serve@{socket.gethostname()}", alone=True)
            structlog.get_logger("logbook.serve").info(_of_pages(config))
            service = Service(
                logbook.store, logbook.intake, logbook.step, delivery, logbook.now, health_at=_address(health),
                ways_in=ways_in(logbook, config, delivery, met_again),
            )  # fmt: skip
            try:
                asyncio.run(service.run())
            except OSError as why:
                raise Refusal(
                    f"The health address {health} cannot be opened: {why.strerror or why}. Nothing was started."
                ) from None


def _erase_again(logbook: Program) -> None:
    """A backup from before an erasure was put back: the list beside the database says whom it must lose again."""
    from logbook.intake import erasing
    from logbook.store import erased_list

    log = structlog.get_logger("logbook.serve")
    try:
        done = erasing.again(logbook.intake, erased_list.read(erased_list.file_of(logbook.store)))
        erasing.keep_list(logbook.intake)
    except LookupError:
        return  # no fleet yet
    except (OSError, ValueError) as why:
        raise Refusal(f"The list of erasures cannot be used: {why}. Mend or remove it. Nothing was started.") from None
    if done:
        log.warning("a backup had brought people back who were erased; they are erased again", people=len(done))


def _of_pages(config: Config) -> str:
    """Where to look, or how to have something to look at."""
    if config.web is None:
        return "no pages are served: a table [web] in logbook.toml has them"
    return f"pages at {config.base_address or f'http://{config.web.listen}'}: `logbook link KEY` lets somebody in"


def _address(text: str) -> tuple[str, int] | None:
    if not text:
        return None
    host, _colon, port = text.rpartition(":")
    if not host or not port.isdigit() or not 0 < int(port) < 65_536:
        raise typer.BadParameter("write HOST:PORT, such as 127.0.0.1:8740", param_hint="--health")
    return host.strip("[]"), int(port)
