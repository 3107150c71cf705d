"""Killed at random moments, again and again: nothing answered is lost, nothing is doubled, everything due is told.

SIGKILL while texts are posted, in a step of the clock, while mail goes out. `LOGBOOK_KILLS` says how often (default
25 on SQLite; a third of that on PostgreSQL, where two workers run at once).
"""

from __future__ import annotations

import os
from contextlib import closing
from pathlib import Path

import pytest

from logbook.bootstrap import program
from logbook.domain.fleetfile import FleetFile
from logbook.intake.fleet import apply
from logbook.store import migrate
from tests.whole.kills import checks
from tests.whole.kills.killer import Killer, Sink, sink
from tests.whole.kills.plan import FLEET

KILLS = int(os.environ.get("LOGBOOK_KILLS", "25"))
SEED = int(os.environ.get("LOGBOOK_KILLS_SEED", "1"))


def found_fleet(url: str) -> None:
    migrate.upgrade(url)
    with closing(program(url)) as logbook:
        apply(logbook.intake, FleetFile.model_validate(FLEET))


def killed(url: str, folder: Path, kills: int, workers: int) -> tuple[Killer, Sink]:
    with sink(SEED) as (box, port):
        killer = Killer(url, folder, port, SEED, workers)
        try:
            killer.run(kills)
            killer.finish()
        finally:
            killer.close()
    return killer, box


def everything_holds(url: str, killer: Killer, box: Sink) -> None:
    faults = [line for line in killer.errors().splitlines() if line.startswith("Traceback")]
    assert not faults, killer.errors()[-4000:]
    assert not killer.told.troubles, killer.told.troubles[:5]
    with closing(program(url)) as logbook:
        had = checks.found(logbook)
        print(f"\n{killer.kills} kills, in the middle of: {dict(killer.cut_off)}; {len(killer.told.steps)} steps")
        print("answers:", dict(checks.entries_are_there_once(had, killer.told)))
        print(checks.alerts_are_there_once(had, logbook, killer.told))
        print(checks.mail_came(logbook, box.copies))
        print("entries, chained:", checks.chain_is_whole(logbook))
        checks.folds_equal_a_rebuild(logbook)
    # Chance must have hit all three, or this has tested less than it says.
    if killer.kills >= 20:
        assert all(killer.cut_off[phase] for phase in ("posting", "step", "delivery")), killer.cut_off


@pytest.mark.slow
def test_killed_on_sqlite(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path}/log.sqlite"
    found_fleet(url)
    killer, box = killed(url, tmp_path, KILLS, workers=1)
    everything_holds(url, killer, box)


@pytest.mark.slow
def test_one_of_two_is_killed_on_postgresql(postgres_url: str, tmp_path: Path) -> None:
    found_fleet(postgres_url)
    killer, box = killed(postgres_url, tmp_path, max(1, KILLS // 3), workers=2)
    everything_holds(postgres_url, killer, box)
