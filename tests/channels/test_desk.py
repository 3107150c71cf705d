"""The desk: what becomes of one text, and that it becomes of it once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from logbook.channels.desk import FLOOD, Answer, Message
from logbook.channels.text.sorry import CODES, sentence, sorry
from logbook.domain.instants import DAY, HOUR, MINUTE, SECOND, Instant
from logbook.domain.instants import text as rfc3339
from logbook.intake import PROGRAM, Draft
from logbook.store import StoreError, heard, log
from tests.whole.stage import START, Stage, fleet

Make = Callable[..., Stage]
ANA, LEE, KIM, JO = "+19025550111", "+19025550131", "+17095550112", "+19025550133"
PEOPLE: list[dict[str, Any]] = [
    {"key": "ana", "name": "Ana Silva", "role": "cleaner", "language": "en", "phone": ANA, "sites": ["HX"]},
    {"key": "lee", "name": "Lee Shaw", "role": "supervisor", "phone": LEE, "sites": ["HX"]},
    {"key": "kim", "name": "Kim Noor", "role": "supervisor", "phone": KIM, "sites": ["SJ"]},
    {"key": "own", "name": "Jo Marsh", "role": "owner", "phone": JO},
]  # fmt: skip
MORE: list[dict[str, Any]] = [
    *fleet()["machine"],
    {"code": "C4J", "site": "HX", "battery": "flooded", "commissioned_at": "2026-03-01T12:00:00Z"},
]


def say(one: Stage, text: str, sender: str = ANA, *, id: str | None = None, at: Instant | None = None) -> Answer:
    """Take one text, as it comes from a gateway."""
    one.now = one.now if at is None else at
    return one.program.desk.take(Message(id or one.ids(), "text", sender, text, one.now))


def kinds(one: Stage, code: str = "B7H") -> list[str]:
    return [kind for kind, _at, _data in one.entries(code)][1:]


def kept(one: Stage, id: str) -> heard.Heard:
    found: heard.Heard | None = one.read(lambda c: heard.find(c, id))
    assert found is not None
    return found


@pytest.fixture
def one(make: Make) -> Stage:
    return make(person=PEOPLE, machine=MORE)


# ------------------------------------------------------------------------------------------------------------ saved


def test_a_text_becomes_entries_and_an_answer_that_says_what_is_owed(one: Stage) -> None:
    answer = say(one, "B7H emptied rinsed parked", id="m-1")
    assert answer.outcome == "saved"
    assert kinds(one) == ["empty", "rinse", "put_away"]
    assert answer.reply is not None
    assert answer.reply.startswith("B7H 08:00 emptied, rinsed")
    assert "charge" in answer.reply
    assert "UNDO" in answer.reply
    row = kept(one, "m-1")
    assert (row.outcome, row.text, row.reply, row.sender) == ("saved", "B7H emptied rinsed parked", answer.reply, ANA)
    assert row.entries == answer.entries


def test_a_text_about_two_machines_is_saved_whole(one: Stage) -> None:
    answer = say(one, "B7H rinsed, C4J charged")
    assert answer.outcome == "saved"
    assert (kinds(one), kinds(one, "C4J")) == (["rinse"], ["charge"])


def test_what_cannot_be_read_whole_is_kept_and_nothing_of_it_is_saved(one: Stage) -> None:
    answer = say(one, "B7H rinsed and flobbered", id="m-1")
    assert answer.outcome not in ("saved", "repeated")
    assert answer.reply is not None
    assert answer.reply.startswith("NOT SAVED.")
    assert kinds(one) == []
    assert kept(one, "m-1").text == "B7H rinsed and flobbered"


def test_what_the_door_refuses_is_answered_in_the_senders_words(make: Make) -> None:
    people = [{**PEOPLE[0], "language": "es"}, *PEOPLE[1:]]
    one = make(person=people, machine=[{**MORE[0], "commissioned_at": "2026-03-02T11:00:00Z"}])
    answer = say(one, "B7H rinsed 05:00")  # two hours before it came into the log
    assert (answer.outcome, answer.reply) == ("too_early", sorry("too_early", "es"))
    assert kinds(one) == []


def test_an_older_text_is_dated_by_when_it_was_received(one: Stage) -> None:
    """The gateway was away for two hours: the text says what was done then."""
    one.now = START + 2 * HOUR
    answer = one.program.desk.take(Message("m-1", "text", ANA, "B7H rinsed", START))
    assert answer.outcome == "saved"
    row: log.Stored = one.read(lambda c: list(log.by_seq(c, one.machine("B7H"))))[-1]
    assert (row.occurred_at, row.recorded_at) == (START, START + 2 * HOUR)


# ------------------------------------------------------------------------------------------------------------- once


def test_the_same_message_again_is_answered_as_the_first_time(one: Stage) -> None:
    for text in ("B7H rinsed", "B7H flobbered", "OWED", "HELP", "STOP", "START"):
        id = f"m {text}"
        first = say(one, text, id=id)
        one.now += HOUR
        again = say(one, text, id=id)
        assert (again.outcome, again.reply, again.entries, again.repeated) == (
            first.outcome, first.reply, first.entries, True,
        ), text  # fmt: skip
    assert kinds(one) == ["rinse"]


def test_a_crash_between_commit_and_answer(one: Stage) -> None:
    def crash(_at: Instant) -> None:
        raise OSError("the process was killed")

    one.program.intake.woken = crash
    with pytest.raises(OSError, match="killed"):
        say(one, "B7H rinsed", id="m-1")
    one.program.intake.woken = lambda _at: None
    answer = say(one, "B7H rinsed", id="m-1")
    assert (answer.outcome, answer.repeated) == ("saved", True)
    assert answer.reply is not None
    assert kinds(one) == ["rinse"]


def test_a_crash_before_commit_keeps_nothing_and_it_may_come_again(one: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_args: Any) -> None:
        raise StoreError("The disk is full. Nothing was saved.")

    with monkeypatch.context() as patch:
        patch.setattr(heard, "keep", fail)
        with pytest.raises(StoreError):
            say(one, "B7H rinsed", id="m-1")
    assert kinds(one) == []
    assert say(one, "B7H rinsed", id="m-1").outcome == "saved"
    assert kinds(one) == ["rinse"]


def test_the_same_words_within_ten_minutes_are_one_message(one: Stage) -> None:
    first = say(one, "B7H rinsed", id="m-1")
    again = say(one, "  b7h  RINSED ", id="m-2", at=START + 9 * MINUTE)
    assert (again.outcome, again.entries) == ("repeated", first.entries)
    assert again.reply is not None
    assert again.reply.startswith("Saved before")
    assert say(one, "B7H rinsed", id="m-3", at=START + 10 * MINUTE).outcome == "saved"
    assert kinds(one) == ["rinse", "rinse"]


def test_the_same_words_of_another_sender_are_another_message(one: Stage) -> None:
    say(one, "B7H rinsed")
    assert say(one, "B7H rinsed", LEE).outcome == "saved"


def test_the_same_words_after_an_undo_are_said_anew(one: Stage) -> None:
    say(one, "B7H rinsed")
    say(one, "UNDO")
    assert say(one, "B7H rinsed").outcome == "saved"
    assert kinds(one) == ["rinse", "void", "rinse"]


def test_more_texts_than_a_person_sends_are_kept_and_not_answered(one: Stage) -> None:
    answers = [say(one, f"B7H water {number} l", at=START + number * SECOND) for number in range(1, FLOOD + 3)]
    assert [answer.reply is not None for answer in answers] == [True] * FLOOD + [False] * 2
    assert {answer.outcome for answer in answers} == {"saved"}
    assert say(one, "B7H filter", at=START + 20 * MINUTE).reply is not None


# ------------------------------------------------------------------------------------------------------------- undo


def test_undo_takes_the_whole_last_text_back(one: Stage) -> None:
    say(one, "C4J rinsed", at=START)
    say(one, "B7H rinsed charged parked", at=START + MINUTE)
    answer = say(one, "UNDO", at=START + 2 * MINUTE)
    assert answer.outcome == "undo"
    assert kinds(one) == ["rinse", "charge", "put_away", "void", "void", "void"]
    assert kinds(one, "C4J") == ["rinse"]
    assert "rinse" not in one.program.desk._known.owed(one.register, ["B7H"])["B7H"]


def test_undo_on_one_machine(one: Stage) -> None:
    say(one, "B7H rinsed, C4J rinsed", at=START)
    say(one, "undo C4J", at=START + MINUTE)
    assert (kinds(one), kinds(one, "C4J")) == (["rinse"], ["rinse", "void"])
    say(one, "undo", at=START + 2 * MINUTE)
    assert kinds(one) == ["rinse", "void"]
    assert kinds(one, "C4J") == ["rinse", "void"], "struck once"


def test_undo_too_late_or_with_nothing_to_take_back(one: Stage) -> None:
    assert say(one, "UNDO").outcome == "nothing_to_undo"
    say(one, "B7H rinsed", at=START + MINUTE)
    answer = say(one, "UNDO", at=START + 31 * MINUTE + 1)
    assert (answer.outcome, answer.reply) == ("nothing_to_undo", sorry("nothing_to_undo", "en"))
    assert kinds(one) == ["rinse"]
    assert say(one, "UNDO", LEE).outcome == "nothing_to_undo", "one's own texts only"


def test_undo_up_to_the_last_instant(one: Stage) -> None:
    say(one, "B7H rinsed")
    assert say(one, "UNDO", at=START + 30 * MINUTE).outcome == "undo"


def test_the_time_for_undo_is_the_sites_own_number(make: Make) -> None:
    sites = [{**fleet()["site"][0], "policy": {"undo_within": "PT2H"}}, fleet()["site"][1]]
    one = make(person=PEOPLE, site=sites)
    say(one, "B7H rinsed")
    assert say(one, "UNDO", at=START + HOUR).outcome == "undo"


# ------------------------------------------------------------------------------------------------------ owed and seen


def test_owed(one: Stage) -> None:
    say(one, "B7H start", at=START)
    answer = say(one, "OWED B7H", at=START + MINUTE)
    assert answer.outcome == "owed"
    assert answer.reply is not None
    for word in ("B7H", "rinse", "charge"):
        assert word in answer.reply
    everything = say(one, "owed", LEE)
    assert everything.reply is not None
    assert "B7H" in everything.reply
    assert "B8F" not in everything.reply, "another site's"
    assert kinds(one) == ["start"]


def alert(one: Stage) -> int:
    """A rinse alert at Halifax; answers with the number by which people call it."""
    one.now = START
    one.tell("B7H", "put_away")
    one.until(START + 31 * MINUTE)
    return one.alert("B7H", "rinse").serial


def test_seen_takes_an_alert_in_hand(one: Stage) -> None:
    serial = alert(one)
    answer = say(one, f"SEEN {serial}", LEE)
    assert answer.outcome == "seen"
    [(_kind, _at, data)] = one.entries("B7H", "acknowledged")
    assert data["until"] == rfc3339(one.now + 8 * HOUR)
    assert one.alert("B7H", "rinse").acknowledged_until == one.now + 8 * HOUR
    one.until(START + 7 * HOUR)
    assert [d for _k, _a, d in one.entries("B7H", "alert_escalated") if d["duty"] == "rinse"] == []


def test_seen_is_for_the_supervisor_of_the_site(one: Stage) -> None:
    serial = alert(one)
    for sender in (ANA, KIM):
        answer = say(one, f"SEEN {serial}", sender)
        assert (answer.outcome, answer.reply) == ("not_allowed", sorry("not_allowed", "en"))
    assert one.entries("B7H", "acknowledged") == []
    assert say(one, f"SEEN {serial}", JO).outcome == "seen"


def test_seen_of_an_alert_that_is_over_or_never_was(one: Stage) -> None:
    serial = alert(one)
    say(one, "B7H rinsed")
    one.step()
    for number in (serial, 999):
        answer = say(one, f"SEEN {number}", LEE)
        assert (answer.outcome, answer.reply) == ("no_alert", sorry("no_alert", "en"))


# --------------------------------------------------------------------------------------------------- the way out, in


def test_an_opt_out_is_answered_once_and_nothing_is_sent_after(one: Stage) -> None:
    first = say(one, "STOP")
    assert first.outcome == "opt_out"
    assert first.reply is not None
    assert one.register.people[one.person("ana")].opted_out == {"text"}
    assert say(one, "STOP", at=START + HOUR).reply is None
    silent = say(one, "B7H rinsed", at=START + 2 * HOUR)
    assert (silent.outcome, silent.reply) == ("saved", None)
    back = say(one, "UNSTOP", at=START + 3 * HOUR, id="m-back")
    assert back.outcome == "opt_in"
    assert back.reply is not None
    assert kept(one, "m-back").reply == back.reply
    assert one.register.people[one.person("ana")].opted_out == set()
    assert say(one, "B7H charged", at=START + 4 * HOUR).reply is not None


# -------------------------------------------------------------------------------------------------- who is not known


def test_a_text_of_an_unknown_sender_is_kept_and_answered_once(one: Stage) -> None:
    stranger = "+19025550199"
    first = say(one, "B7H rinsed", stranger, id="m-1")
    assert (first.outcome, first.reply) == ("unknown_sender", sorry("unknown_sender", "en"))
    assert kept(one, "m-1").text == "B7H rinsed"
    assert say(one, "hello?", stranger, at=START + MINUTE).reply is None
    assert kinds(one) == []


def test_a_carriers_short_number_is_nobody(one: Stage) -> None:
    assert say(one, "Your balance is low", "611").outcome == "unknown_sender"


def test_who_left_is_nobody(one: Stage) -> None:
    left = Draft(one.ids(), one.read(one.program.registry.fleet), "person_left", {"person": one.person("ana")})
    one.program.intake.record([left], PROGRAM)
    assert say(one, "B7H rinsed").outcome == "unknown_sender"


def test_a_number_is_known_however_the_carrier_writes_it(one: Stage) -> None:
    assert say(one, "B7H rinsed", "+1 (902) 555-0111").outcome == "saved"


def joined(one: Stage, phone: str) -> str:
    person = one.ids()
    data = {"person": person, "site": "HX", "name": "Eva", "phone": phone, "language": "en"}
    one.program.intake.record([Draft(one.ids(), one.read(one.program.registry.fleet), "joined", data)], PROGRAM)
    return person


def test_a_supervisor_answers_for_a_new_number(one: Stage) -> None:
    yes, no = joined(one, "+19025550151"), joined(one, "+19025550152")
    assert say(one, "B7H rinsed", "+19025550151").outcome == "saved", "its entries count meanwhile"
    assert say(one, "OK 5550151").outcome == "not_allowed", "no cleaner's word"
    assert say(one, "OK +19025550151", LEE).outcome == "accept"
    assert say(one, "NO 5550152", LEE).outcome == "set_aside"
    people = one.register.people
    assert (people[yes].state, people[no].state) == ("member", "set_aside")
    assert say(one, "OK 5550152", LEE).outcome == "nobody_waiting"


def test_a_number_that_may_be_two_peoples_is_nobodys(one: Stage) -> None:
    """The last digits of one number are those of another: nobody is let in by a guess."""
    first, second = joined(one, "+19025550151"), joined(one, "+17095550151")
    assert say(one, "OK 5550151", LEE).outcome == "nobody_waiting"
    assert {one.register.people[each].state for each in (first, second)} == {"unconfirmed"}
    assert say(one, "OK 9025550151", LEE).outcome == "accept"
    assert one.register.people[first].state == "member"


# ----------------------------------------------------------------------------------------------------- lone machines


def test_the_code_may_be_left_out_where_there_is_one_machine_only(make: Make) -> None:
    one = make(person=PEOPLE)
    assert say(one, "rinsed").outcome == "saved"
    assert kinds(one) == ["rinse"]
    several = make(person=PEOPLE, machine=MORE)
    assert say(several, "rinsed").outcome == "which_machine"
    several.tell("C4J", "out_of_service", who="lee")
    assert say(several, "rinsed", at=START + HOUR).outcome == "saved"
    strict = make(person=PEOPLE, policy={"lone_machine": False})
    assert say(strict, "rinsed").outcome == "which_machine"


def test_a_supervisor_may_leave_it_out_too(make: Make) -> None:
    one = make(person=PEOPLE)
    assert say(one, "rinsed", LEE).outcome == "saved"


def test_a_time_is_that_of_the_machines_site(make: Make) -> None:
    """St John's is half an hour ahead: 08:00 there was half an hour ago when it is 08:00 in Halifax."""
    one = make(person=PEOPLE)
    assert say(one, "B8F rinsed 08:00", KIM).outcome == "saved"
    row: log.Stored = one.read(lambda c: list(log.by_seq(c, one.machine("B8F"))))[-1]
    assert row.occurred_at == START - 30 * MINUTE


