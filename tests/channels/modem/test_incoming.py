"""Texts out of tables that are filled by hand: joining, keeping aside, crashes, locks, clocks. Both databases."""

from __future__ import annotations

import asyncio
import itertools
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.pool import NullPool

from logbook.channels.modem.incoming import received
from logbook.channels.modem.parts import header
from logbook.channels.modem.tables import Row
from logbook.domain.instants import parse
from logbook.store import BusyError
from tests.channels.modem import tables
from tests.channels.modem.conftest import ANA, NIGHT, NOW
from tests.whole.stage import fleet, new_database, stage

LONG = ["B7H rinsed. ", "B7H fault the squeegee drags ", "and leaks"]


def arrive_in_parts(drawer, numbers, reference=0xD3, sender=ANA, **more):
    for number in numbers:
        drawer.arrive(LONG[number - 1], sender, header=header(reference, 3, number), **more)


def test_a_text_is_handed_on_and_marked(drawer):
    drawer.arrive("B7H rinsed")
    assert drawer.incoming().once() == 1
    (taken,) = drawer.taken
    assert (taken.channel, taken.sender, taken.text, taken.at) == ("modem", ANA, "B7H rinsed", NIGHT)
    assert taken.id.startswith("modem:")
    assert taken.id.endswith(":1:2026-11-25 05:12:00")
    assert drawer.left() == 0
    assert drawer.incoming().once() == 0
    assert len(drawer.taken) == 1


def test_nothing_of_the_daemons_rows_is_changed_but_the_mark(drawer):
    drawer.arrive("B7H rinsed")
    before = drawer.rows("inbox")[0]
    drawer.incoming().once()
    after = drawer.rows("inbox")[0]
    ours = {"Processed", "UpdatedInDB"}  # the second is the trigger's
    assert {k: v for k, v in after.items() if k not in ours} == {k: v for k, v in before.items() if k not in ours}


@pytest.mark.parametrize("order", list(itertools.permutations((1, 2, 3))))
def test_parts_in_any_order_are_one_text(drawer, order):
    arrive_in_parts(drawer, order)
    assert drawer.incoming().once() == 1
    assert [taken.text for taken in drawer.taken] == ["".join(LONG)]
    assert drawer.left() == 0


def test_two_senders_with_one_reference_are_not_mixed(drawer):
    arrive_in_parts(drawer, (1, 3))
    arrive_in_parts(drawer, (2,), sender="+19025550112")
    assert drawer.incoming().once() == 0
    arrive_in_parts(drawer, (2,))
    arrive_in_parts(drawer, (3, 1), sender="+19025550112")
    assert drawer.incoming().once() == 2
    assert [taken.sender for taken in drawer.taken] == [ANA, "+19025550112"]


def test_a_reference_that_came_round_again_begins_a_new_text(drawer):
    arrive_in_parts(drawer, (1, 2, 3))
    arrive_in_parts(drawer, (3, 2, 1))
    assert drawer.incoming().once() == 2
    assert [taken.text for taken in drawer.taken] == ["".join(LONG)] * 2


def test_a_reference_of_sixteen_bits_joins_too(drawer):
    drawer.arrive("B7H ", header="06080401F30201")
    drawer.arrive("rinsed", header="06080401F30202")
    drawer.incoming().once()
    assert [taken.text for taken in drawer.taken] == ["B7H rinsed"]


def test_a_surrogate_pair_cut_apart_is_whole_again(drawer):
    drawer.arrive("B7H rinsed \ud83d", header=header(1, 2, 1))
    drawer.arrive("\ude00", header=header(1, 2, 2))
    drawer.incoming().once()
    assert drawer.taken[0].text == "B7H rinsed 😀"


def test_a_missing_part_is_waited_for_and_then_the_rest_kept_aside(drawer):
    arrive_in_parts(drawer, (1, 3))
    assert drawer.incoming(parts_wait=600).once() == 0
    assert drawer.left() == 2
    assert drawer.incoming(parts_wait=0).once() == 1
    assert drawer.taken == []
    ((message, reason),) = drawer.aside
    assert message.text == LONG[0] + LONG[2]
    assert reason == "parts 1, 3 of 3 came, and the rest did not"
    assert drawer.left() == 0


