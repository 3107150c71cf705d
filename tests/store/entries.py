"""Sound entries to append: chained, with bytes that name their forerunner as the program's own do."""

from __future__ import annotations

import uuid
from typing import Any

from logbook.evidence.canonical import leaf_hash
from logbook.evidence.form import NO_FORERUNNER, form
from logbook.store import Store, log
from logbook.store.log import NewEntry

START = 1_773_048_600_000_000
MINUTE = 60_000_000


def chain(machine: str, count: int, first: int = 1, prev: str = NO_FORERUNNER, **other: Any) -> list[NewEntry]:
    """`count` entries from seq `first` on, one a minute; `other` overrules fields of each."""
    made = []
    for seq in range(first, first + count):
        at = START + seq * MINUTE
        fields: dict[str, Any] = {
            "v": 1, "log": "ferry.example/floors", "machine": machine, "seq": seq, "prev": prev,
            "id": str(uuid.uuid4()), "kind": "rinse", "occurred_at": at, "recorded_at": at, "reporter": "p-1",
            "role": "cleaner", "channel": "text", "data": {}, "private": {},
        }  # fmt: skip
        fields.update(other)
        content = form(**fields)
        prev = leaf_hash(content)
        root = fields["data"].get("corrects")
        made.append(
            NewEntry(
                seq, fields["id"], fields["kind"], fields["occurred_at"], fields["recorded_at"], root, content, prev
            )
        )
    return made


def begun(store: Store, count: int = 0, kind: str = "machine") -> tuple[str, list[NewEntry]]:
    """A new log with so many entries."""
    machine = str(uuid.uuid4())
    rows = chain(machine, count)

    def job(connection: Any) -> None:
        log.create(connection, machine, kind, None)
        log.append(connection, machine, rows)

    store.write(job)
    return machine, rows


def append(store: Store, machine: str, rows: list[NewEntry]) -> None:
    store.write(lambda connection: log.append(connection, machine, rows))
