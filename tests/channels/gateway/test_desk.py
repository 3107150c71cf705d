"""From a gateway's post to entries in the log: with the real desk, on a real database."""

from __future__ import annotations

import asyncio
import sqlite3
import threading
from collections import Counter
from typing import Any

import msgspec
import pytest

from logbook.channels.gateway.incoming import make_app
from logbook.domain.instants import HOUR, MINUTE
from logbook.domain.instants import text as instant_text
from logbook.store import heard, log, migrate, tables
from tests.channels.gateway.playing import NOW, burst, post_of, poster, raw, serving, settings, signed
from tests.channels.text.test_worked import ROWS, _expected
from tests.whole.stage import Stage

CODES = ("B7H", "C4J", "C5H", "B8F")


class _Form(msgspec.Struct):
    kind: str
    data: dict[str, Any]
    private: dict[str, str]
    channel: str


def _fleet(people: int) -> dict[str, Any]:
    return {
        "machine": [
            {"code": code, "site": "HX", "battery": "flooded", "commissioned_at": "2026-03-01T12:00:00Z"}
            for code in CODES
        ],
        "person": [
            {"key": f"c{n}", "name": f"Cleaner {n}", "role": "cleaner", "phone": number(n), "sites": ["HX"]}
            for n in range(people)
        ],
    }


def number(n: int) -> str:
    return f"+1{902 + n // 100}55501{n % 100:02d}"


@pytest.fixture
def stage(make: Any) -> Stage:
    made: Stage = make(**_fleet(len(ROWS)))
    made.now = NOW
    return made


def _found(stage: Stage, ids: tuple[str, ...]) -> list[tuple[str, str, int, dict[str, Any]]]:
    """(plate, kind, when, data) of entries, private words only as a promise that there are some."""
    codes = {stage.machine(code): code for code in CODES}

    def look(connection: Any) -> list[tuple[str, str, int, dict[str, Any]]]:
        found = []
        for id in ids:
            row = log.find(connection, id)
            assert row is not None
            form = msgspec.json.decode(row.bytes, type=_Form)
            assert form.channel == "gateway"
            data = {**form.data, **dict.fromkeys(form.private, ...)}
            found.append((codes.get(row.machine, "fleet"), row.kind, row.occurred_at, data))
        return found

    return stage.read(look)


def _heard(stage: Stage, id: str) -> heard.Heard:
    found = stage.read(lambda connection: heard.find(connection, id))
    assert found is not None
    return found


def _entries(stage: Stage, code: str) -> int:
    return len(stage.entries(code))


def test_every_worked_text_comes_to_the_same_by_a_gateway(stage):
    with serving(make_app(settings(), stage.program.desk.take, now=lambda: stage.now)) as port, poster(port) as post:
        for n, row in enumerate(ROWS):
            body = post_of(f"w{n}", number(n), row[0], received_at=instant_text(NOW))
            assert post(body).status_code == 200, row
    recorded = 0
    for n, row in enumerate(ROWS):
        text, entries, other = [*row, "", ""][:3]
        kept = _heard(stage, f"gateway:w{n}")
        assert (kept.text, kept.sender, kept.received_at) == (text, number(n), NOW)
        if entries:
            assert (kept.outcome, _found(stage, kept.entries)) == ("saved", _expected(entries)), text
        elif other.startswith("control "):
            # What they ask for is the desk's to give: nothing was there to be struck, seen or answered for.
            wanted = other.removeprefix("control ")
            assert kept.outcome in (wanted, *CONTROLS_IN_VAIN.get(wanted, ())), text
            assert all(place[0] == "fleet" for place in _found(stage, kept.entries))
        else:
            assert (kept.outcome, kept.entries) == (other, ()), text
        recorded += sum(place[0] != "fleet" for place in _found(stage, kept.entries))
    # `commissioned` is each log's own; all else came from these texts.
    assert sum(_entries(stage, code) - 1 for code in CODES) == recorded
    assert recorded == sum(len(_expected(row[1])) for row in ROWS if len(row) > 1 and row[1]) > 50


CONTROLS_IN_VAIN = {
    "undo": ("nothing_to_undo",), "seen": ("no_alert",), "accept": ("nobody_waiting",), "set_aside": ("nobody_waiting",),
}  # fmt: skip


def test_a_text_is_kept_and_its_answer_too(stage):
    with serving(make_app(settings(), stage.program.desk.take, now=lambda: stage.now)) as port, poster(port) as post:
        assert post(post_of("m1", number(0), "b7h rinsed at 0430")).status_code == 200
        assert post(post_of("m2", "+19025550199", "B7H rinse")).status_code == 200
    kept = _heard(stage, "gateway:m1")
    assert _found(stage, kept.entries) == [("B7H", "rinse", NOW - 42 * MINUTE, {})]
    assert (kept.channel, kept.outcome) == ("gateway", "saved")
    assert kept.reply is not None
    assert kept.reply.startswith("B7H 04:30 rinsed")
    # A number that is nobody's is written down too, and answered by the desk as it sees fit.
    assert (_heard(stage, "gateway:m2").outcome, _heard(stage, "gateway:m2").entries) == ("unknown_sender", ())


