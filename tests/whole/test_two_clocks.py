"""Two clocks at once, and people telling things at the same time: no alert doubled, none missed, nobody told twice.

On PostgreSQL each clock is a process; in SQLite, threads with a program each. At every instant both step together,
while what was recorded at that instant is being appended from two sides. What comes of it must be what one clock
alone makes of the same nights: the same alerts, the same letters and reminders, the same people told of each alert.
"""

from __future__ import annotations

import itertools
import json
import subprocess
import sys
import uuid
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import date
from functools import partial
from itertools import groupby
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection

from logbook import replay
from logbook.domain.calendar import wall
from logbook.domain.codes import generate as generate_code
from logbook.domain.instants import DAY, HOUR, MINUTE, Instant, from_datetime, parse, text
from logbook.domain.machine import FOREVER
from logbook.store import dues, migrate, notices, outbox
from logbook.watch import step as stepping
from logbook.watch.roster import RegisterRoster
from scenario import generate
from tests.whole.kills.killer import ROOT
from tests.whole.live import alerts_in_log, draft, found
from tests.whole.stage import Stage, new_database, stage

Line = dict[str, Any]
NIGHTS, PLAYED = 14, 9
"""The scenario makes no fewer than fourteen nights; so many of them are played."""


@dataclass
class Nights:
    fleet: Line
    entries: list[Line]
    until: Instant


@pytest.fixture(scope="module")
def nights() -> Nights:
    made = generate.make(11, NIGHTS)
    until = from_datetime(made.until) - (NIGHTS - PLAYED) * DAY
    lines = [line for line in generate.entries(made) if parse(line["recorded_at"]) <= until]
    return Nights(made.fleet.raw, lines, until)


# ---------------------------------------------------------------------------------------------------------- two clocks


