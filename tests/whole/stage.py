"""A whole logbook on a temporary database, its clock in the test's hand: no waiting, and chance from a seed.

The disk is not waited for (`synchronous` is off): what a power cut would do is the store's tests' business.
"""

from __future__ import annotations

import itertools
import random
import shutil
import uuid
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import msgspec
import pytest
from sqlalchemy import Connection

from logbook.bootstrap import Program, program
from logbook.domain.fleetfile import FleetFile
from logbook.domain.instants import Instant, parse
from logbook.domain.register import Register
from logbook.intake import By, Draft, Receipt
from logbook.intake.fleet import apply
from logbook.store import alerts, log, migrate, outbox, tables
from logbook.store import notices as shelf
from logbook.watch.step import Stepped

START = parse("2026-03-02T12:00:00Z")
"""A Monday, 08:00 at the terminals in Halifax (UTC-4 until 8 March 2026)."""


_STAGES = itertools.count()


@cache
def _template() -> tuple[TemporaryDirectory[str], Path]:
    folder = TemporaryDirectory(prefix="logbook-template-")
    path = Path(folder.name) / "log.sqlite"
    migrate.upgrade(f"sqlite:///{path}")
    return folder, path


def new_database(folder: Path) -> str:
    """A new, empty, migrated SQLite database; answers with its URL."""
    path = folder / f"{uuid.uuid4()}.sqlite"
    shutil.copyfile(_template()[1], path)
    return f"sqlite:///{path}"


FLEET: dict[str, Any] = {
    "fleet": {"name": "Ferry", "origin": "ferry.example/log", "language": "en"},
    "policy": {},
    "site": [
        {"code": "HX", "name": "North Slip", "zone": "America/Halifax"},
        {"code": "SJ", "name": "Harbour Hall", "zone": "America/St_Johns"},
    ],
    "machine": [
        {"code": "B7H", "site": "HX", "battery": "flooded", "commissioned_at": "2026-03-01T12:00:00Z"},
        {"code": "B8F", "site": "SJ", "battery": "flooded", "commissioned_at": "2026-03-01T12:00:00Z"},
    ],
    "person": [
        {"key": "ana", "name": "Ana Silva", "role": "cleaner", "phone": "+19025550111", "sites": ["HX"]},
        {"key": "lee", "name": "Lee Shaw", "role": "supervisor", "email": "lee@ferry.example", "sites": ["HX"]},
        {"key": "kim", "name": "Kim Noor", "role": "supervisor", "email": "kim@ferry.example", "phone": "+17095550112",
         "sites": ["SJ"]},
        {"key": "own", "name": "Jo Marsh", "role": "owner", "email": "jo@ferry.example"},
    ],
}  # fmt: skip


def fleet(**changes: Any) -> dict[str, Any]:
    """The fleet above with some tables replaced."""
    return {**FLEET, **changes}


class _Said(msgspec.Struct):
    data: dict[str, Any]


_said = msgspec.json.Decoder(_Said).decode


