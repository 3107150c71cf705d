"""Texts into the outbox, and their fates out of tables that are filled by hand. Both databases."""

from __future__ import annotations

import asyncio
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from sqlalchemy import create_engine
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ProgrammingError
from sqlalchemy.pool import NullPool

from logbook.channels.modem.parts import cut, elements, header, part_of
from logbook.channels.text import gsm7
from logbook.store import BusyError
from logbook.watch.routes import Again, Hold, Refused, Sent
from tests.channels.modem.conftest import ANA, NIGHT, NOW, message


def send(drawer, body, number=ANA, name="m1", **settings):
    return asyncio.run(drawer.route(**settings).send(message(body, number, name)))


def words(row):
    return bytes.fromhex(row["Text"]).decode("utf-16-be")


def fate_of(drawer, id_, status, *, part=1, total=1, code=-1, arrived=None, name="m1", age=0):
    drawer.put(
        "sentitems", ID=id_, SequencePosition=part, Status=status, StatusError=code, DeliveryDateTime=arrived, Text="",
        UDH="" if total == 1 else header(id_, total, part), SenderID="", CreatorID=f"<{name}@ferry.example>",
    )  # fmt: skip
    if age:
        drawer.backdate("sentitems", age)


def test_an_answer_is_one_part(drawer):
    drawer.at_work()
    body = "B7H 05:12 emptied, rinsed. Still owed: charge. Wrong? UNDO"
    outcome = send(drawer, body)
    assert isinstance(outcome, Sent)
    (row,) = drawer.rows("outbox")
    assert (outcome.reference, outcome.confirms) == (str(row["ID"]), True)
    assert (row["DestinationNumber"], words(row), row["TextDecoded"]) == (ANA, body, body)
    assert (row["Coding"], row["UDH"], row["CreatorID"]) == ("Default_No_Compression", None, "<m1@ferry.example>")
    assert str(row["MultiPart"]).lower() == "false"
    assert row["DeliveryReport"] == "yes"
    # The default of SQLite is UTC, and the daemon compares by its wall clock: four hours late in Halifax.
    assert str(row["SendingDateTime"]) == str(row["SendingTimeOut"]) == "2000-01-01 00:00:00"
    assert drawer.rows("outbox_multipart") == []


@pytest.mark.parametrize(
    ("body", "parts", "coding"),
    [
        # Counts: 3GPP TS 23.038 and 23.040; as computed apart from this program.
        ("a" * 160, 1, "Default"), ("a" * 161, 2, "Default"), ("a" * 306, 2, "Default"), ("a" * 307, 3, "Default"),
        ("€" * 80, 1, "Default"), ("€" * 81, 2, "Default"), ("ç" * 70, 1, "Unicode"), ("ç" * 71, 2, "Unicode"),
        ("ç" * 134, 2, "Unicode"), ("ç" * 135, 3, "Unicode"), ("😀" * 35, 1, "Unicode"), ("😀" * 36, 2, "Unicode"),
        ("😀" * 67, 3, "Unicode"), ("a" * 152 + "€" * 77 + "a", 3, "Default"),
    ],
    ids=lambda value: f"{value[0]}x{len(value)}" if isinstance(value, str) and len(value) > 10 else None,
)  # fmt: skip
def test_parts(drawer, body, parts, coding):
    drawer.at_work()
    assert isinstance(send(drawer, body), Sent)
    (first,) = drawer.rows("outbox")
    rest = drawer.rows("outbox_multipart", "SequencePosition")
    rows = [first, *rest]
    assert len(rows) == parts == gsm7.parts(body)
    assert "".join(words(row) for row in rows) == body
    assert {row["Coding"] for row in rows} == {f"{coding}_No_Compression"}
    assert [row["SequencePosition"] for row in rest] == list(range(2, parts + 1))
    assert {row["ID"] for row in rows} == {first["ID"]}
    assert str(first["MultiPart"]).lower() == str(parts > 1).lower()
    if parts > 1:
        assert [row["UDH"] for row in rows] == [f"050003{first['ID']:02X}{parts:02X}{n + 1:02X}" for n in range(parts)]