class ProcessClock:
    """A clock in another process."""

    def __init__(self, url: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.whole.clock_process", url], cwd=ROOT, text=True, bufsize=1,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip

    def _hear(self) -> Line:
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert line, "the clock's process has ended"
        heard: Line = json.loads(line)
        return heard

    def ready(self) -> None:
        assert self._hear() == {"ready": True}

    def step(self, now: Instant) -> Instant | None:
        assert self.process.stdin is not None
        self.process.stdin.write(f"{now}\n")
        following: Instant | None = self._hear()["next_at"]
        return following

    def close(self) -> None:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.close()
        assert self.process.wait(30) == 0
        self.process.stdout.close()


class StageClock:
    """A clock in a thread of ours, with a program of its own."""

    def __init__(self, one: Stage) -> None:
        self.one = one

    def step(self, now: Instant) -> Instant | None:
        return self.one.step(now).next_at


Clock = ProcessClock | StageClock


# -------------------------------------------------------------------------------------------------------- the same time


class Play:
    """Leads clocks and tellers from instant to instant, all of them at once."""

    def __init__(self, told: Nights, clocks: Sequence[Clock], tellers: Sequence[Stage]) -> None:
        self.told, self.clocks, self.tellers = told, clocks, tellers
        self.pool = ThreadPoolExecutor(len(clocks) + len(tellers))
        self.at_once = 0

    def run(self) -> None:
        following: Instant = FOREVER
        for at, some in groupby(self.told.entries, key=lambda line: parse(line["recorded_at"])):
            following = self._until(following, at - 1)
            following = self._act(at, list(some))
        self._until(following, self.told.until)
        self.pool.shutdown()

    def _until(self, following: Instant, end: Instant) -> Instant:
        while following <= end:
            following = self._act(following, [])
        return following

    def _act(self, now: Instant, lines: list[Line]) -> Instant:
        """Everything that happens at an instant; answers with the next at which there is something to do."""
        by_machine: dict[str, list[Line]] = defaultdict(list)
        for line in lines:
            by_machine[line["machine"]].append(line)
        for one in self.tellers:
            one.now = now
        # Entries first, then the clock: where both meet on one machine at one instant, that is what is compared.
        meeting = [code for code, own in by_machine.items() if len(_runs(own)) > 1 or self._is_due(code, now)]
        for code in meeting:
            self._say(self.tellers[0], by_machine.pop(code))
        jobs: list[Future[Any]] = [self.pool.submit(clock.step, now) for clock in self.clocks]
        for number, own in enumerate(by_machine.values()):
            jobs.append(self.pool.submit(self._say, self.tellers[number % len(self.tellers)], own))
        self.at_once += len(jobs) > len(self.clocks)
        _all(jobs)
        for _ in range(20):
            soonest = min(at or FOREVER for at in _all([self.pool.submit(clock.step, now) for clock in self.clocks]))
            if soonest > now:
                return soonest
        raise AssertionError(f"the clocks do not come to rest at {text(now)}")

    def _is_due(self, code: str, now: Instant) -> bool:
        at = self.tellers[0].read(partial(dues.of, machine=self.tellers[0].machine(code)))
        return at is not None and at <= now

    def _say(self, one: Stage, lines: list[Line]) -> None:
        for reporter, run in _runs(lines):
            one.program.intake.record([draft(one, line) for line in run], one.by(reporter))


def _runs(lines: Iterable[Line]) -> list[tuple[str, list[Line]]]:
    return [(who, list(run)) for who, run in groupby(lines, key=lambda line: line["reporter"])]


def _all(jobs: Sequence[Future[Any]]) -> list[Any]:
    wait(jobs)
    return [job.result() for job in jobs]


def begun(url: str, told: Nights, *, routes: Iterable[str] = ("mail",)) -> Stage:
    one = stage(url, at=parse(told.entries[0]["recorded_at"]) - MINUTE, routes=routes)
    found(one, told.fleet)
    return one


# ------------------------------------------------------------------------------------------------------------- outcomes


@dataclass
class Told:
    """Who was told what by what, without the names that chance gives."""

    alerts: list[Line]
    letters: Counter[tuple[str, date]]
    reminders: Counter[tuple[str, str, Instant]]
    notices: Counter[tuple[str, str, str, str, int, str]]
    alarms: dict[str, list[Instant]]


def outcome(one: Stage) -> Told:
    register = one.register
    codes = {machine.uuid: code for code, machine in register.by_code.items()}
    roster = RegisterRoster(register)
    messages = {message.id: message for message in one.messages()}
    told = Told(alerts_in_log(one), Counter(), Counter(), Counter(), defaultdict(list))
    for person in register.people.values():
        key = person.key or ""
        reminded: dict[str, str] = {}
        for notice in one.notices(key):
            code = codes[notice.machine]
            told.notices[key, code, notice.duty, notice.opened_by, notice.number, notice.tell] += 1
            if notice.tell == "remind" and notice.message in messages:
                reminded[str(notice.message)] = code
        for message in messages.values():
            if message.person != person.uuid:
                continue
            if message.kind == "letter":
                told.letters[key, wall(message.queued_at, roster.zone_of(person, message.queued_at)).date()] += 1
            elif message.kind == "reminder":
                assert message.not_after is not None
                assert message.id in reminded, "a reminder of nothing that was put down"
                told.reminders[key, reminded[message.id], message.not_after] += 1
            elif message.kind == "alert":
                told.alarms[key].append(message.queued_at)
    return told


@pytest.fixture(scope="module")
def alone(nights: Nights, tmp_path_factory: pytest.TempPathFactory) -> Told:
    """What one clock makes of it that never sleeps, nobody else being there."""
    one = begun(new_database(tmp_path_factory.mktemp("alone")), nights)
    try:
        Play(nights, [StageClock(one)], [one]).run()
        return outcome(one)
    finally:
        one.close()


def holds(both: Told, alone: Told, told: Nights) -> None:
    ought = replay.replay(told.fleet, told.entries, text(told.until))
    assert sorted(map(json.dumps, both.alerts)) == sorted(map(json.dumps, ought))
    identities = Counter((x["machine"], x["duty"], x["opened_by"], x["number"], x["kind"]) for x in both.alerts)
    assert max(identities.values()) == 1
    assert max(both.letters.values(), default=0) <= 1, "two letters in one morning"
    assert max(both.reminders.values(), default=0) <= 1, "reminded twice of one due instant"
    assert both.letters == alone.letters
    assert both.reminders == alone.reminders
    assert both.notices == alone.notices
    gather = 2 * MINUTE
    for key, moments in both.alarms.items():
        pairs = zip(sorted(moments), sorted(moments)[1:], strict=False)
        close = [(text(one), text(other)) for one, other in pairs if other - one < gather]
        assert not close, f"{key} was sent alerts within `gather` of each other: {close}"
    print(
        f"\n{len(ought)} lines of alerts, {both.letters.total()} letters, {both.reminders.total()} reminders, "
        f"{sum(map(len, both.alarms.values()))} messages of alerts"
    )


@pytest.mark.slow
def test_two_threads_on_sqlite(nights: Nights, alone: Told, tmp_path: Path) -> None:
    url = new_database(tmp_path)
    with ExitStack() as opened:
        stages = [begun(url, nights)]
        stages += [stage(url, at=stages[0].now, seed=seed) for seed in (2, 3, 4)]
        for one in stages:
            opened.callback(one.close)
        play = Play(nights, [StageClock(one) for one in stages[:2]], stages[2:])
        play.run()
        assert play.at_once > 100
        holds(outcome(stages[0]), alone, nights)


@pytest.mark.slow
def test_two_processes_on_postgresql(nights: Nights, alone: Told, postgres_url: str) -> None:
    migrate.upgrade(postgres_url)
    with ExitStack() as opened:
        stages = [begun(postgres_url, nights)]
        stages.append(stage(postgres_url, at=stages[0].now, seed=2))
        for one in stages:
            opened.callback(one.close)
        clocks = [ProcessClock(postgres_url) for _ in range(2)]
        for clock in clocks:
            opened.callback(clock.close)
            clock.ready()
        play = Play(nights, clocks, stages)
        play.run()
        assert play.at_once > 100
        holds(outcome(stages[0]), alone, nights)


# ------------------------------------------------------------------------------------------------- everything at once


def crowd(rounds: int) -> Nights:
    """Many machines of one site, put away at one instant, and half a minute later: all falls due for the same people.

    What comes second waits until it may share a message. Then nothing is left but to tell it, and every clock is
    about to do that at once.
    """
    codes: set[str] = set()
    while len(codes) < 30:
        codes.add(generate_code(3, codes))
    first = parse("2026-03-10T02:00:00Z")
    fleet = {
        "fleet": {"name": "Kittiwake Crossings", "origin": "kittiwake.example/floors", "language": "en"},
        "policy": {"quiet": False, "cap": 1000, "squeegee.tell": "now"},
        "site": [{"code": "north-slip", "name": "North Slip", "zone": "America/Halifax"}],
        "machine": [
            {"code": code, "site": "north-slip", "battery": "lithium", "commissioned_at": text(first)}
            for code in sorted(codes)
        ],
        "person": [
            {"key": "dot", "name": "Dot Fraser", "role": "cleaner", "phone": "+19025550151", "sites": ["north-slip"]},
            {"key": "jo", "name": "Jo Marsh", "role": "supervisor", "email": "jo@kittiwake.example",
             "sites": ["north-slip"]},
            {"key": "ines", "name": "Ines Calder", "role": "owner", "email": "ines@kittiwake.example"},
        ],
    }  # fmt: skip
    moments = [(first, "commissioned", {"site": "north-slip", "battery": "lithium"})]
    moments += [(first + HOUR + number * 3 * HOUR, "put_away", {}) for number in range(rounds)]
    entries = [
        {"id": str(uuid.uuid5(uuid.NAMESPACE_URL, f"{code} {number}")), "machine": code, "kind": kind, "data": data,
         "occurred_at": text(at), "recorded_at": text(at), "reporter": "dot" if number else "ines", "channel": "form"}
        for number, (moment, kind, data) in enumerate(moments)
        for half in (0, 1)
        for at in (moment + (half if number else 0) * MINUTE // 2,)
        for code in sorted(codes)[half::2]
    ]  # fmt: skip
    return Nights(fleet, entries, moments[-1][0] + 2 * HOUR)


@pytest.mark.slow
def test_two_processes_tell_what_fell_due_at_once_in_one_message(postgres_url: str, tmp_path: Path) -> None:
    told = crowd(rounds=3)
    migrate.upgrade(postgres_url)
    one = begun(new_database(tmp_path), told)
    Play(told, [StageClock(one)], [one]).run()
    alone = outcome(one)
    one.close()
    with ExitStack() as opened:
        stages = [begun(postgres_url, told)]
        stages.append(stage(postgres_url, at=stages[0].now, seed=2))
        for each in stages:
            opened.callback(each.close)
        clocks = [ProcessClock(postgres_url) for _ in range(3)]
        for clock in clocks:
            opened.callback(clock.close)
            clock.ready()
        Play(told, clocks, stages).run()
        holds(outcome(stages[0]), alone, told)


def test_a_second_clock_tells_nothing_until_the_first_has_told(
    postgres_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first has taken up one notice when the second comes by: what is left must not become a second message."""
    told = crowd(rounds=1)
    migrate.upgrade(postgres_url)
    with ExitStack() as opened:
        stages = [begun(postgres_url, told)]
        stages.append(stage(postgres_url, at=stages[0].now, seed=2))
        for each in stages:
            opened.callback(each.close)
        one = stages[0]
        for line in told.entries:
            one.now = parse(line["recorded_at"])
            one.program.intake.record([draft(one, line)], one.by(line["reporter"]))
        stages[1].now = one.now = one.now + 30 * MINUTE
        machines = tuple(one.register.machines)
        one.program.store.write(partial(stepping._attend, one.program.intake, machines, one.now))
        assert not one.messages("alert")
        pool = _partly_taken(monkeypatch, stages[1].step)
        one.step()
        pool.shutdown()
        assert len(one.messages("alert", "jo")) == 1


def _partly_taken(monkeypatch: pytest.MonkeyPatch, meanwhile: Callable[[], object]) -> ThreadPoolExecutor:
    """The first clock gets one notice only; as it is about to tell it, another runs, until it waits or has done."""
    ready, queue = notices.ready, outbox.queue
    looks, queued = itertools.count(), itertools.count()
    pool = ThreadPoolExecutor(1)

    def partly(connection: Connection, now: Instant, most: int = 1_000, lock: bool = False) -> list[notices.Notice]:
        return ready(connection, now, most if next(looks) else 1, lock)

    def slowly(connection: Connection, message: outbox.Message) -> bool:
        if next(queued) == 0:
            wait([pool.submit(meanwhile)], timeout=1)
        return queue(connection, message)

    monkeypatch.setattr(notices, "ready", partly)
    monkeypatch.setattr(outbox, "queue", slowly)
    return pool
