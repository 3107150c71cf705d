"""Who is let in, by whom, and what becomes of a text whose sender nobody knows."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from logbook.channels.desk import Answer, Desk, Message
from logbook.domain import door
from logbook.domain.instants import DAY, Instant
from logbook.intake import PROGRAM, Draft
from logbook.store import heard, log, outbox
from tests.whole.stage import START, Stage

Make = Callable[..., Stage]
ANA, LEE, KIM, NEW = "+19025550111", "+19025550131", "+17095550112", "+19025550177"
PEOPLE: list[dict[str, Any]] = [
    {"key": "ana", "role": "cleaner", "phone": ANA, "email": "ana@ferry.example", "sites": ["HX"]},
    {"key": "lee", "role": "supervisor", "phone": LEE, "email": "lee@ferry.example", "sites": ["HX"]},
    {"key": "kim", "role": "supervisor", "phone": KIM, "sites": ["SJ"]},
]


@pytest.fixture
def one(make: Make) -> Stage:
    made = make(person=PEOPLE)
    with made.program.store.read() as connection:
        fleet = made.program.registry.fleet(connection)
    made.program.intake.record([Draft(made.ids(), fleet, "join_word", {"site": "HX", "word": "gannet"})], PROGRAM)
    made.program.desk = Desk(made.program.intake, {"gateway": "text", "mail": "mail"})
    return made


def say(
    one: Stage, text: str, sender: str, *, id: str | None = None, way: str = "gateway", at: Instant | None = None
) -> Answer:
    one.now = one.now if at is None else at
    return one.program.desk.take(Message(id or one.ids(), way, sender, text, one.now))


def outgoing(one: Stage) -> list[outbox.Message]:
    found: list[outbox.Message] = one.read(lambda c: outbox.latest(c, 1000))
    return sorted(found, key=lambda each: (each.queued_at, each.kind, each.address))


def state(one: Stage, phone: str) -> str | None:
    person = one.register.person_by_phone(phone)
    return None if person is None else person.state


def test_an_answer_is_queued_with_its_text_and_once(one: Stage) -> None:
    first = say(one, "B7H rinsed", ANA, id="g-1")
    again = say(one, "B7H rinsed", ANA, id="g-1")
    assert first.reply == again.reply
    (sent,) = outgoing(one)
    assert (sent.kind, sent.route, sent.address, sent.body) == ("answer", "text", ANA, first.reply)


def test_a_mail_is_answered_by_mail_with_its_first_words_as_subject(one: Stage) -> None:
    assert say(one, "B7H rinsed", "Ana@Ferry.example", way="mail").outcome == "saved"
    (sent,) = outgoing(one)
    assert (sent.route, sent.address, sent.subject) == ("mail", "Ana@Ferry.example", "Re: B7H rinsed")


def test_a_stranger_is_kept_whole_and_answered_once(one: Stage) -> None:
    first = say(one, "B7H rinsed", NEW, id="g-1")
    second = say(one, "B7H charged", NEW, id="g-2")
    assert (first.outcome, second.outcome) == ("unknown_sender", "unknown_sender")
    assert first.reply is not None
    assert second.reply is None
    assert one.read(lambda c: heard.find(c, "g-2")).text == "B7H charged"
    assert one.entries("B7H", "rinse", "charge") == []
    assert [each.kind for each in outgoing(one)] == ["answer"]


def test_the_word_on_the_plate_lets_somebody_in_and_their_supervisor_is_asked(one: Stage) -> None:
    assert say(one, "join GANNET Rosa Lima", NEW).outcome == "join"
    assert state(one, NEW) == "unconfirmed"
    assert say(one, "B7H rinsed", NEW).outcome == "saved"
    asked = [each for each in outgoing(one) if each.kind == "waiting"]
    assert [each.address for each in asked] == [LEE]
    assert "Rosa Lima (...0177)" in asked[0].body
    assert say(one, "ok 0177", LEE).outcome == "accept"
    assert state(one, NEW) == "member"


def test_a_no_sets_them_aside_and_what_they_send_then_is_kept_aside(one: Stage) -> None:
    say(one, "entrar gannet Luz", NEW)
    assert one.register.person_by_phone(NEW).language == "es"
    assert say(one, "no 0177", LEE).outcome == "set_aside"
    assert state(one, NEW) == "set_aside"
    assert say(one, "B7H rinsed", NEW).outcome == "unknown_sender"


def test_a_wrong_word_lets_nobody_in(one: Stage) -> None:
    answer = say(one, "join puffin Rosa", NEW)
    assert answer.outcome == "wrong_word"
    assert state(one, NEW) is None
    assert say(one, "B7H rinsed", NEW).outcome == "unknown_sender"


def test_only_a_supervisor_of_their_site_may_say_yes(one: Stage) -> None:
    say(one, "join gannet Rosa", NEW)
    assert say(one, "ok 0177", KIM).outcome == "not_allowed"
    assert say(one, "ok 0177", ANA).outcome == "not_allowed"
    assert state(one, NEW) == "unconfirmed"


def test_joining_twice_or_from_a_lost_answer_makes_one_person(one: Stage) -> None:
    say(one, "join gannet Rosa", NEW, id="g-1")
    say(one, "join gannet Rosa", NEW, id="g-1")
    assert say(one, "join gannet Rosa", NEW, id="g-2").outcome == "known_already"
    assert sum(person.phone == NEW for person in one.register.people.values()) == 1


def test_a_text_kept_aside_is_taken_as_somebodys_at_its_own_time(one: Stage) -> None:
    say(one, "B7H rinsed", NEW, id="g-1", at=START + 1)
    came = one.now
    one.now = START + DAY
    ana = one.register.person_by_key("ana")
    taken = one.program.desk.take_as("g-1", ana)
    assert taken is not None
    assert taken.outcome == "saved"
    rows = one.read(lambda c: [row for row in log.by_seq(c, one.machine("B7H")) if row.kind == "rinse"])
    assert [(row.occurred_at, row.recorded_at) for row in rows] == [(came, START + DAY)]
    assert one.program.desk.take_as("g-1", ana) is None
    assert one.read(lambda c: heard.find(c, "g-1")).outcome == "saved"


def test_a_text_kept_aside_that_cannot_be_recorded_goes_on_waiting(one: Stage) -> None:
    say(one, "B7H frobbed", NEW, id="g-1")
    taken = one.program.desk.take_as("g-1", one.register.person_by_key("ana"))
    assert taken is not None
    assert taken.outcome == "unknown_word"
    assert one.read(lambda c: heard.find(c, "g-1")).outcome == "unknown_sender"


def test_what_is_set_aside_waits_for_nobody(one: Stage) -> None:
    say(one, "B7H rinsed", NEW, id="g-1")
    assert one.program.desk.put_aside("g-1")
    assert not one.program.desk.put_aside("g-1")
    assert one.program.desk.take_as("g-1", one.register.person_by_key("ana")) is None


def test_opting_out_of_one_way_leaves_the_other(one: Stage) -> None:
    assert say(one, "STOP", LEE).outcome == "opt_out"
    lee = one.register.person_by_key("lee")
    assert lee.opted_out == {"text"}
    assert say(one, "owed B7H", "lee@ferry.example", way="mail").reply is not None


def test_a_refusal_of_the_door_is_a_sentence_and_the_text_is_kept(one: Stage) -> None:
    answer = say(one, "seen 7", LEE, id="g-1")
    assert answer.outcome == "no_alert"
    assert one.read(lambda c: heard.find(c, "g-1")).reply == answer.reply
    with pytest.raises(door.Refused):
        one.program.desk._orders.seen(
            Message("x", "gateway", LEE, "", START), 7, one.register.person_by_key("lee"), one.register
        )


def test_what_was_forged_in_somebodys_name_does_not_silence_them(one: Stage) -> None:
    for number in range(10):
        one.program.desk.keep_aside(
            Message(f"f-{number}", "mail", "ana@ferry.example", "B7H rinsed", one.now), "forged"
        )
    assert say(one, "B7H rinsed", "ana@ferry.example", way="mail").reply is not None
    assert [each.kind for each in outgoing(one)] == ["answer"]


def test_new_segments_need_the_senders_own_word_where_policy_says_so(make: Make) -> None:
    people = [{**PEOPLE[0], "word": "puffin"}, *PEOPLE[1:]]
    one = make(person=people, policy={"personal_word": True})
    assert say(one, "B7H new segments", ANA).outcome == "needs_word"
    assert say(one, "B7H rinsed", ANA).outcome == "saved"
    assert say(one, "B7H new segments PUFFIN", ANA, id="w-1").outcome == "saved"
    assert say(one, "B7H new segments PUFFIN", ANA, id="w-1").repeated
    assert [kind for kind, _at, _data in one.entries("B7H", "segment_change")] == ["segment_change"]
    # Not even in what is kept of the text.
    assert "puffin" not in one.read(lambda c: heard.find(c, "w-1")).text.lower()


def test_without_that_policy_no_word_is_asked_for(one: Stage) -> None:
    assert say(one, "B7H new segments", ANA).outcome == "saved"
