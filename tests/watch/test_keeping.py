"""Private words are kept as long as policy says, and the log verifies without them."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Connection

from logbook.bootstrap import Program, program
from logbook.channels.desk import Message
from logbook.domain.fleetfile import read
from logbook.domain.instants import DAY, Instant, parse
from logbook.evidence.audit import audit
from logbook.intake import By, Draft
from logbook.intake.fleet import apply
from logbook.store import heard, log, migrate, outbox, words

START = parse("2026-01-10T12:00:00Z")
FLEET = """
[fleet]
name = "Strait Ferries"
origin = "ferry.example/keeping"
language = "en"
[[site]]
code = "north-slip"
name = "North Slip"
zone = "America/Halifax"
[[machine]]
code = "B7H"
site = "north-slip"
battery = "flooded"
commissioned_at = "2026-01-10T08:00:00Z"
[[person]]
key = "ana"
name = "Ana Reyes"
role = "cleaner"
sites = ["north-slip"]
phone = "+1 902 555 0150"
[[person]]
key = "jo"
role = "supervisor"
sites = ["north-slip"]
email = "jo@ferry.example"
"""


class Clock:
    now: Instant = START


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def logbook(tmp_path: Path, clock: Clock) -> Iterator[Program]:
    url = f"sqlite:///{tmp_path / 'keeping.sqlite'}"
    migrate.upgrade(url)
    running = program(url, now=lambda: clock.now)
    apply(running.intake, read(FLEET))
    yield running
    running.close()


def say(logbook: Program, clock: Clock, text: str) -> None:
    logbook.desk.take(Message(str(uuid.uuid4()), "text", "+19025550150", text, clock.now))


def kept(logbook: Program) -> tuple[int, int, list[bytes]]:
    with logbook.store.read() as connection:
        machine = logbook.registry.current(connection).by_code["B7H"].uuid
        notes = [word.content for word in words.of_machine(connection, machine)]
        return len(heard.latest(connection)), len(outbox.latest(connection)), notes


def deliver(connection: Connection, now: Instant) -> None:
    for message in outbox.claim(connection, now, "test", 100, ["mail", "text"], until=now + DAY):
        outbox.sent(connection, message, now)


def test_texts_go_after_their_days_and_remarks_after_theirs(logbook: Program, clock: Clock) -> None:
    say(logbook, clock, "B7H squeegee hose leaks")
    logbook.step()
    assert kept(logbook)[0] == 1
    assert kept(logbook)[2] == [b"squeegee hose leaks"]
    clock.now = START + 89 * DAY
    logbook.step()
    assert kept(logbook)[0] == 1
    clock.now = START + 91 * DAY
    logbook.step()
    assert kept(logbook)[0] == 0
    assert kept(logbook)[2] == [b"squeegee hose leaks"]
    clock.now = START + 731 * DAY
    logbook.step()
    assert kept(logbook)[2] == []
    with logbook.store.read() as connection:
        verdict = audit(log.every(connection), log.logs(connection), words.every(connection))
        person = logbook.registry.current(connection).person_by_key("ana")
    assert verdict.whole
    assert person is not None
    assert person.name == "Ana Reyes"


def photograph(logbook: Program, of: str) -> str:
    machine = logbook.registry.current
    with logbook.store.read() as connection:
        uuid_ = machine(connection).by_code["B7H"].uuid
        person = machine(connection).person_by_key("ana")
    assert person is not None
    id_ = str(uuid.uuid4())
    picture = Draft(id_, uuid_, "photo", {"entry": of, "image": "/9j/" + "A" * 400})
    logbook.intake.record([picture], By(person.uuid, "cleaner", "form"))
    return id_


@pytest.mark.parametrize(
    ("policy", "kept_days", "gone_days"),
    [
        ("", 364, 366),
        ('[policy]\nkeep_photographs = "P30D"', 29, 31),
        ('[policy]\nkeep_photographs = "P1000D"', 999, 1001),
    ],
)
def test_photographs_have_a_time_of_their_own(
    tmp_path: Path, clock: Clock, policy: str, kept_days: int, gone_days: int
) -> None:
    url = f"sqlite:///{tmp_path / 'photographs.sqlite'}"
    migrate.upgrade(url)
    running = program(url, now=lambda: clock.now)
    try:
        apply(running.intake, read(policy + FLEET))
        say(running, clock, "B7H squeegee hose leaks")
        with running.store.read() as connection:
            machine = running.registry.current(connection).by_code["B7H"].uuid
            fault = next(row.id for row in log.by_seq(connection, machine) if row.kind == "fault")
        photograph(running, fault)
        for days, there in ((kept_days, True), (gone_days, False)):
            clock.now = START + days * DAY
            running.step()
            assert (("/9j/" + "A" * 400).encode() in kept(running)[2]) is there, days
            # The remark has its own time, whichever of the two is longer.
            assert (b"squeegee hose leaks" in kept(running)[2]) is (days < 730), days
        with running.store.read() as connection:
            verdict = audit(log.every(connection), log.logs(connection), words.every(connection))
        assert verdict.whole
    finally:
        running.close()


def test_what_still_waits_to_be_sent_is_not_erased(logbook: Program, clock: Clock) -> None:
    say(logbook, clock, "B7H squeegee hose leaks")
    clock.now = START + DAY
    logbook.step()
    waiting = kept(logbook)[1]
    assert waiting > 0
    clock.now = START + 200 * DAY
    logbook.step()
    assert kept(logbook)[1] >= waiting


def test_nothing_of_it_is_left_in_the_file(logbook: Program, clock: Clock, tmp_path: Path) -> None:
    say(logbook, clock, "B7H gannetword squeegee hose leaks")
    for days in (0, 1, 2, 800):
        clock.now = START + days * DAY
        logbook.step()
        logbook.store.write(lambda connection: deliver(connection, clock.now))
    clock.now += 100 * DAY
    logbook.step()
    for file in tmp_path.iterdir():
        assert b"gannetword" not in file.read_bytes(), file.name
