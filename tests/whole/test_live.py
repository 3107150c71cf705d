"""The live logbook writes what the replay writes, whatever it is told, and loses nothing when its clock sleeps.

`LOGBOOK_LIVE_HISTORIES` says how many random histories are told to it (default 16).
"""

from __future__ import annotations

import os
import random
from pathlib import Path
from typing import Any

import pytest

from logbook import replay
from logbook.domain.instants import parse
from logbook.store import alerts, folds
from logbook.store import log as logs
from tests.whole.histories import History, history
from tests.whole.live import alerts_in_log, drowsy, live
from tests.whole.stage import Stage, new_database, stage

HISTORIES = int(os.environ.get("LOGBOOK_LIVE_HISTORIES", "16"))


def show(said: list[dict[str, Any]], ought: list[dict[str, Any]]) -> str:
    return "\n".join(
        [
            *(f"only the live clock: {line}" for line in said if line not in ought),
            *(f"only the replay:     {line}" for line in ought if line not in said),
        ]
    )


def ought_of(told: History) -> list[dict[str, Any]]:
    return sorted(
        replay.replay(told.fleet, told.entries, told.until),
        key=lambda line: (
            parse(line["at"]), line["machine"], line["duty"], line["opened_by"], line["kind"] != "alert_raised",
            line["number"],
        ),
    )  # fmt: skip


def kept(one: Stage) -> dict[str, Any]:
    """What is kept of each machine besides its log, as far as it means anything."""
    found = {}
    with one.program.store.read() as connection:
        register = one.program.registry.current(connection)
        for code, machine in register.by_code.items():
            watchman = folds.load(connection, machine.uuid, one.program.intake.book(register, machine.uuid))
            found[code] = {
                record.duty.key: (record.duty.due, record.count, record.raised_at)
                for record in watchman.ledger.active.values()
            }
    return found


# Told one by one at one instant, a duty was due just then after the start, and long before after the put-away.
ONE_BY_ONE = (80, 246)


@pytest.mark.parametrize("seed", sorted({*range(HISTORIES), *ONE_BY_ONE}))
def test_the_live_clock_writes_what_the_replay_writes(seed: int, tmp_path: Path) -> None:
    told = history(seed)
    one = stage(new_database(tmp_path), seed=seed)
    try:
        live(one, told, random.Random(seed))
        said, ought = alerts_in_log(one), ought_of(told)
        assert said == ought, show(said, ought)
        the_table_says_what_the_log_says(one)
    finally:
        one.close()


def the_table_says_what_the_log_says(one: Stage) -> None:
    """The table of alerts is a projection of their entries."""
    lines = alerts_in_log(one)
    with one.program.store.read() as connection:
        rows = {
            (code, a.duty, a.opened_by, a.number): a
            for code, machine in one.register.by_code.items()
            for a in alerts.of_machine(connection, machine.uuid)
        }
    raised = {(x["machine"], x["duty"], x["opened_by"], x["number"]): x for x in lines if x["outcome"] is None}
    cleared = {(x["machine"], x["duty"], x["opened_by"], x["number"]): x for x in lines if x["outcome"] is not None}
    assert rows.keys() == raised.keys()
    for identity, row in rows.items():
        over = cleared.get(identity)
        assert row.raised_at == parse(raised[identity]["at"])
        assert row.outcome == (over and over["outcome"])
        assert row.cleared_at == (over and parse(over["at"]))


@pytest.mark.parametrize("seed", range(HISTORIES))
def test_a_clock_that_sleeps_misses_and_doubles_no_alert(seed: int, tmp_path: Path) -> None:
    """At the end, what stands overdue has one live alert with the right due instant, if it had time to settle."""
    told = history(seed)
    one = stage(new_database(tmp_path), seed=seed)
    try:
        drowsy(one, told, random.Random(seed))
        until = parse(told.until)
        # Whatever was found overdue by the last step has settled by a day later.
        wakeful = ought_of(told)
        live_ones: dict[tuple[Any, ...], str] = {}
        for line in wakeful:
            key = (line["machine"], line["duty"], line["opened_by"])
            if line["kind"] == "alert_raised":
                live_ones[key] = line["due_at"]
            else:
                live_ones.pop(key, None)
        asleep: dict[tuple[Any, ...], str] = {}
        numbers: dict[tuple[Any, ...], int] = {}
        for line in alerts_in_log(one):
            key = (line["machine"], line["duty"], line["opened_by"])
            if line["kind"] == "alert_raised":
                assert key not in asleep, "raised twice"
                assert line["number"] == numbers.get(key, 0) + 1
                assert parse(line["due_at"]) <= parse(line["at"])
                numbers[key], asleep[key] = line["number"], line["due_at"]
            else:
                assert key in asleep, "cleared without having been raised"
                del asleep[key]
        missing = {key: due for key, due in live_ones.items() if key not in asleep}
        with one.program.store.read() as connection:
            register = one.program.registry.current(connection)
            for code, machine in register.by_code.items():
                assert logs.head(connection, machine.uuid) is not None
                watchman = folds.load(connection, machine.uuid, one.program.intake.book(register, machine.uuid))
                for duty in watchman.machine.duties():
                    key = (code, *duty.key)
                    if duty.standing(until):
                        record = watchman.ledger.records.get(duty.key)
                        assert key in asleep or (record is not None and record.waits()), f"{key} was missed"
                        missing.pop(key, None)
        assert not missing
    finally:
        one.close()
