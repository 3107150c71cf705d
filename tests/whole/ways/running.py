"""The program as `logbook serve` runs it: a settings file, the ways that it names, the service, the real clock.

The numbers of policy are small, so that an alert falls due a second after a put-away. What policy will not have
smaller (a minute, to go by another way) is shortened by `age`: all that waits is made so much older.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import update

from logbook.bootstrap import Program, Relay, program, real_now, routes_of, ways_in
from logbook.config import read
from logbook.domain.fleetfile import FleetFile
from logbook.domain.instants import SECOND
from logbook.intake.fleet import apply
from logbook.store import confirmations, heard, log, outbox, tables
from logbook.watch.delivery import Delivery
from logbook.watch.service import Service
from tests.whole.stage import new_database

ANA, LEE = "+19025550111", "+19025550112"
ANA_MAIL, LEE_MAIL, JO_MAIL = "ana@ferry.example", "lee@ferry.example", "jo@ferry.example"
_QUIET = ("charge", "watering", "filter", "squeegee", "segments", "night")
FLEET: dict[str, Any] = {
    "fleet": {"name": "Ferry", "origin": "ferry.example/log", "language": "en"},
    "policy": {
        **dict.fromkeys(_QUIET, False), "rinse.grace": "PT1S", "closing": "PT2S", "settle": "PT1S", "remind": False,
        "gather": "PT0S", "quiet": False, "cap": 1000, "confirm_within": "PT1M", "escalation": ["PT0S supervisor"],
    },
    "site": [{"code": "HX", "name": "North Slip", "zone": "America/Halifax"}],
    "machine": [
        {"code": code, "site": "HX", "battery": "flooded", "commissioned_at": "2026-11-01T12:00:00Z"}
        for code in ("B7H", "C4J", "C5H")
    ],
    "person": [
        {"key": "ana", "name": "Ana Silva", "role": "cleaner", "phone": ANA, "email": ANA_MAIL, "sites": ["HX"]},
        {"key": "lee", "name": "Lee Shaw", "role": "supervisor", "phone": LEE, "email": LEE_MAIL, "sites": ["HX"]},
        {"key": "jo", "name": "Jo Marsh", "role": "owner", "email": JO_MAIL},
    ],
}  # fmt: skip


def founded(folder: Path, settings: str, **changes: Any) -> Path:
    """A database with the fleet in it, and a settings file for it; answers with the file."""
    url = new_database(folder)
    made = program(url)
    try:
        apply(made.intake, FleetFile.model_validate({**FLEET, **changes}))
    finally:
        made.close()
    file = folder / "logbook.toml"
    file.write_text(f'db = "{url}"\n{settings}', encoding="utf-8")
    return file


def mail_out(port: int) -> str:
    return f"""
[mail]
host = "localhost"
port = {port}
security = "none"
from_address = "logbook@ferry.example"
"""


def wired(file: Path) -> tuple[Program, Delivery, Service]:
    """What `logbook serve` puts together from a settings file, in its order."""
    config = read(file)
    met_again = Relay()
    routes = routes_of(config, met_again=met_again)
    made = program(config.db, routes=frozenset(route.name for route in routes))
    delivery = made.delivery(routes, by="serve@here", alone=True)
    ways = ways_in(made, config, delivery, met_again)
    return made, delivery, Service(made.store, made.intake, made.step, delivery, made.now, ways_in=ways)


@dataclass
class Running:
    """A program that runs, and what can be seen of it from outside."""

    program: Program
    delivery: Delivery
    loop: list[asyncio.AbstractEventLoop] = field(default_factory=list)

    def messages(self, *kinds: str) -> list[outbox.Message]:
        """The outbox, oldest first."""
        with self.program.store.read() as connection:
            found = [each for each in outbox.latest(connection, 1_000) if not kinds or each.kind in kinds]
        return sorted(found, key=lambda each: (each.queued_at, each.id))

    def states(self, *kinds: str) -> list[tuple[str, str]]:
        return sorted((each.route, each.state) for each in self.messages(*kinds))

    def waiting(self) -> list[outbox.Message]:
        """What is still to be sent, by which way ever."""
        return [each for each in self.messages() if each.state not in ("sent", "failed", "expired")]

    def entries(self, code: str = "B7H") -> list[str]:
        with self.program.store.read() as connection:
            machine = self.program.registry.current(connection).by_code[code].uuid
            return [row.kind for row in log.by_seq(connection, machine)]

    def heard(self) -> list[heard.Heard]:
        with self.program.store.read() as connection:
            return list(heard.latest(connection, None, 99))

    def confirmation(self, message: str) -> confirmations.Confirmation | None:
        with self.program.store.read() as connection:
            return confirmations.of(connection, message)

    def age(self, seconds: float) -> None:
        """Let everything that waits, and every sign, be so many seconds older."""
        by = int(seconds * SECOND)
        m, c, s = tables.message.c, tables.confirmation.c, tables.clock.c

        def job(connection: Any) -> None:
            waiting = m.state == "waiting"
            older = {each.name: each - by for each in (m.queued_at, m.ready_at, m.next_at, m.not_after)}
            connection.execute(update(tables.message).where(waiting).values(older))
            connection.execute(update(tables.confirmation).values(confirm_by=c.confirm_by - by))
            connection.execute(update(tables.clock).values(at=s.at - by))

        self.program.store.write(job)
        if self.delivery._round_at is not None:
            self.delivery._round_at -= by


@contextlib.contextmanager
def running(file: Path) -> Iterator[Running]:
    """The service in a thread, until the block ends; then it must come to rest by itself, and have failed at nothing."""
    made, delivery, service = wired(file)
    one, up, failed = Running(made, delivery), threading.Event(), []

    async def main() -> None:
        one.loop.append(asyncio.get_running_loop())
        await service.run(signals=False, ready=up.set)

    def work() -> None:
        try:
            asyncio.run(main())
        except BaseException as why:  # noqa: BLE001 - told when the block ends
            failed.append(why)
        finally:
            up.set()

    thread = threading.Thread(target=work)
    thread.start()
    try:
        assert up.wait(20)
        yield one
    finally:
        one.loop[0].call_soon_threadsafe(service.stop)
        thread.join(40)
        alive = thread.is_alive()
        made.close()
    assert not alive, "the service did not stop"
    assert not failed, failed
    assert (service._clock.failures, delivery.failures) == (0, 0)


def until(true: Callable[[], Any], what: str, seconds: float = 20.0) -> Any:
    """What is found, as soon as there is something. Fails if it does not come."""
    deadline = time.monotonic() + seconds
    while not (found := true()):
        assert time.monotonic() < deadline, f"waited {seconds} s in vain: {what}"
        time.sleep(0.02)
    return found


def stays(true: Callable[[], Any], what: str, seconds: float = 1.3) -> None:
    """It is so, and is so for a while: long enough for two looks of delivery."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        assert true(), what
        time.sleep(0.05)


__all__ = [
    "ANA", "ANA_MAIL", "FLEET", "JO_MAIL", "LEE", "LEE_MAIL", "Running", "founded", "mail_out", "real_now", "running",
    "stays", "until", "wired",
]  # fmt: skip
