"""A machine's log as rows to read: every entry with both its times, and what became of it.

Promises two readings: the log as it was recorded, or the effective history known at an instant K (recorded at or
before K, less what a `void` recorded at or before K has struck, in the order of happening). Pure.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, NamedTuple

from logbook.domain.instants import Instant, text

LateAfter = Callable[[str, Instant], Instant]
"""(site, recorded_at) -> how far behind its recording an entry may lie, by the policy of that instant."""


class Told(NamedTuple):
    """An entry as its bytes say it, with the private words that are still kept.

    `unconfirmed`: its reporter joined by the word on the plate, and no supervisor has answered for them yet.
    `reporter`: the pseudonym used on this machine, by which somebody finds their own entries; no row shows it.
    """

    seq: int
    id: str
    kind: str
    occurred_at: Instant
    recorded_at: Instant
    role: str
    channel: str
    data: Mapping[str, Any]
    private: Mapping[str, str | None]
    unconfirmed: bool = False
    reporter: str = ""


class Row(NamedTuple):
    """An entry with what is said about it. `struck_by`: the id of the `void` that took it out, as far as is known."""

    told: Told
    site: str
    late: bool
    struck_by: str | None

    def as_json(self) -> dict[str, Any]:
        """The object that `logbook history --json` prints. A private word that was erased is null."""
        told = self.told
        return {
            "seq": told.seq,
            "id": told.id,
            "kind": told.kind,
            "occurred_at": text(told.occurred_at),
            "recorded_at": text(told.recorded_at),
            "recorded_late": self.late,
            "role": told.role,
            "unconfirmed": told.unconfirmed,
            "channel": told.channel,
            "site": self.site,
            "data": {**told.data, **told.private},
            "struck_by": self.struck_by,
        }


def rows(
    entries: Iterable[Told],
    late_after: LateAfter,
    *,
    known_at: Instant | None = None,
    since: Instant | None = None,
    until: Instant | None = None,
) -> list[Row]:
    """The rows of one log, whose entries come in the order of recording.

    `known_at`: the effective history known then, in the order of happening; None: all that was ever recorded, in
    the order of recording, what was struck included and marked. `since`, `until`: of those, what happened from the
    one instant to the other, both included.
    """
    known = [entry for entry in entries if known_at is None or entry.recorded_at <= known_at]
    struck = {entry.data["entry"]: entry.id for entry in known if entry.kind == "void"}
    found = []
    site = ""
    for entry in known:
        if entry.kind in ("commissioned", "moved"):
            site = entry.data["site"]
        late = bool(site) and entry.recorded_at - entry.occurred_at > late_after(site, entry.recorded_at)
        found.append(Row(entry, site, late, struck.get(entry.id)))
    if known_at is not None:
        found = [row for row in found if row.struck_by is None]
        found.sort(key=lambda row: (row.told.occurred_at, row.told.seq))
    return [
        row
        for row in found
        if (since is None or row.told.occurred_at >= since) and (until is None or row.told.occurred_at <= until)
    ]
