"""The other side: the `eventsourcing` package, in its own words, on SQLite with the same promises.

Its aggregate does less than ours, which is in its favour: it keeps the last act of each kind, and knows no duty,
no night and no order of happening. Its connections write ahead (its own default) and, like ours, wait for the disk
at each commit: `synchronous = FULL` is what SQLite does by default, and `check` looks that it still is.

At its best: with its cache (without copies taken from it, nor a look whether another process has written), with
snapshots where they apply, and with orjson in place of the standard library's codec. `SETTINGS` names each.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import UUID

import orjson
from eventsourcing.application import Application
from eventsourcing.domain import Aggregate, event
from eventsourcing.persistence import JSONTranscoder, Transcoder

from tests.bench.tellings import Told


class MachineLog(Aggregate):
    """One machine's entries, folded into its latest acts."""

    def __init__(self) -> None:
        self.last: dict[str, int] = {}
        self.entries = 0

    @event("Recorded")
    def record(self, id: str, kind: str, occurred_at: int, recorded_at: int, data: dict[str, Any]) -> None:
        """One entry, with its reporter as ours has it."""
        self.last[kind] = occurred_at
        self.entries += 1


class Orjson(Transcoder):
    """The same flat events by a faster codec. It knows one type besides JSON's own: the package's timestamp."""

    def encode(self, obj: Any) -> bytes:
        return orjson.dumps(obj)

    def decode(self, data: bytes) -> Any:
        state = orjson.loads(data)
        state["timestamp"] = datetime.fromisoformat(state["timestamp"])
        return state


@dataclass(frozen=True)
class Settings:
    """How the package is run."""

    name: str
    transcoder: type[Transcoder] = JSONTranscoder
    env: tuple[tuple[str, str], ...] = ()


CACHE = (("AGGREGATE_CACHE_MAXSIZE", "1000"),)
# Without looking whether another process has written since, which ours always does; and without copies.
ALONE = (("AGGREGATE_CACHE_FASTFORWARD", "n"), ("DEEPCOPY_FROM_AGGREGATE_CACHE", "n"))
SETTINGS = {
    "default": Settings("default transcoder"),
    "orjson": Settings("orjson transcoder", Orjson),
    "cache": Settings("default transcoder, cache", env=CACHE),
    "best": Settings("orjson transcoder, cache for one process alone", Orjson, CACHE + ALONE),
    "snapshots": Settings("default transcoder, snapshots", env=(("IS_SNAPSHOTTING_ENABLED", "y"),)),
}


class Peer:
    """An application of the package on a new SQLite file."""

    def __init__(self, folder: Path, settings: Settings) -> None:
        self.settings = settings

        class Logbook(Application[UUID]):
            def construct_transcoder(self) -> Transcoder:
                made: Transcoder = settings.transcoder()
                if settings.transcoder is JSONTranscoder:
                    self.register_transcodings(made)  # type: ignore[arg-type]
                return made

        file = folder / f"peer-{settings.name.replace(' ', '-')}.sqlite"
        self.app = Logbook(
            env={"PERSISTENCE_MODULE": "eventsourcing.sqlite", "SQLITE_DBNAME": str(file), **dict(settings.env)}
        )
        self.check()

    def check(self) -> None:
        """Hold its connections to what ours promise: written ahead, and on the disk at each commit."""
        with self.app.factory.datastore.get_connection(commit=True) as connection, connection.cursor() as cursor:  # type: ignore[attr-defined]
            found = [cursor.execute(f"PRAGMA {name}").fetchone()[0] for name in ("journal_mode", "synchronous")]
        assert found == ["wal", 2], found

    def new(self) -> UUID:
        """An empty log."""
        log = MachineLog()
        self.app.save(log)
        return log.id

    def append(self, log: UUID, told: Iterable[Told]) -> None:
        """The package's get, command, save: all of these entries in one save."""
        found: MachineLog = self.app.repository.get(log)
        for one in told:
            found.record(one.id, one.kind, one.occurred_at, one.recorded_at, one.data)
        self.app.save(found)

    def rebuild(self, log: UUID) -> MachineLog:
        """The aggregate, from its events."""
        found: MachineLog = self.app.repository.get(log)
        return found