def test_the_wait_counts_from_the_last_part_that_came(drawer):
    arrive_in_parts(drawer, (1,), age=700)
    arrive_in_parts(drawer, (3,), age=300)
    assert drawer.incoming(parts_wait=600).once() == 0
    assert drawer.incoming(parts_wait=299).once() == 1


def test_others_do_not_wait_for_a_missing_part(drawer):
    arrive_in_parts(drawer, (1,))
    drawer.arrive("B7H rinsed")
    drawer.incoming().once()
    assert [taken.text for taken in drawer.taken] == ["B7H rinsed"]


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ({"sender": "CARRIER"}, "from a service"),
        ({"sender": "2255"}, "from a service"),
        ({"Coding": "8bit", "Text": "0102"}, "meant for a program"),
        ({"header": "0605040B8423F0"}, "meant for a program"),
        ({"Class": 127}, "an answer of the network"),
    ],
)
def test_what_no_person_typed_is_kept_aside(drawer, row, reason):
    drawer.arrive("Your balance is 3.20", **row)
    assert drawer.incoming().once() == 1
    assert drawer.taken == []
    assert drawer.aside[0][1].startswith(reason)
    assert drawer.left() == 0


def test_a_number_without_its_country_gets_the_one_that_is_set(drawer):
    drawer.arrive("B7H rinsed", "9025550111")
    drawer.incoming().once()
    assert drawer.taken[0].sender == ANA
    drawer.arrive("B7H rinsed", "9025550111")
    drawer.incoming(country=None).once()
    assert len(drawer.taken) == 1
    assert drawer.aside[0][0].sender == "9025550111"


@pytest.mark.parametrize(
    ("stamp", "at"),
    [
        ("2026-11-25 05:12:00", NIGHT),
        ("2026-11-25 09:12:00", NOW),  # ahead: the network's clock, or the zone that is set, is wrong
        ("1980-01-01 00:00:00", NOW),  # a modem that never heard the time
        ("2026-07-01 05:12:00", parse("2026-07-01T08:12:00Z")),  # summer time
    ],
)
def test_when_a_text_was_received(drawer, stamp, at):
    drawer.arrive("B7H rinsed", ReceivingDateTime=stamp)
    drawer.incoming().once()
    assert abs(drawer.taken[0].at - at) <= 2_000_000  # whole seconds, and one may have gone by


def test_a_repeated_hour_is_told_apart_by_when_the_row_was_written(drawer):
    # 01:30 of 1 November 2026 comes twice in Halifax: 04:30Z and 05:30Z.
    def at(now, age):
        row = Row(1, "2026-11-01 01:30:00", ANA, "", "", "", -1, "", "", age)
        return received(row, drawer.settings(), parse(now))

    assert at("2026-11-01T04:31:00Z", 30) == parse("2026-11-01T04:30:00Z")
    assert at("2026-11-01T05:31:00Z", 30) == parse("2026-11-01T05:30:00Z")
    assert at("2026-11-01T05:31:00Z", 3_600) == parse("2026-11-01T04:30:00Z")


def test_a_store_that_fails_leaves_the_text_where_it_is(drawer):
    drawer.arrive("B7H rinsed")
    drawer.arrive("B8F rinsed")

    def busy(message):
        raise BusyError("The database is busy; nothing was kept.")

    assert drawer.incoming(busy).once() == 0
    assert drawer.left() == 2
    assert drawer.incoming().once() == 2


def test_one_text_that_cannot_be_taken_does_not_keep_the_others(drawer):
    drawer.arrive("bad")
    drawer.arrive("B7H rinsed")

    def take(message):
        if message.text == "bad":
            raise ZeroDivisionError
        drawer.taken.append(message)

    assert drawer.incoming(take).once() == 1
    assert drawer.left() == 1