@pytest.mark.parametrize("body", ["a" * 152 + "€" * 77 + "a", "a" + "😀" * 70, "x" * 1_000, "ñ€" * 300])
def test_each_part_can_be_read_alone_and_fits(body):
    for part in cut(body):
        if gsm7.is_gsm7(body):
            assert gsm7.length(part) <= gsm7.JOINED
        else:
            assert len(part.encode("utf-16-be")) // 2 <= gsm7.JOINED_UCS2
            part.encode("utf-16-be")  # no half of a pair
    assert "".join(cut(body)) == body


@pytest.mark.parametrize("said", ["", "05", "0500", "050003D302", "zz", "050003D30200", "050003D30203", "050003D30101"])
def test_a_header_that_cannot_be_leaves_the_text_by_itself(said):
    assert part_of(said) is None


def test_elements_of_a_header_stand_beside_each_other():
    said = "0B05040B8423F00003D30201"
    assert elements(said) == {5: bytes.fromhex("0B8423F0"), 0: bytes.fromhex("D30201")}
    found = part_of(said)
    assert found is not None
    assert (found.total, found.number) == (2, 1)


def test_the_same_message_again_is_not_put_down_again(drawer):
    drawer.at_work()
    first = send(drawer, "B7H is not on charge.")
    assert send(drawer, "B7H is not on charge.").reference == first.reference
    assert len(drawer.rows("outbox")) == 1
    # Nor when the daemon has sent it in between, and is away by now.
    with drawer.engine.begin() as connection:
        connection.exec_driver_sql("DELETE FROM outbox")
        connection.exec_driver_sql("DELETE FROM phones")
    fate_of(drawer, int(first.reference), "SendingOK")
    assert send(drawer, "B7H is not on charge.").reference == first.reference
    assert drawer.rows("outbox") == []


def test_one_that_certainly_reached_nobody_may_be_sent_again(drawer):
    drawer.at_work()
    fate_of(drawer, 900, "SendingError")
    outcome = send(drawer, "B7H is not on charge.")
    assert isinstance(outcome, Sent)
    assert outcome.reference != "900"
    assert len(drawer.rows("outbox")) == 1


def test_a_long_name_of_a_message_is_kept_short_and_found_again(drawer):
    drawer.at_work()
    name = "m" * 300  # the daemon would cut it
    assert isinstance(send(drawer, "x", name=name), Sent)
    send(drawer, "x", name=name)
    (row,) = drawer.rows("outbox")
    assert len(row["CreatorID"]) < 199