# ----------------------------------------------------------------------------------------------------------- answers


@pytest.mark.parametrize("code", [*CODES, "anything_else"])
def test_every_apology_says_that_nothing_was_saved(code: str) -> None:
    assert code == "known_already" or sentence(code).startswith("NOT SAVED")


def test_texts_are_taken_while_the_clock_steps(one: Stage) -> None:
    say(one, "B7H rinsed parked")
    one.until(START + DAY)
    assert say(one, "B7H charged").outcome == "saved"


def test_one_id_for_two_texts_loses_neither(one: Stage) -> None:
    """A carrier whose ids name conversations."""
    first = say(one, "B7H rinsed", id="talk-1")
    second = say(one, "B7H charged", id="talk-1")
    assert (first.outcome, second.outcome) == ("saved", "saved")
    assert kinds(one) == ["rinse", "charge"]
    assert say(one, "B7H charged", id="talk-1").entries == second.entries
    assert kinds(one) == ["rinse", "charge"]


def test_a_text_that_names_its_machine_looks_at_no_other(one: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []
    fold = one.program.desk._known.fold
    monkeypatch.setattr(
        one.program.desk._known, "fold", lambda c, r, machine: asked.append(machine) or fold(c, r, machine)
    )
    say(one, "b7 h rinsed")
    assert set(asked) <= {one.machine("B7H")}


def test_the_same_words_after_others_are_news(one: Stage) -> None:
    """Out again after a first rinse: the second rinse is another one."""
    for minute, text in enumerate(("B7H start", "B7H rinse", "B7H start", "B7H rinse")):
        assert say(one, text, at=START + minute * MINUTE).outcome == "saved"
    assert kinds(one) == ["start", "rinse", "start", "rinse"]


def test_saved_before_says_when_it_was_saved(one: Stage) -> None:
    say(one, "B7H rinse", at=START)
    answer = say(one, "B7H rinse", at=START + 5 * MINUTE)
    assert answer.outcome == "repeated"
    assert answer.reply is not None
    assert "08:00" in answer.reply
