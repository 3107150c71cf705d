"""Who is told when a message reaches nobody, and by which other way a person is tried."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from logbook.bootstrap import Program, program
from logbook.domain.fleetfile import read
from logbook.domain.instants import parse
from logbook.intake.fleet import apply
from logbook.store import migrate, outbox
from logbook.watch.reach import People
from logbook.watch.trouble import ABOUT_TROUBLE, Trouble

NOW = parse("2026-03-09T12:00:00Z")
FLEET = """
[fleet]
name = "Strait Ferries"
origin = "ferry.example/reach"
language = "en"
[[site]]
code = "north-slip"
name = "North Slip"
zone = "America/Halifax"
[[person]]
key = "jo"
name = "Jo Marsh"
role = "supervisor"
sites = ["north-slip"]
phone = "+1 902 555 0141"
email = "jo@ferry.example"
[[person]]
key = "rosa"
role = "owner"
language = "es"
email = "rosa@ferry.example"
"""


@pytest.fixture
def logbook(tmp_path: Path) -> Iterator[Program]:
    url = f"sqlite:///{tmp_path / 'reach.sqlite'}"
    migrate.upgrade(url)
    running = program(url, now=lambda: NOW)
    apply(running.intake, read(FLEET))
    yield running
    running.close()


def message(logbook: Program, route: str, address: str, key: str = "jo") -> outbox.Message:
    with logbook.store.read() as connection:
        person = logbook.registry.current(connection).person_by_key(key)
    assert person is not None
    return outbox.Message(
        id="11111111-1111-4111-8111-111111111111", message_id="<1@ferry.example>", person=person.uuid, route=route,
        address=address, kind="alert", subject="s", body="b", queued_at=NOW, ready_at=NOW, attempts=4,
    )  # fmt: skip


def test_the_next_way_is_another_one_that_can_be_sent_by(logbook: Program) -> None:
    people = People(logbook.intake, frozenset({"mail", "text"}))
    refused = message(logbook, "text", "+19025550141")
    with logbook.store.read() as connection:
        other = people.next_way(connection, refused)
    assert other is not None
    assert (other.route, other.address, other.follows, other.attempts) == ("mail", "jo@ferry.example", refused.id, 0)
    assert other.message_id != refused.message_id


def test_the_same_by_the_same_way_is_the_same_message(logbook: Program) -> None:
    """However often it is asked for: what a carrier says late, or twice, makes no second message."""
    people = People(logbook.intake, frozenset({"mail", "text"}))
    with logbook.store.read() as connection:
        first = people.next_way(connection, message(logbook, "text", "+19025550141"))
        second = people.next_way(connection, message(logbook, "text", "+19025550141"))
        back = people.next_way(connection, message(logbook, "mail", "jo@ferry.example"))
    assert first is not None
    assert first == second
    assert back is not None
    assert back.id != first.id


def test_there_is_no_next_way_where_nothing_else_can_be_sent_by(logbook: Program) -> None:
    people = People(logbook.intake, frozenset({"mail"}))
    with logbook.store.read() as connection:
        assert people.next_way(connection, message(logbook, "mail", "jo@ferry.example")) is None


def test_the_owner_is_told_in_their_language_of_a_role_and_never_of_a_name(logbook: Program) -> None:
    people = People(logbook.intake, frozenset({"mail"}))
    trouble = Trouble("failed", "mail", "550 no such mailbox", NOW, message(logbook, "mail", "jo@ferry.example"))
    with logbook.store.read() as connection:
        (told,) = people.tell_owner(connection, trouble)
    assert (told.address, told.kind) == ("rosa@ferry.example", ABOUT_TROUBLE)
    assert "supervisión" in told.body
    assert "550 no such mailbox" in told.body
    assert "Jo" not in told.body + told.subject
    assert told.subject == "Un mensaje no llegó a nadie"


def test_an_owner_is_not_told_of_a_held_way_by_that_way(logbook: Program) -> None:
    people = People(logbook.intake, frozenset({"mail"}))
    with logbook.store.read() as connection:
        assert list(people.tell_owner(connection, Trouble("held", "mail", "535 bad login", NOW))) == []


def test_nobody_is_told_that_they_themselves_cannot_be_reached(logbook: Program) -> None:
    people = People(logbook.intake, frozenset({"mail"}))
    trouble = Trouble("failed", "mail", "550", NOW, message(logbook, "mail", "rosa@ferry.example", key="rosa"))
    with logbook.store.read() as connection:
        assert list(people.tell_owner(connection, trouble)) == []


def test_a_mail_that_goes_by_text_instead_says_what_it_said_first(logbook: Program) -> None:
    people = People(logbook.intake, frozenset({"mail", "text"}))
    refused = message(logbook, "mail", "jo@ferry.example")
    with logbook.store.read() as connection:
        other = people.next_way(connection, replace(refused, subject="B7H, Muelle Ñandú: tanque " * 9, body="b" * 900))
    assert other is not None
    assert other.route == "text"
    assert other.body.startswith("B7H, Muelle Ñandu: tanque")
    assert len(other.body) <= 160