KILLED = """
import asyncio, os, signal, sys
from logbook.channels.modem import ModemSettings, TextRoute
from logbook.channels.modem.tables import Tables
from logbook.watch.routes import Outgoing, Sent
route = TextRoute(ModemSettings(tables=sys.argv[1], country="CA"))
if sys.argv[2] == "within":
    Tables.join = lambda *a, **k: os.kill(os.getpid(), signal.SIGKILL)
done = asyncio.run(route.send(Outgoing("<m1@ferry.example>", "+19025550111", "", "a" * 200, 0)))
assert isinstance(done, Sent), done
os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.parametrize(("when", "left"), [("after", 1), ("within", 0)])
def test_a_kill_before_it_is_marked_sends_once(drawer, when, left):
    drawer.at_work()
    killed = subprocess.run(
        [sys.executable, "-c", KILLED, drawer.url, when], cwd=Path(__file__).parents[3], check=False, timeout=60
    )
    assert killed.returncode == -signal.SIGKILL
    assert len(drawer.rows("outbox")) == left
    assert isinstance(send(drawer, "a" * 200), Sent)
    assert len(drawer.rows("outbox")) == 1
    assert len(drawer.rows("outbox_multipart")) == 1


def test_a_daemon_that_is_away_or_never_was(drawer):
    never = send(drawer, "x")
    assert isinstance(never, Again)
    assert never.route_down
    drawer.at_work(age=301)
    away = send(drawer, "x", max_age=300)
    assert isinstance(away, Again)
    assert away.route_down
    assert "has not touched its tables for 30" in away.reason
    assert isinstance(send(drawer, "x", max_age=400), Sent)


def test_a_daemon_whose_clock_is_ahead_does_not_look_alive_for_ever(drawer):
    drawer.at_work(age=-14_400)
    outcome = send(drawer, "x")
    assert isinstance(outcome, Again)
    assert "ahead" in outcome.reason


def test_a_daemon_that_must_not_send_holds_the_route(drawer):
    drawer.at_work(sends=False)
    assert isinstance(send(drawer, "x"), Hold)
    assert isinstance(asyncio.run(drawer.route().trial()), Hold)


def test_tables_that_are_not_there_hold_the_route(drawer):
    with drawer.engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE outbox RENAME TO elsewhere")
    try:
        assert isinstance(send(drawer, "x"), Hold)
    finally:
        with drawer.engine.begin() as connection:
            connection.exec_driver_sql("ALTER TABLE elsewhere RENAME TO outbox")


def test_a_database_that_is_not_there_is_a_route_that_is_down(drawer, tmp_path):
    outcome = send(drawer, "x", tables=f"sqlite:///{tmp_path / 'gone.sqlite'}")
    assert isinstance(outcome, Again)
    assert outcome.route_down
    outcome = send(drawer, "x", tables=f"postgresql://nobody@/gone?host={tmp_path}")
    assert isinstance(outcome, Again)
    assert outcome.route_down


@pytest.mark.parametrize("number", ["CARRIER", "2255", "", "+1", "'; DROP TABLE outbox; --"])
def test_what_is_no_number_is_refused(drawer, number):
    drawer.at_work()
    assert isinstance(send(drawer, "x", number), Refused)
    assert drawer.rows("outbox") == []


def test_a_text_of_more_parts_than_the_daemon_takes_is_refused(drawer):
    drawer.at_work()
    assert isinstance(send(drawer, "a" * (153 * 50)), Sent)
    assert isinstance(send(drawer, "a" * (153 * 50 + 1), name="m2"), Refused)


@pytest.mark.parametrize(
    ("status", "code", "arrived", "detail"),
    [
        ("DeliveryOK", 0, True, "the network says that it arrived"),
        ("DeliveryFailed", 69, False, "the network gave up on it (TP-Status 69)"),
        ("SendingError", -1, False, "the modem could not send it (SendingError)"),
        ("Error", -1, False, "the modem could not send it (Error)"),
    ],
)
def test_a_fate_is_told_once(drawer, status, code, arrived, detail):
    fate_of(drawer, 7, status, code=code, arrived="2026-11-25 05:12:00" if status == "DeliveryOK" else None)
    receipts = drawer.receipts()
    assert receipts.once() == 1
    ((reference, said, at, why),) = drawer.said
    assert (reference, said) == ("7", arrived)
    assert why.startswith(detail)
    assert at == NIGHT if arrived else NOW - 3_000_000 <= at <= NOW
    assert receipts.once() == 0
    receipts.say_again("7")
    assert receipts.once() == 1


@pytest.mark.parametrize("status", ["SendingOK", "SendingOKNoReport", "DeliveryPending", "DeliveryUnknown"])
def test_what_nobody_knows_is_not_told(drawer, status):
    fate_of(drawer, 7, status)
    assert drawer.receipts().once() == 0


def test_a_long_text_arrived_when_every_part_did(drawer):
    fate_of(drawer, 7, "DeliveryOK", part=1, total=2)
    receipts = drawer.receipts()
    assert receipts.once() == 0  # the second part is not even sent
    fate_of(drawer, 7, "SendingOK", part=2, total=2)
    assert receipts.once() == 0
    with drawer.engine.begin() as connection:
        connection.exec_driver_sql("""UPDATE sentitems SET "Status" = 'DeliveryOK'""")
    assert receipts.once() == 1
    assert drawer.said[0][1] is True


def test_a_part_that_failed_fails_the_text(drawer):
    fate_of(drawer, 7, "DeliveryOK", part=1, total=2)
    fate_of(drawer, 7, "SendingError", part=2, total=2)
    assert drawer.receipts().once() == 1
    assert drawer.said[0][1] is False
    assert drawer.said[0][3].startswith("part 2 of it")


def test_a_word_that_comes_at_once_is_kept_back_for_a_moment(drawer):
    fate_of(drawer, 7, "DeliveryOK")
    assert drawer.receipts(settle=5).once() == 0
    drawer.backdate("sentitems", 6)
    assert drawer.receipts(settle=5).once() == 1


def test_others_messages_and_old_ones_are_not_ours_to_tell(drawer):
    drawer.put("sentitems", ID=1, Status="DeliveryOK", Text="", UDH="", SenderID="", CreatorID="somebody")
    fate_of(drawer, 2, "DeliveryOK", age=8 * 86_400)
    assert drawer.receipts().once() == 0


def test_a_word_that_could_not_be_kept_is_said_again(drawer):
    fate_of(drawer, 7, "DeliveryOK")
    receipts = drawer.receipts()
    receipts._receipt = lambda *said: (_ for _ in ()).throw(BusyError("busy"))
    assert receipts.once() == 0
    receipts._receipt = lambda *said: drawer.said.append(said)
    assert receipts.once() == 1


def test_without_reports_nobody_promises_a_word(drawer):
    drawer.at_work()
    outcome = send(drawer, "x", reports=False)
    assert isinstance(outcome, Sent)
    assert outcome.confirms is False
    assert drawer.rows("outbox")[0]["DeliveryReport"] == "no"


def test_the_rights_that_the_page_grants_are_enough_and_no_more(drawer):
    """Every GRANT of deploy/modem.md, to an account that has nothing else."""
    if drawer.engine.dialect.name != "postgresql":
        return  # SQLite knows files, not rights
    page = (Path(__file__).parents[3] / "deploy" / "modem.md").read_text(encoding="utf-8")
    grants = re.findall(r"-c '(GRANT [^']+) TO logbook'", page)
    assert len(grants) == 5
    url = make_url(drawer.url)
    account = f"least_{url.database}"
    with drawer.engine.begin() as connection:
        connection.exec_driver_sql(f"CREATE ROLE {account} LOGIN")
        for grant in grants:
            connection.exec_driver_sql(f"{grant} TO {account}")
    try:
        least = url.set(username=account)
        drawer.at_work()
        drawer.arrive("B7H rinsed")
        fate_of(drawer, 900, "DeliveryOK", name="m0")
        settings = {"tables": least.render_as_string(hide_password=False).replace("+psycopg", "")}
        assert drawer.incoming(**settings).once() == 1
        assert drawer.left() == 0
        assert isinstance(send(drawer, "a" * 200, **settings), Sent)
        assert asyncio.run(drawer.route(**settings).trial()) is None
        receipts = drawer.receipts()
        receipts._tables = type(receipts._tables)(drawer.settings(**settings))
        assert receipts.once() == 1
        engine = create_engine(least, poolclass=NullPool)
        for forbidden in ("DELETE FROM inbox", """UPDATE inbox SET "Text" = ''""", "DELETE FROM outbox"):
            with pytest.raises(ProgrammingError, match="permission denied"), engine.begin() as connection:
                connection.exec_driver_sql(forbidden)
    finally:
        with drawer.engine.begin() as connection:
            connection.exec_driver_sql(f"DROP OWNED BY {account}")
            connection.exec_driver_sql(f"DROP ROLE {account}")
