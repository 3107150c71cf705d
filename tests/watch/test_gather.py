"""From notices to messages: the first never waits, the rest share, and nothing is dropped."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from logbook.domain.instants import DAY, HOUR, MINUTE, SECOND
from logbook.intake import PROGRAM, Draft
from tests.whole.stage import START, Stage

Make = Callable[..., Stage]
RINSE: dict[str, Any] = {
    "squeegee": False, "charge": False, "remind": False, "escalation": ["PT0S owner"], "rinse.grace": "PT0S",
}  # fmt: skip


def sent(one: Stage, key: str = "own") -> list[int]:
    return [message.queued_at - START for message in one.messages("alert", key)]


def away(one: Stage, code: str, at: int) -> None:
    one.until(START + at)
    one.tell(code, "put_away", who="own")
    one.step()


def test_the_first_never_waits_and_what_comes_within_two_minutes_shares_a_message(make: Make) -> None:
    one = make(policy={**RINSE, "closing": "PT0S"})
    away(one, "B7H", 0)
    away(one, "B8F", 30 * SECOND)
    one.tell("B7H", "unplug", who="own")
    away(one, "B7H", 60 * SECOND)
    one.until(START + HOUR)
    assert sent(one) == [0, 2 * MINUTE]
    second = one.messages("alert", "own")[1]
    assert "B7H" in second.body
    assert "B8F" in second.body


def test_after_two_minutes_the_next_is_a_first_again(make: Make) -> None:
    one = make(policy=RINSE)
    away(one, "B7H", 0)
    away(one, "B8F", 2 * MINUTE)
    assert sent(one) == [0, 2 * MINUTE]


def test_everyone_gathers_for_themselves(make: Make) -> None:
    one = make(policy={**RINSE, "escalation": ["PT0S supervisor"]})
    away(one, "B7H", 0)
    away(one, "B8F", 10 * SECOND)
    assert (sent(one, "lee"), sent(one, "kim")) == ([0], [10 * SECOND])


def test_past_the_cap_things_wait_for_the_letter_and_none_is_dropped(make: Make) -> None:
    machines = [
        {"code": code, "site": "HX", "battery": "sealed", "commissioned_at": "2026-03-01T12:00:00Z"}
        for code in ("B7H", "B8F", "C4J", "C5H")
    ]
    one = make(machine=machines, policy={**RINSE, "cap": 2, "gather": "PT0S", "escalation": ["PT0S supervisor"]})
    for number, machine in enumerate(machines):
        away(one, machine["code"], number * HOUR)
    assert sent(one, "lee") == [0, HOUR]
    one.until(START + DAY)
    [letter] = one.messages("letter", "lee")
    for code, told in (("B7H", False), ("B8F", False), ("C4J", True), ("C5H", True)):
        assert (code in letter.body) is told
    assert all(notice.message for notice in one.notices("lee"))


def test_the_cap_is_a_days(make: Make) -> None:
    one = make(policy={**RINSE, "cap": 1, "escalation": ["PT0S supervisor"]})
    away(one, "B7H", 0)
    away(one, "B7H", 3 * HOUR)
    away(one, "B7H", 25 * HOUR)
    assert sent(one, "lee") == [0, 25 * HOUR]


def test_a_message_is_in_the_reader_s_own_language_and_way(make: Make) -> None:
    people = [{"key": "own", "name": "Eva", "role": "owner", "language": "es", "phone": "+19025550120",
               "email": "eva@ferry.example"}]  # fmt: skip
    mail, text = make(person=people, policy=RINSE), make(person=people, policy=RINSE, routes=("mail", "text"))
    for one in (mail, text):
        one.tell("B7H", "put_away", who="own")
        one.step()
    [by_mail], [by_text] = mail.messages(), text.messages()
    assert (by_mail.route, by_mail.address) == ("mail", "eva@ferry.example")
    assert (by_text.route, by_text.address) == ("text", "+19025550120")
    assert len(by_text.body) <= 160 < len(by_mail.body)
    assert "Local code" not in by_mail.body


def test_a_step_may_name_the_way(make: Make) -> None:
    people = [{"key": "own", "name": "Eva", "role": "owner", "phone": "+19025550120", "email": "eva@ferry.example"}]
    for step, routes, route in (
        ("PT0S owner", ("mail", "text"), "text"), ("PT0S owner mail", ("mail", "text"), "mail"),
        ("PT0S owner text", ("mail", "text"), "text"), ("PT0S owner text", ("mail",), "mail"),
    ):  # fmt: skip
        one = make(person=people, policy={**RINSE, "escalation": [step]}, routes=routes)
        one.tell("B7H", "put_away", who="own")
        one.step()
        assert [message.route for message in one.messages()] == [route]


def test_who_opted_out_is_reached_by_the_other_way_or_not_at_all(make: Make) -> None:
    one = make(policy={**RINSE, "escalation": ["PT0S supervisor"]}, routes=("mail", "text"))
    kim = one.person("kim")
    fleet_uuid = one.read(one.program.registry.fleet)

    def out(way: str) -> None:
        one.program.intake.record([Draft(one.ids(), fleet_uuid, "opted_out", {"person": kim, "way": way})], PROGRAM)

    away(one, "B8F", 0)
    out("text")
    away(one, "B8F", 3 * HOUR)
    out("mail")
    away(one, "B8F", 6 * HOUR)
    assert [message.route for message in one.messages("alert", "kim")] == ["text", "mail"]
    assert [message.queued_at - START for message in one.messages("alert", "own")] == [6 * HOUR], "the next in line"


def test_who_left_before_it_was_told_is_told_nothing(make: Make) -> None:
    one = make(policy={**RINSE, "escalation": ["PT0S supervisor"], "gather": "PT1H"})
    away(one, "B7H", 0)
    away(one, "B7H", 10 * MINUTE)
    one.tell("B7H", "unplug")
    away(one, "B7H", 20 * MINUTE)
    left = Draft(one.ids(), one.read(one.program.registry.fleet), "person_left", {"person": one.person("lee")})
    one.program.intake.record([left], PROGRAM)
    one.until(START + DAY)
    assert sent(one, "lee") == [0]


def test_every_message_id_can_be_a_mail_s(make: Make) -> None:
    for origin in ("ferry.example/log", "https://ferry.example/log", "Strait Ferries"):
        one = make(policy=RINSE, fleet={"name": "Ferry", "origin": origin, "language": "en"})
        one.tell("B7H", "put_away", who="own")
        one.step()
        [message] = one.messages()
        host = "logbook.invalid" if " " in origin else "ferry.example"
        assert message.message_id == f"<{message.id}@{host}>"
