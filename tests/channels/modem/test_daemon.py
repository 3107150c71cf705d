"""Through the real daemon on its dummy modem: what comes in is an entry, what goes out was encoded for the network."""

from __future__ import annotations

import asyncio
import sqlite3
import time
from pathlib import Path

import pytest

from logbook.channels.modem.parts import header
from logbook.channels.text import as_json, gsm7, read
from logbook.domain.instants import parse
from logbook.watch.routes import Again, Sent
from tests.channels.modem import tables
from tests.channels.modem.conftest import ANA, NIGHT, message
from tests.channels.modem.daemon import NotInstalledError, find_program
from tests.channels.text.conftest import make_fleet

WORKED = Path(__file__).parents[1] / "text" / "worked.tsv"
ROWS = [line.split("\t") for line in WORKED.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]

pytestmark = pytest.mark.slow


def send(route, *messages):
    return [asyncio.run(route.send(each)) for each in messages]


def test_a_text_goes_in_and_its_entry_is_there(drawer, daemon, make):
    stage = make(at=parse("2026-11-25T10:12:00Z"), routes=("mail", "text"))
    answers = []
    incoming = drawer.incoming(lambda said: answers.append(stage.program.desk.take(said)))
    daemon.receive("B7H rinsed and hoovered", ANA)
    daemon.until(incoming.once)
    assert [answer.outcome for answer in answers] == ["unknown_word"]
    daemon.receive("B7H emptied, rinsed, on charge 😀", ANA)
    daemon.until(incoming.once)
    assert [answer.outcome for answer in answers] == ["unknown_word", "saved"]
    kinds = [kind for kind, _at, _data in stage.entries("B7H")]
    assert kinds[-3:] == ["empty", "rinse", "charge"]
    assert "05:12" in (answers[1].reply or "")  # the network's stamp, at the terminal's clock
    assert drawer.left() == 0


def test_every_worked_text_arrives_as_it_was_typed(drawer, daemon):
    for row in ROWS:
        daemon.receive(row[0], ANA)
    incoming = drawer.incoming()
    daemon.until(lambda: incoming.once() < 0 or len(drawer.taken) >= len(ROWS))
    assert sorted(taken.text for taken in drawer.taken) == sorted(row[0] for row in ROWS)
    assert {taken.at for taken in drawer.taken} == {NIGHT}
    assert {taken.sender for taken in drawer.taken} == {ANA}
    assert len({taken.id for taken in drawer.taken}) == len(ROWS)
    fleet = make_fleet()
    arrived = {taken.text: as_json(read(taken.text, fleet, taken.at), "") for taken in drawer.taken}
    typed = {row[0]: as_json(read(row[0], fleet, NIGHT), "") for row in ROWS}
    assert arrived == typed
    assert sum(len(said["entries"]) for said in typed.values()) > len(ROWS) / 2


def test_parts_come_joined_in_any_order(drawer, daemon):
    long = "B7H note " + "el escurridor está roto y gotea " * 7
    assert not gsm7.is_gsm7(long)
    parts = [long[:67], long[67:134], long[134:201], long[201:]]
    for number in (3, 1, 4, 2):
        daemon.receive(parts[number - 1], ANA, header=header(0xD3, 4, number))
    incoming = drawer.incoming()
    daemon.until(incoming.once)
    assert [taken.text for taken in drawer.taken] == [long]


def test_texts_that_go_out_are_sent_once_and_whole(drawer, daemon):
    bodies = [
        "B7H 05:12 emptied, rinsed. Still owed: charge. Wrong? UNDO", "¿Qué máquina? [B7H] €", "a" * 160, "a" * 161,
        "a" * 152 + "€" * 77 + "a", "😀" * 35, "😀" * 36,
    ]  # fmt: skip
    outcomes = send(drawer.route(), *(message(body, name=f"m{n}") for n, body in enumerate(bodies)))
    assert all(isinstance(each, Sent) and each.confirms for each in outcomes)
    wanted = sum(gsm7.parts(body) for body in bodies)
    daemon.until(lambda: len(drawer.rows("sentitems")) >= wanted and not drawer.rows("outbox"))
    sent = drawer.rows("sentitems")
    for outcome, body in zip(outcomes, bodies, strict=True):
        own = sorted((row for row in sent if str(row["ID"]) == outcome.reference), key=lambda r: r["SequencePosition"])
        assert "".join(bytes.fromhex(row["Text"]).decode("utf-16-be") for row in own) == body
        assert {row["Status"] for row in own} == {"SendingOK"}
        assert {row["DestinationNumber"] for row in own} == {ANA}
        assert len(own) == gsm7.parts(body)
    # The same again, as after a crash between putting down and marking: nothing more goes out.
    assert [each.reference for each in send(drawer.route(), message(bodies[0], name="m0"))] == [outcomes[0].reference]
    assert drawer.rows("outbox") == []