def test_the_same_text_fifty_times_at_once_is_one_entry(stage):
    body = post_of("storm", number(0), "B7H rinse, charge")
    with serving(make_app(settings(), stage.program.desk.take, now=lambda: stage.now)) as port:
        answered = asyncio.run(burst(port, [raw(body, signed(body))] * 50, 50))
        assert answered == [200] * 50
        assert asyncio.run(burst(port, [raw(body, signed(body))], 1)) == [200]
    kept = _heard(stage, "gateway:storm")
    assert (kept.outcome, len(kept.entries)) == ("saved", 2)
    assert _entries(stage, "B7H") == 3
    assert stage.read(lambda connection: len(heard.latest(connection, None, 99))) == 1
    assert len([message for message in stage.messages() if message.address == number(0)]) <= 1


@pytest.mark.parametrize("database", ["sqlite", "postgres"])
def test_the_same_text_at_two_processes_at_once_is_one_entry(make, request, database):
    """The gateway tries again at the other web process while the first is still at it. (Here: two programs.)"""
    url = request.getfixturevalue("postgres_url") if database == "postgres" else None
    if url is not None:
        migrate.upgrade(url)
    one: Stage = make(url=url, **_fleet(4))
    other: Stage = make(url=one.program.store.url.render_as_string(hide_password=False), apply=False)
    one.now = other.now = NOW
    bodies = [post_of(f"both{n}", number(n), "B7H rinse, charge") for n in range(4)]

    async def both(ports: tuple[int, int]) -> list[int]:
        requests = [raw(body, signed(body)) for body in bodies] * 8
        answered = await asyncio.gather(*(burst(port, requests, 16) for port in ports))
        return [status for some in answered for status in some]

    with (
        serving(make_app(settings(), one.program.desk.take, now=lambda: NOW)) as first,
        serving(make_app(settings(), other.program.desk.take, now=lambda: NOW)) as second,
    ):
        assert asyncio.run(both((first, second))) == [200] * 64
    kept = [_heard(one, f"gateway:both{n}") for n in range(4)]
    assert {(row.outcome, len(row.entries)) for row in kept} == {("saved", 2)}
    assert _entries(one, "B7H") == 9
    assert one.read(lambda connection: len(heard.latest(connection, None, 99))) == 4


def test_a_stamp_that_cannot_be_is_not_the_time_of_an_entry(stage):
    with serving(make_app(settings(), stage.program.desk.take, now=lambda: stage.now)) as port, poster(port) as post:
        post(post_of("m1", number(0), "B7H rinse", received_at=instant_text(NOW - 4 * HOUR)))
        post(post_of("m2", number(1), "C4J rinse", received_at=instant_text(NOW - 2 * MINUTE)))
    assert _found(stage, _heard(stage, "gateway:m1").entries)[0][2] == NOW
    assert _found(stage, _heard(stage, "gateway:m2").entries)[0][2] == NOW - 2 * MINUTE


def test_a_locked_database_is_waited_for_by_the_gateway(stage, monkeypatch):
    path = stage.program.store.url.database
    assert path is not None
    stage.program.store._writer._connection.connection.dbapi_connection.execute("PRAGMA busy_timeout = 50")
    body = post_of("m1", number(0), "B7H rinse")
    with serving(make_app(settings(), stage.program.desk.take, now=lambda: stage.now)) as port, poster(port) as post:
        other = sqlite3.connect(path, isolation_level=None)
        try:
            other.execute("BEGIN IMMEDIATE")
            answered = post(body)
            assert (answered.status_code, answered.headers["retry-after"]) == (503, "30")
            other.execute("ROLLBACK")
        finally:
            other.close()
        assert _entries(stage, "B7H") == 1
        assert post(body).status_code == 200
    assert _entries(stage, "B7H") == 2


def test_a_closed_logbook_answers_that_nothing_was_kept(stage):
    with serving(make_app(settings(), stage.program.desk.take, now=lambda: stage.now)) as port, poster(port) as post:
        stage.program.store._writer.close()
        assert post(post_of("m1", number(0), "B7H rinse")).status_code in (500, 503)


@pytest.mark.slow
def test_ten_thousand_texts_in_a_burst_are_each_kept_once(make):
    """Sixty-four connections, a hundred senders, every tenth text sent twice; who is told to come again does."""
    stage: Stage = make(**_fleet(100))
    stage.now = NOW
    bodies = [
        post_of(f"b{n}", number(n % 100), f"{CODES[n % 4]} note {n // 100}", received_at=instant_text(NOW))
        for n in range(10_000)
    ]
    requests = [raw(body, signed(body)) for body in bodies]
    requests += requests[::10]
    with serving(make_app(settings(), stage.program.desk.take, now=lambda: stage.now)) as port:
        answered = Counter(asyncio.run(burst(port, requests, 64)))
    assert answered == {200: 11_000}
    count = stage.read(lambda c: c.execute(tables.heard.select()).all())
    assert Counter(row.outcome for row in count) == {"saved": 10_000}
    assert sum(_entries(stage, code) - 1 for code in CODES) == 10_000
    assert threading.active_count() < 10