@dataclass
class Stage:
    """A program with its clock at `at`. Everything is named by plates and keys."""

    program: Program
    at: list[Instant]
    ids: Callable[[], str]
    steps: list[Stepped] = field(default_factory=list)

    @property
    def now(self) -> Instant:
        return self.at[0]

    @now.setter
    def now(self, instant: Instant) -> None:
        self.at[0] = instant

    @property
    def register(self) -> Register:
        with self.program.store.read() as connection:
            return self.program.registry.current(connection)

    def machine(self, code: str) -> str:
        return self.register.by_code[code].uuid

    def person(self, key: str) -> str:
        person = self.register.person_by_key(key)
        assert person is not None
        return person.uuid

    def by(self, key: str, channel: str = "form") -> By:
        person = self.register.person_by_key(key)
        assert person is not None
        return By(person.uuid, person.role, channel)

    def apply(self, file: Mapping[str, Any]) -> None:
        apply(self.program.intake, FleetFile.model_validate(dict(file)))

    # -- acting -------------------------------------------------------------------------------------------------

    def draft(self, code: str, kind: str, at: str | Instant | None = None, id: str | None = None, **data: Any) -> Draft:
        moment = parse(at) if isinstance(at, str) else at
        return Draft(id or self.ids(), self.machine(code), kind, data, moment)

    def tell(self, code: str, kind: str, at: str | Instant | None = None, *, who: str = "ana", **data: Any) -> Receipt:
        """One entry, recorded now by somebody; `at` is when it happened."""
        return self.program.intake.record([self.draft(code, kind, at, **data)], self.by(who))

    def step(self, now: str | Instant | None = None) -> Stepped:
        """The clock, once, at an instant."""
        if now is not None:
            self.now = parse(now) if isinstance(now, str) else now
        done = self.program.step(self.now)
        self.steps.append(done)
        return done

    def until(self, end: str | Instant, *, most: int = 10_000) -> list[Stepped]:
        """A clock that never sleeps: a step at every instant at which it asked for one, and at the end."""
        last = parse(end) if isinstance(end, str) else end
        made = [self.step()]
        while (following := made[-1].next_at) is not None and following < last:
            assert following > self.now or len(made) < most, "the clock would never come to rest"
            made.append(self.step(max(following, self.now)))
            assert len(made) < most
        self.now = last
        made.append(self.step())
        return made

    # -- looking ------------------------------------------------------------------------------------------------

    def read(self, look: Callable[[Connection], Any]) -> Any:
        with self.program.store.read() as connection:
            return look(connection)

    def entries(self, code: str, *kinds: str) -> list[tuple[str, Instant, dict[str, Any]]]:
        """(kind, recorded_at, data) of a machine's log, in order; of some kinds if any are named."""
        rows = self.read(lambda c: list(log.by_seq(c, self.machine(code))))
        return [(r.kind, r.recorded_at, _said(r.bytes).data) for r in rows if not kinds or r.kind in kinds]

    def messages(self, kind: str | None = None, to: str | None = None) -> list[outbox.Message]:
        """The outbox, oldest first."""
        found = self.read(lambda c: outbox.latest(c, 10_000))
        found.sort(key=lambda message: (message.queued_at, message.id))
        person = self.person(to) if to is not None else None
        return [m for m in found if kind in (None, m.kind) and person in (None, m.person)]

    def notices(self, key: str) -> list[shelf.Notice]:
        """What a person was put down for, told or not."""
        person = self.person(key)
        rows = self.read(lambda c: c.execute(tables.notice.select().order_by(tables.notice.c.at)).all())
        return [shelf.Notice._make(row) for row in rows if row.person == person]

    def alert(self, code: str, duty: str) -> alerts.Alert:
        """The latest alert of a duty."""
        rows: list[alerts.Alert] = self.read(lambda c: alerts.of_machine(c, self.machine(code)))
        return [row for row in rows if row.duty == duty][-1]

    def close(self) -> None:
        self.program.close()


def quick(made: Program) -> None:
    """Let SQLite not wait for the disk."""
    if made.store.is_sqlite:
        raw: Any = made.store._writer._connection.connection.dbapi_connection  # type: ignore[attr-defined]
        raw.execute("PRAGMA synchronous = OFF")


def stage(url: str, at: Instant = START, seed: int | str = 1, routes: Iterable[str] = ("mail",)) -> Stage:
    """Open a program on a database, with its clock at an instant."""
    # Two stages on one database must never draw the same id.
    rng = random.Random(f"stage {seed} {next(_STAGES)}")
    clock = [at]

    def new_id() -> str:
        return str(uuid.UUID(int=rng.getrandbits(128), version=4))

    made = program(url, now=lambda: clock[0], draw=rng.randbytes, ids=new_id, routes=frozenset(routes))
    quick(made)
    return Stage(made, clock, new_id)


@pytest.fixture
def make(tmp_path: Path) -> Iterator[Callable[..., Stage]]:
    """`make(policy={...}, site=[...])`: a stage with the usual fleet, some of its tables replaced.

    Folders that want it name it in their conftest.
    """
    opened: list[Stage] = []

    def made(*, url: str | None = None, apply: bool = True, at: Instant = START, **changes: Any) -> Stage:
        one = stage(url or new_database(tmp_path), at, routes=changes.pop("routes", ("mail",)))
        opened.append(one)
        if apply:
            one.apply(fleet(**changes))
        return one

    yield made
    for one in opened:
        one.close()