def test_the_networks_word_comes_back(drawer, daemon):
    (outcome,) = send(drawer.route(), message("B7H is not on charge."))
    daemon.until(lambda: drawer.rows("sentitems"))
    daemon.report(ANA, "Delivered", 0)
    receipts = drawer.receipts()
    daemon.until(receipts.once)
    assert [(reference, arrived) for reference, arrived, _at, _detail in drawer.said] == [(outcome.reference, True)]
    assert receipts.once() == 0


def test_a_daemon_that_stopped_is_told(drawer, daemon):
    route = drawer.route(max_age=10)
    assert asyncio.run(route.trial()) is None
    daemon.stop()
    drawer.backdate("phones", 60)
    (outcome,) = send(route, message("B7H is not on charge."))
    assert isinstance(outcome, Again)
    assert outcome.route_down
    assert drawer.rows("outbox") == []


def test_the_packages_own_tables_are_those_of_these_tests():
    own = Path("/usr/share/doc/gammu-smsd/examples/sqlite.sql")
    if not own.exists():
        pytest.skip("the package's own script for SQLite is not on this machine (slim images leave out /usr/share/doc)")
    with sqlite3.connect(":memory:") as made:
        made.executescript(own.read_text())
        for table in ("gammu", "inbox", "outbox", "outbox_multipart", "phones", "sentitems"):
            found = {row[1] for row in made.execute(f"PRAGMA table_info({table})")}
            assert found == tables.columns(table), table


def test_answers_and_alerts_of_the_program_are_one_part_each(drawer, daemon, make):
    stage = make(at=parse("2026-03-02T12:00:00Z"), routes=("text",), policy={"rinse.tell": "urgent"})
    stage.tell("B8F", "put_away", who="kim")
    alerts = [each for each in (stage.until("2026-03-02T16:00:00Z"), stage.messages())[1] if each.route == "text"]
    assert alerts  # neither rinsed nor charged: its supervisor has a phone
    answers = []
    incoming = drawer.incoming(lambda said: answers.append(stage.program.desk.take(said)))
    daemon.receive("B7H emptied, rinsed", ANA, at="20260302T155900Z")
    daemon.until(incoming.once)
    bodies = [answers[0].reply, *(each.body for each in alerts)]
    outcomes = send(drawer.route(), *(message(body, name=f"m{n}") for n, body in enumerate(bodies)))
    assert all(isinstance(each, Sent) for each in outcomes)
    daemon.until(lambda: len(drawer.rows("sentitems")) >= len(bodies) and not drawer.rows("outbox"))
    sent = sorted(drawer.rows("sentitems"), key=lambda row: row["ID"])
    assert [bytes.fromhex(row["Text"]).decode("utf-16-be") for row in sent] == bodies
    assert {(row["SequencePosition"], row["UDH"]) for row in sent} == {(1, "")}
    assert {row["Coding"] for row in sent} == {"Default_No_Compression"}


def test_tables_that_we_hold_cost_the_daemon_a_moment_and_no_text(drawer, daemon):
    held = drawer.engine.connect()
    sqlite = drawer.engine.dialect.name == "sqlite"
    held.exec_driver_sql("BEGIN IMMEDIATE" if sqlite else "LOCK TABLE inbox, sentitems IN ACCESS EXCLUSIVE MODE")
    daemon.receive("B7H rinsed", ANA)
    time.sleep(2.5)
    held.rollback()
    held.close()
    (outcome,) = send(drawer.route(), message("B7H is not on charge."))
    incoming = drawer.incoming()
    daemon.until(incoming.once)
    daemon.until(lambda: drawer.rows("sentitems") and not drawer.rows("outbox"))
    assert [taken.text for taken in drawer.taken] == ["B7H rinsed"]
    assert [str(row["ID"]) for row in drawer.rows("sentitems")] == [outcome.reference]


def test_a_machine_without_the_daemon_says_what_to_install(monkeypatch):
    monkeypatch.setattr("shutil.which", lambda *asked, **more: None)
    with pytest.raises(NotInstalledError, match="apt-get install gammu-smsd"):
        find_program("sqlite")
