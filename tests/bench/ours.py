"""Our side: a database as `logbook init` and `logbook fleet apply` make it, filled without waiting for a clock."""

from __future__ import annotations

import itertools
import uuid
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import Connection

from logbook.domain import codes
from logbook.domain.book import MachineBook
from logbook.domain.fleetfile import FleetFile
from logbook.domain.instants import Instant, text
from logbook.evidence.canonical import leaf_hash
from logbook.evidence.form import NO_FORERUNNER, form
from logbook.intake import Intake
from logbook.intake.fleet import apply
from logbook.store import Store, log, migrate
from logbook.store.log import NewEntry
from logbook.store.registry import Registry
from tests.bench.tellings import BEGAN, FLEET, SITE, Told

ORIGIN: str = FLEET["fleet"]["origin"]


@dataclass
class Ours:
    """A founded fleet in a new SQLite file. `now` is what its clock says."""

    folder: Path
    now: Instant = BEGAN
    store: Store = field(init=False)
    intake: Intake = field(init=False)

    def __post_init__(self) -> None:
        url = f"sqlite:///{self.folder / 'ours.sqlite'}"
        migrate.upgrade(url)
        self.store = Store(url)
        ids = (str(uuid.UUID(int=number, version=4)) for number in itertools.count(1))
        self.intake = Intake(self.store, Registry(), lambda: self.now, bytes, lambda: next(ids))
        apply(self.intake, FleetFile.model_validate(FLEET))

    def commission(self, count: int) -> list[str]:
        """So many machines, through the fleet file; answers with their uuids."""
        machines = [
            {"code": code, "site": SITE, "battery": "flooded", "commissioned_at": text(self.now)}
            for code in itertools.islice(codes.every(3), count)
        ]
        apply(self.intake, FleetFile.model_validate({**FLEET, "machine": machines}))
        with self.store.read() as connection:
            register = self.intake.registry.current(connection)
        return [register.by_code[machine["code"]].uuid for machine in machines]

    def book(self, machine: str) -> MachineBook:
        """The register as this machine's fold asks it."""
        with self.store.read() as connection:
            return MachineBook(self.intake.registry.current(connection), machine)

    def fill(self, told: Iterable[Told], machine: str | None = None) -> str:
        """A new log that holds these entries, chained and hashed as intake would; answers with its machine."""
        uuid_ = machine or str(uuid.uuid4())
        rows = list(chained(uuid_, told))

        def job(connection: Connection) -> None:
            log.create(connection, uuid_, "machine", None)
            log.append(connection, uuid_, rows)

        self.store.write(job)
        return uuid_


def chained(machine: str, told: Iterable[Told]) -> Iterable[NewEntry]:
    """Entries as rows of the log, each naming the hash of the one before."""
    prev = NO_FORERUNNER
    roots: dict[str, str] = {}
    for seq, one in enumerate(told, 1):
        content = form(
            v=1, log=ORIGIN, machine=machine, seq=seq, prev=prev, id=one.id, kind=one.kind,
            occurred_at=one.occurred_at, recorded_at=one.recorded_at, reporter="p-1", role="cleaner", channel="text",
            data=one.data, private={},
        )  # fmt: skip
        prev = leaf_hash(content)
        corrects: Any = one.data.get("corrects")
        root = None if corrects is None else roots.setdefault(one.id, roots.get(corrects, corrects))
        yield NewEntry(seq, one.id, one.kind, one.occurred_at, one.recorded_at, root, content, prev)
