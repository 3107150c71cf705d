"""Replaying another policy over a million entries, against the same question put to the database.

"What would we have been told with five days for watering instead of seven?" Ours leads every machine through the
whole time, every duty on, and writes all that would have been raised and cleared. The other side answers for one
duty only, by one window query over the same rows; that is the most that can be said honestly in a statement of a
few lines (a late entry, an excuse or a change of policy would already be beyond it). So the logs here are told in
order, nothing is struck, and five days are exact (PT120H). Both read the same SQLite file.
"""

from __future__ import annotations

import resource
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path
from typing import Any

from logbook.domain.book import MachineBook
from logbook.domain.fleetentries import register_of
from logbook.domain.fleetfile import FleetFile
from logbook.domain.instants import DAY, Instant
from logbook.domain.machine import FOREVER
from logbook.replay import replay_machine
from logbook.store import folds
from tests.bench.harness import Row, Size, duel, repeat, timed
from tests.bench.ours import Ours
from tests.bench.tellings import BEGAN, FLEET, Told, years

MACHINES, ENTRIES = 100, 10_000
FIVE_DAYS: Instant = 5 * DAY

# For each watering (and the commissioning, which is the first turn) the one that follows; overdue if it did not
# come within five days, and was told at that instant unless time ended first.
QUERY = """
SELECT machine, opened_by, due FROM (
    SELECT machine, id AS opened_by, occurred_at + :every AS due,
           lead(occurred_at) OVER (PARTITION BY machine ORDER BY occurred_at, seq) AS next
    FROM entry WHERE kind IN ('commissioned', 'watering')
) WHERE due <= :until AND (next IS NULL OR next > due)
"""

Alert = tuple[str, str, Instant]


def run(folder: Path, size: Size) -> list[Row]:
    """The rows of this file."""
    ours = Ours(folder)
    told = _plain(years(1, size.of(ENTRIES, 300)))
    machines = sorted(ours.fill(_renamed(told, number)) for number in range(size.of(MACHINES, 2)))
    until = told[-1].recorded_at
    policy = {**FLEET["policy"], "watering.every": "PT120H"}
    register = register_of(FleetFile.model_validate({**FLEET, "policy": policy}), -FOREVER)
    count = len(machines) * len(told)
    most = 0

    def replayed() -> list[Alert]:
        nonlocal most
        found: list[Alert] = []
        with ours.store.read() as connection:
            for machine in machines:
                entries = folds.recorded(connection, machine)
                for _at, decision in replay_machine(MachineBook(register, machine), entries, until):
                    duty = decision.duty
                    if decision.outcome is None and duty.duty == "watering":
                        found.append((machine, duty.opened_by, decision.due_at))
                most = max(most, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
        return sorted(found)

    def queried() -> list[Alert]:
        with ours.store.read() as connection:
            raw: Any = connection.connection.dbapi_connection
            return sorted(raw.execute(QUERY, {"every": FIVE_DAYS, "until": until}))

    assert replayed() == queried()
    rounds = min(size.rounds, 5)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    taken = repeat(timed(replayed), rounds)
    grown = (most - before) / 1024
    ratios, mine, other = duel(timed(replayed), timed(queried), 1 if size.quick else rounds)
    return [
        Row(
            f"a policy replayed over {count:,} entries, every duty", f"memory grew {grown:.0f} MB in later rounds", "",
            "watering alerts", figures=[count / 1_000 / each for each in taken], goal=300.0, unit="k entries/s",
        ),
        Row(
            "the same", f"{mine}, every duty", f"{other}, SQL window query for one duty", "watering alerts", ratios,
        ),
    ]  # fmt: skip


def _plain(told: list[Told]) -> list[Told]:
    """Told in order of happening, and nothing struck."""
    struck = {one.data["entry"] for one in told if one.kind == "void"}
    plain = [one for one in told if one.kind != "void" and one.id not in struck]
    plain.sort(key=lambda one: one.occurred_at)
    told_at = [(when, list(group)) for when, group in groupby(plain, key=lambda one: one.occurred_at)]
    return [one._replace(recorded_at=max(when, BEGAN)) for when, group in told_at for one in group]


def _renamed(told: list[Told], number: int) -> Iterator[Told]:
    """Another machine with the same years: other ids, for an id stands in one log only."""
    for one in told:
        yield one._replace(id=f"{number:08x}{one.id[8:]}", data={k: v for k, v in one.data.items() if k != "corrects"})
