"""Small logs made by the program's own form, for tests to damage."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from typing import Any

from logbook.domain.instants import MINUTE, parse
from logbook.evidence.audit import Head, Row
from logbook.evidence.canonical import leaf_hash
from logbook.evidence.form import NO_FORERUNNER, form

ORIGIN = "ferry.example/floors"
START = parse("2026-03-09T09:30:00Z")
MACHINES = [str(uuid.UUID(int=number + (7 << 76) + (2 << 62))) for number in range(3)]


def entry_id(machine: str, seq: int) -> str:
    return str(uuid.uuid5(uuid.UUID(machine), str(seq)))


def row(machine: str, seq: int, prev: str, kind: str, data: dict[str, Any], **other: Any) -> Row:
    """One sound row; `other` overrules a field of the bytes."""
    fields: dict[str, Any] = {
        "v": 1, "log": ORIGIN, "machine": machine, "seq": seq, "prev": prev, "id": entry_id(machine, seq),
        "kind": kind, "occurred_at": START + seq * MINUTE, "recorded_at": START + seq * MINUTE + 1_250_000,
        "reporter": "p-1", "role": "cleaner", "channel": "text", "data": data, "private": {},
    }  # fmt: skip
    fields.update(other)
    content = form(**fields)
    corrects = data.get("corrects")
    return Row(machine, seq, fields["id"], kind, fields["occurred_at"], fields["recorded_at"], corrects, content,
               leaf_hash(content))  # fmt: skip


def log(machine: str, facts: Iterable[tuple[str, dict[str, Any]]], **other: Any) -> list[Row]:
    rows: list[Row] = []
    prev = NO_FORERUNNER
    for seq, (kind, data) in enumerate(facts, start=1):
        rows.append(row(machine, seq, prev, kind, data, **other))
        prev = rows[-1].hash
    return rows


def night(machine: str) -> list[Row]:
    return log(
        machine,
        [
            ("commissioned", {"site": "north-slip", "battery": "flooded"}),
            ("start", {}),
            ("rinse", {}),
            ("put_away", {}),
            ("charge", {"told": "card"}),
        ],
    )


def head(rows: list[Row], kind: str = "machine") -> Head:
    last = rows[-1]
    return Head(last.machine, kind, last.seq, last.hash, last.recorded_at)
