"""Finding who is due among 100,000 machines of four due instants each, and doing nothing about the rest.

Ours asks the index that each append keeps: the machine's next instant. The other side has the folds but no index,
as a program has that keeps snapshots only: it opens every machine's and looks. That it takes the very bytes that we
keep, with the fold's own decoder, is in its favour: the package's snapshots are text and cost several times as much.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sqlalchemy import Connection

from logbook.domain.instants import HOUR, MINUTE, Instant
from logbook.domain.machine import FOREVER, Duty, Machine
from logbook.store import dues
from tests.bench.harness import Row, Size, duel, repeat, timed
from tests.bench.ours import Ours
from tests.bench.tellings import BEGAN, SITE

FLEET = 100_000
DUE = 64
"""So many machines have come due: what one step of the clock takes at a time."""
_DUTIES = ("watering", "filter", "segments", "repair")


def run(folder: Path, size: Size) -> list[Row]:
    """The rows of this file."""
    fleet, due = size.of(FLEET, 500), size.of(DUE, 8)
    ours = Ours(folder)
    now = BEGAN + HOUR
    _populate(ours, fleet, due, now)

    def pick_up(most: int = DUE) -> list[str]:
        with ours.store.read() as connection:
            return sorted(machine for machine, _at in dues.reached(connection, now, most=most))

    def evaluate() -> list[str]:
        found = []
        with ours.store.read() as connection:
            raw: Any = connection.connection.dbapi_connection
            for machine, state in raw.execute("SELECT machine, state FROM snapshot"):
                if Machine.thaw(state, _NoBook()).next_due(-FOREVER) <= now:
                    found.append(machine)
        return sorted(found)

    assert pick_up() == evaluate()
    many = size.of(200, 2)
    ratios, mine, other = duel(timed(lambda: [pick_up() for _ in range(many)]), timed(evaluate), size.rounds)
    rows = [
        Row(
            f"{due} due among {fleet:,} machines", f"{mine} for {many}", f"{other}, every kept fold opened",
            "machines due", [ratio * many for ratio in ratios], 4_000.0,
        )
    ]  # fmt: skip
    rows.append(_growth(ours, fleet, due, now, many, size))
    return rows


def _growth(ours: Ours, fleet: int, due: int, now: Instant, many: int, size: Size) -> Row:
    """What the rest of the fleet costs: the same machines due among all, and among a hundredth of them."""

    def pick_up() -> None:
        for _ in range(many):
            with ours.store.read() as connection:
                assert len(dues.reached(connection, now, most=due)) == due

    whole = repeat(timed(pick_up), size.rounds)
    ours.store.write(lambda connection: _keep_only(connection, fleet // 100 + due))
    small = repeat(timed(pick_up), size.rounds)
    return Row(
        f"the same {due} due, {fleet:,} machines against {fleet // 100:,}", "one time over the other", "",
        "machines due", figures=[a / b for a, b in zip(whole, small, strict=True)], goal=1.5, at_most=True,
    )  # fmt: skip


def _populate(ours: Ours, fleet: int, due: int, now: Instant) -> None:
    """Rows as intake leaves them: for each machine its fold, and the first of its due instants."""

    def job(connection: Connection) -> None:
        raw: Any = connection.connection.dbapi_connection
        snapshots, soonest = [], []
        for number in range(fleet):
            uuid = f"{number:08x}-0000-4000-8000-000000000000"
            first = now - number * 1_000_000 if number < due else now + number * MINUTE
            machine = Machine(commissioned_at=BEGAN, site=SITE, battery="flooded")
            for index, duty in enumerate(_DUTIES):
                opened_by = f"{number:08x}-0000-4000-8000-{index:012d}"
                machine.standing[duty] = {opened_by: Duty(duty, opened_by, BEGAN, first + index * HOUR, SITE)}
            snapshots.append((uuid, FOREVER, 0, 5, machine.freeze()))
            soonest.append((uuid, first))
        raw.executemany(
            "INSERT INTO snapshot (machine, frontier_at, frontier_seq, seq, state) VALUES (?, ?, ?, ?, ?)", snapshots
        )
        raw.executemany("INSERT INTO due (machine, at) VALUES (?, ?)", soonest)

    ours.store.write(job)


def _keep_only(connection: Connection, count: int) -> None:
    raw: Any = connection.connection.dbapi_connection
    raw.execute("DELETE FROM due WHERE machine NOT IN (SELECT machine FROM due ORDER BY at LIMIT ?)", (count,))


class _NoBook:
    """No night is expected of these machines: the fold asks for nothing else when it is opened."""

    def nights(self, site: str, at: Instant) -> None:
        """None."""

    def next_change(self, at: Instant) -> Instant:
        """Never."""
        return FOREVER

    def policy(self, site: str, at: Instant) -> Any:
        raise NotImplementedError

    def zone(self, site: str, at: Instant) -> Any:
        raise NotImplementedError

    def segments(self, at: Instant) -> Any:
        raise NotImplementedError