def test_tables_that_are_locked_are_met_again(drawer):
    drawer.arrive("B7H rinsed")
    ids = []
    locker = create_engine(drawer.url, poolclass=NullPool)
    with locker.connect() as held:
        held.exec_driver_sql(
            "BEGIN IMMEDIATE" if held.dialect.name == "sqlite" else "LOCK TABLE inbox IN ACCESS EXCLUSIVE MODE"
        )
        incoming = drawer.incoming(lambda message: ids.append(message.id), timeout=0.3)
        assert incoming.once() == 0
        assert drawer.url.startswith("postgresql") or len(ids) == 1  # SQLite lets one read: taken, and not yet marked
        held.rollback()
    assert incoming.once() == 1
    assert len(set(ids)) == 1
    assert drawer.left() == 0


def test_tables_that_are_away_are_not_made(drawer, tmp_path):
    gone = tmp_path / "gone.sqlite"
    assert drawer.incoming(tables=f"sqlite:///{gone}").once() == 0
    assert not gone.exists()


def test_it_runs_until_stopped(drawer):
    drawer.arrive("B7H rinsed")

    async def night():
        stop, loop, came = asyncio.Event(), asyncio.get_running_loop(), asyncio.Queue()
        incoming = drawer.incoming(lambda message: loop.call_soon_threadsafe(came.put_nowait, message.text))
        running = asyncio.create_task(incoming.run(stop))
        assert await came.get() == "B7H rinsed"
        drawer.arrive("B8F rinsed")
        assert await came.get() == "B8F rinsed"
        stop.set()
        await asyncio.wait_for(running, 10)

    asyncio.run(asyncio.wait_for(night(), 30))
    assert drawer.left() == 0


KILLED = """
import os, signal, sys
from logbook.bootstrap import program
from logbook.channels.modem import Incoming, ModemSettings
from logbook.domain.instants import parse
made = program(sys.argv[1], now=lambda: parse("2026-11-25T10:12:00Z"))
def take(message):
    assert made.desk.take(message).outcome == "saved"
    os.kill(os.getpid(), signal.SIGKILL)
Incoming(ModemSettings(tables=sys.argv[2], zone="America/Halifax"), take, made.now).once()
"""


def test_a_kill_between_keeping_and_marking_makes_one_entry(drawer, make, tmp_path):
    url = new_database(tmp_path)
    first = stage(url, parse("2026-11-25T10:12:00Z"))
    first.apply(fleet())
    first.close()
    drawer.arrive("B7H rinsed")
    killed = subprocess.run(
        [sys.executable, "-c", KILLED, url, drawer.url], cwd=Path(__file__).parents[3], check=False, timeout=60
    )
    assert killed.returncode == -signal.SIGKILL
    assert drawer.left() == 1
    second = make(url=url, apply=False, at=parse("2026-11-25T10:13:00Z"))
    assert len(second.entries("B7H", "rinse")) == 1  # it was kept
    answers = []
    assert drawer.incoming(lambda message: answers.append(second.program.desk.take(message))).once() == 1
    assert [(answer.outcome, answer.repeated) for answer in answers] == [("saved", True)]
    assert len(second.entries("B7H", "rinse")) == 1
    assert drawer.left() == 0


def test_a_burst_of_a_thousand(drawer, record_property):
    with drawer.engine.begin() as connection:
        for n in range(1_000):
            tables.put(
                connection, "inbox", Text=f"B7H rinsed {n}".encode("utf-16-be").hex(), SenderNumber=f"+1902555{n:04}",
                UDH="", RecipientID="", ReceivingDateTime="2026-11-25 05:12:00",
            )  # fmt: skip
        assert connection.execute(text("SELECT count(*) FROM inbox")).scalar() == 1_000
    begun = time.perf_counter()
    assert drawer.incoming().once() == 1_000
    rate = 1_000 / (time.perf_counter() - begun)
    record_property("texts a second, handed on and marked", round(rate))
    print(f"\n{drawer.engine.dialect.name}: {rate:.0f} texts a second handed on and marked")
    assert drawer.left() == 0
    assert [taken.text for taken in drawer.taken] == [f"B7H rinsed {n}" for n in range(1_000)]
