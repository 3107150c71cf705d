"""What is done on Tonight: once each, only while it is so, only by leaders of the site, and said afterwards."""

from __future__ import annotations

import re
from types import SimpleNamespace
from typing import Any

import pytest
from sqlalchemy import Connection
from starlette.testclient import TestClient

from logbook.channels.desk import Message
from logbook.domain.instants import HOUR, MINUTE, parse, text
from logbook.intake import Draft, answering
from logbook.store import heard, log, words
from logbook.web.api.machines import alerts_of
from tests.web.conftest import Pages
from tests.web.test_tonight_board import CALM, Make, look, only, uncharged
from tests.whole.stage import FLEET, START, Stage

LEADERS = [
    *FLEET["person"],
    {"key": "sol", "name": "Sol Peña", "role": "supervisor", "language": "es", "email": "sol@ferry.example",
     "sites": ["HX"], "quiet": "03:00-03:01"},
]  # fmt: skip
"""A second supervisor at HX, who is hardly ever quiet."""


def fields(page: str, act: str, which: int = 0) -> dict[str, Any]:
    """What the page's form for an act would send, but for what is chosen or typed."""
    forms = re.findall(rf'<form method="post" action="/en/tonight/{act}">(.*?)</form>', page, re.DOTALL)
    pairs = re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', forms[which])
    found: dict[str, Any] = {}
    for name, value in pairs:
        if name == "alert":
            found.setdefault("alert", []).append(value)
        elif name != "csrf":
            found[name] = value
    return found


def act(one: Pages, browser: TestClient, what: str, **chosen: Any) -> str:
    """Open the page, send one of its forms, and answer with where that leads."""
    page = browser.get("/en/tonight").text
    return send(one, browser, what, {**fields(page, what), **chosen})


def send(one: Pages, browser: TestClient, what: str, said: dict[str, Any]) -> str:
    answer = one.post(browser, f"/en/tonight/{what}", **said)
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def two(pages: Make) -> tuple[Pages, Stage]:
    """One machine late since 14:00, and it is 15:00 in Halifax: the owner is next in line at 16:00."""
    return uncharged(pages, until=START + 7 * HOUR, person=LEADERS)


# -- taking in hand ---------------------------------------------------------------------------------------------


def test_i_see_to_it_holds_the_next_in_line_for_as_long_as_policy_says(pages: Make) -> None:
    one, stage = two(pages)
    browser = one.client("lee")
    assert act(one, browser, "take") == "/en/tonight?done=taken&on=B7H"
    alert = stage.alert("B7H", "charge")
    assert alert.acknowledged_until == stage.now + 8 * HOUR  # charge.acknowledge_for, rules.md
    assert alert.next_step_at is not None
    assert alert.next_step_at >= alert.acknowledged_until
    page = browser.get("/en/tonight?done=taken&on=B7H").text
    assert "B7H is in your hands now." in page
    assert "In hand since 15:00 (supervisor), until 23:00." in page


def test_another_time_can_be_chosen(pages: Make) -> None:
    one, stage = two(pages)
    act(one, one.client("lee"), "take", **{"for": "PT2H"})
    assert stage.alert("B7H", "charge").acknowledged_until == stage.now + 2 * HOUR


def test_a_form_that_is_sent_twice_acts_once(pages: Make) -> None:
    one, stage = two(pages)
    browser = one.client("lee")
    said = fields(browser.get("/en/tonight").text, "take")
    first = send(one, browser, "take", said)
    stage.now += MINUTE
    assert send(one, browser, "take", said) == first
    assert len(stage.entries("B7H", "acknowledged")) == 1


def test_whoever_comes_second_is_told_that_somebody_else_answered(pages: Make) -> None:
    one, stage = two(pages)
    lee, sol = one.client("lee"), one.client("sol")
    late = fields(sol.get("/en/tonight").text, "take")
    act(one, lee, "take")
    assert send(one, sol, "take", late) == "/en/tonight?not=meanwhile&on=B7H"
    assert len(stage.entries("B7H", "acknowledged")) == 1
    assert "Somebody else has answered for B7H meanwhile." in sol.get("/en/tonight?not=meanwhile&on=B7H").text


def test_what_is_over_meanwhile_is_said_to_be_over(pages: Make) -> None:
    one, stage = two(pages)
    browser = one.client("lee")
    said = fields(browser.get("/en/tonight").text, "take")
    stage.tell("B7H", "charge")
    stage.step()
    assert send(one, browser, "take", said) == "/en/tonight?not=over&on=B7H"
    assert stage.entries("B7H", "acknowledged") == []


def test_all_alerts_of_a_row_are_taken_together(pages: Make) -> None:
    one = pages(policy={"filter": False, "watering": False, "segments": False})
    stage = one.stage
    stage.tell("B7H", "put_away")
    stage.until(START + 2 * HOUR)
    act(one, one.client("lee"), "take")
    held = {name: stage.alert("B7H", name).acknowledged_until for name in ("charge", "rinse", "squeegee")}
    assert set(held.values()) == {stage.now + 8 * HOUR}
    assert look(one).late == ()


# -- passing on -------------------------------------------------------------------------------------------------


def test_whoever_is_asked_is_put_down_once_and_told_in_their_language(pages: Make) -> None:
    one, stage = two(pages)
    browser = one.client("lee")
    said = {**fields(browser.get("/en/tonight").text, "pass"), "to": stage.person("sol")}
    before = len(stage.notices("sol"))
    assert send(one, browser, "pass", said) == "/en/tonight?done=passed&on=B7H"
    send(one, browser, "pass", said)
    assert len(stage.notices("sol")) == before + 1
    stage.step(stage.now + 5 * MINUTE)
    message = stage.messages("alert", "sol")[-1]
    assert message.subject.startswith("Se le pide a usted: B7H")
    assert "Le piden que se encargue" in message.body
    assert [each.kind for each in stage.messages("alert", "own")] == []


def test_the_log_says_who_was_asked_by_a_pseudonym_alone(pages: Make) -> None:
    one, stage = two(pages)
    act(one, one.client("lee"), "pass", to=stage.person("sol"))
    [(_kind, _at, data)] = stage.entries("B7H", "passed_on")
    assert data["role"] == "supervisor"
    assert data["to"] != stage.person("sol")
    machine = stage.machine("B7H")
    assert stage.read(lambda c: words.person_of(c, machine, data["to"])) == stage.person("sol")
    stored = [row.bytes for row in stage.read(lambda c: list(log.by_seq(c, machine))) if row.kind == "passed_on"]
    assert stage.person("sol").encode() not in stored[0]
    assert b"Sol" not in stored[0]


def test_being_asked_is_not_having_it_and_the_next_in_line_waits_for_that_turn(pages: Make) -> None:
    one, stage = two(pages)
    act(one, one.client("lee"), "pass", to=stage.person("sol"))
    alert = stage.alert("B7H", "charge")
    assert alert.acknowledged_until == stage.now + 2 * HOUR  # as long as the first in line has: escalation, rules.md
    row = only(look(one))
    assert row.answer == "Asked at 15:00 (supervisor): the supervisor has until 17:00, and has not answered."
    assert row.asked == stage.person("sol")
    assert "You are asked to see to this." in one.client("sol").get("/en/tonight").text
    assert "You are asked to see to this." not in one.client("lee").get("/en/tonight").text
    stage.until(stage.now + 2 * HOUR - MINUTE)
    assert stage.entries("B7H", "alert_escalated") == []
    stage.until(stage.now + MINUTE)
    assert [data["role"] for _kind, _at, data in stage.entries("B7H", "alert_escalated")] == ["owner"]


def test_whoever_was_asked_takes_it_in_hand(pages: Make) -> None:
    one, _stage = two(pages)
    act(one, one.client("lee"), "pass", to=_stage.person("sol"))
    assert act(one, one.client("sol"), "take") == "/en/tonight?done=taken&on=B7H"
    assert look(one).late == ()


def test_quiet_hours_hold_what_is_asked_and_the_turn_begins_when_they_end(pages: Make) -> None:
    """The owner's quiet hours are policy's, 21:00 to 06:30; it is 22:00 in Halifax."""
    one, stage = uncharged(pages, until=parse("2026-03-03T02:00:00Z"))
    act(one, one.client("lee"), "pass", to=stage.person("own"))
    asked = stage.notices("own")[-1]
    assert asked.ready_at == parse("2026-03-03T10:30:00Z")
    assert stage.alert("B7H", "charge").acknowledged_until == parse("2026-03-03T12:30:00Z")


def test_what_is_urgent_is_asked_whatever_the_hour(pages: Make) -> None:
    one = pages(policy=CALM)
    stage = one.stage
    stage.tell("B7H", "held", who="own")
    stage.until("2026-03-03T02:00:00Z")
    stage.tell("B7H", "start")
    stage.step()
    act(one, one.client("lee"), "pass", to=stage.person("own"))
    asked = stage.notices("own")[-1]
    assert (asked.duty, asked.tell, asked.ready_at) == ("held_start", "urgent", stage.now)


@pytest.mark.parametrize("whom", ["ana", "kim", "lee"])
def test_only_another_leader_of_the_site_can_be_asked(pages: Make, whom: str) -> None:
    one, stage = two(pages)
    assert act(one, one.client("lee"), "pass", to=stage.person(whom)) == "/en/tonight?not=nobody&on=B7H"
    assert stage.entries("B7H", "passed_on") == []


def test_by_whatever_way_it_comes_nobody_else_is_asked(pages: Make) -> None:
    from logbook.domain.door import Refused

    _one, stage = two(pages)
    alert = stage.alert("B7H", "charge")
    data = {
        "duty": "charge",
        "opened_by": alert.opened_by,
        "number": 1,
        "role": "owner",
        "until": "2026-03-03T00:00:00Z",
    }
    with pytest.raises(Refused, match="can be asked only of a supervisor or owner"):
        stage.tell("B7H", "passed_on", who="lee", to=stage.ids(), **data)
    assert stage.entries("B7H", "passed_on") == []


# -- excusing and names -----------------------------------------------------------------------------------------


def test_a_duty_is_excused_for_a_reason_and_never_without(pages: Make) -> None:
    one, stage = two(pages)
    browser = one.client("lee")
    assert act(one, browser, "excuse", why="   ") == "/en/tonight?not=why&on=B7H"
    assert stage.entries("B7H", "excused") == []
    where = act(one, browser, "excuse", why="no power at the quay")
    assert where.startswith("/en/tonight?done=excused&on=B7H&undo=")
    [(_kind, _at, data)] = stage.entries("B7H", "excused")
    assert data["duty"] == "charge"
    stage.step()
    assert stage.alert("B7H", "charge").outcome == "excused"


def test_what_was_done_meanwhile_is_not_excused(pages: Make) -> None:
    one, stage = two(pages)
    browser = one.client("lee")
    said = {**fields(browser.get("/en/tonight").text, "excuse"), "why": "no power"}
    stage.tell("B7H", "charge")
    assert send(one, browser, "excuse", said) == "/en/tonight?not=over&on=B7H"
    assert stage.entries("B7H", "excused") == []


def test_a_name_is_opened_on_purpose_and_the_log_says_so(pages: Make) -> None:
    one, stage = two(pages)
    browser = one.client("lee")
    where = act(one, browser, "name")
    [(_kind, _at, data)] = stage.entries("B7H", "name_opened")
    [put_away] = [
        row.id for row in stage.read(lambda c: list(log.by_seq(c, stage.machine("B7H")))) if row.kind == "put_away"
    ]
    assert data == {"entry": put_away}
    page = browser.get(where).text
    assert "Ana Silva" in page
    assert 'href="tel:+19025550111"' in page
    assert "Ana Silva" not in one.client("sol").get(where).text  # what one has opened is not open to another
    stage.now += 20 * MINUTE
    assert "Ana Silva" not in browser.get(where).text


# -- what waits -------------------------------------------------------------------------------------------------


def stranger(stage: Stage, words_: str) -> None:
    stage.program.desk.take(Message("stranger-1", "text", "+19025550160", words_, stage.now))


def test_a_text_of_nobody_known_is_taken_as_somebodys(pages: Make) -> None:
    one, stage = two(pages)
    stranger(stage, "B7H charged")
    browser = one.client("lee")
    page = browser.get("/en/tonight").text
    assert "B7H charged" in page
    assert "…0160" in page
    where = act(one, browser, "text", person=stage.person("ana"))
    assert where.startswith("/en/tonight?done=theirs")
    assert len(stage.entries("B7H", "charge")) == 1
    assert look(one).texts == ()


def test_a_text_is_nobodys(pages: Make) -> None:
    one, stage = two(pages)
    stranger(stage, "win a cruise")
    browser = one.client("lee")
    said = {"text": "stranger-1", "nobody": "yes"}
    assert send(one, browser, "text", said).startswith("/en/tonight?done=nobodys")
    assert send(one, browser, "text", said).startswith("/en/tonight?not=text")
    row = stage.read(lambda c: heard.find(c, "stranger-1"))
    assert row is not None
    assert row.outcome == "set_aside"


def test_what_cannot_be_read_as_theirs_still_waits(pages: Make) -> None:
    one, stage = two(pages)
    stranger(stage, "machine by the gate makes odd sounds")
    where = act(one, one.client("lee"), "text", person=stage.person("ana"))
    assert where.startswith("/en/tonight?not=unread")
    assert len(look(one).texts) == 1


def test_a_text_of_somebody_known_is_for_the_leaders_of_their_sites(pages: Make) -> None:
    one, stage = two(pages)
    stage.program.desk.take(Message("odd", "text", "+19025550111", "qwzx plonk vrrm", stage.now))
    assert [(each.id, each.stranger, each.about) for each in look(one, "HX").texts] == [("odd", False, "cleaner")]
    assert look(one, "SJ").texts == ()
    said = {"text": "odd", "nobody": "yes"}
    assert one.post(one.client("kim"), "/en/tonight/text", **said).status_code == 404
    assert "done=nobodys" in send(one, one.client("lee"), "text", said)


def newcomer(pages: Make) -> tuple[Pages, Stage]:
    one, stage = two(pages)
    fleet = stage.read(stage.program.registry.fleet)
    stage.program.intake.record(
        [Draft(stage.ids(), fleet, "join_word", {"site": "HX", "word": "gannet"})], stage.by("own")
    )
    stage.program.desk.take(Message("joins", "text", "+19025550165", "JOIN gannet Marta", stage.now))
    return one, stage


@pytest.mark.parametrize(("answer", "state"), [("yes", "member"), ("no", "set_aside")])
def test_a_number_that_joined_is_answered_once(pages: Make, answer: str, state: str) -> None:
    one, stage = newcomer(pages)
    browser = one.client("lee")
    page = browser.get("/en/tonight").text
    assert "Marta" in page
    said = {**fields(page, "newcomer"), "answer": answer}
    assert "done=" in send(one, browser, "newcomer", said)
    [person] = [each for each in stage.register.people.values() if each.name == "Marta"]
    assert person.state == state
    other = {**said, "form_id": stage.ids(), "answer": "yes"}
    assert "not=answered" in send(one, browser, "newcomer", other)
    assert look(one).newcomers == ()


# -- who may ----------------------------------------------------------------------------------------------------


def test_another_sites_supervisor_sees_nothing_and_may_do_nothing(pages: Make) -> None:
    one, stage = newcomer(pages)
    lee, kim = one.client("lee"), one.client("kim")
    page = lee.get("/en/tonight").text
    said = {what: fields(page, what) for what in ("take", "pass", "excuse", "name", "newcomer")}
    said["excuse"]["why"] = "because"
    said["newcomer"]["answer"] = "yes"
    said["pass"]["to"] = stage.person("own")
    entries = len(stage.entries("B7H"))
    for what, each in said.items():
        assert one.post(kim, f"/en/tonight/{what}", **each).status_code == 404, what
    assert len(stage.entries("B7H")) == entries
    theirs = kim.get("/en/tonight").text
    assert "Marta" not in theirs
    assert "B7H" not in theirs


@pytest.mark.parametrize("who", ["ana", None])
def test_who_does_not_lead_has_no_such_page(pages: Make, who: str | None) -> None:
    one, _stage = two(pages)
    browser = one.client(who)
    assert browser.get("/en/tonight").status_code == (404 if who else 303)
    assert browser.get("/en/tonight/rows.json").status_code == 401
    if who:
        assert one.post(browser, "/en/tonight/take", form_id="x").status_code == 404


def test_a_form_of_another_session_does_nothing(pages: Make) -> None:
    one, stage = two(pages)
    lee, sol = one.client("lee"), one.client("sol")
    said = fields(lee.get("/en/tonight").text, "take")
    answer = sol.post("/en/tonight/take", data={**said, "csrf": one.csrf(lee)})
    assert answer.status_code == 403
    assert stage.entries("B7H", "acknowledged") == []


def test_forged_ids_are_refused_and_change_nothing(pages: Make) -> None:
    one, stage = two(pages)
    browser = one.client("lee")
    said = fields(browser.get("/en/tonight").text, "take")
    for forged in ({"form_id": "../../x"}, {"alert": ["999999"]}, {"alert": []}, {"alert": ["1' or 1=1"]}):
        answer = one.post(browser, "/en/tonight/take", **{**said, **forged})
        assert answer.status_code == 404 or answer.headers["location"] == "/en/tonight?not=refused&on=B7H"
    assert one.post(browser, "/en/tonight/name", **{**said, "entry": "no such entry"}).status_code in {404, 422}
    assert stage.entries("B7H", "acknowledged", "name_opened") == []


def test_the_owner_sees_every_site(pages: Make) -> None:
    one, _stage = two(pages)
    page = one.client("own").get("/en/tonight").text
    assert "B7H" in page
    assert "B8F" in page


# -- taking back ------------------------------------------------------------------------------------------------


def test_what_was_taken_by_mistake_is_given_back_and_the_next_in_line_does_not_wait_for_it(pages: Make) -> None:
    one, stage = two(pages)
    browser = one.client("lee")
    act(one, browser, "take")
    stage.now += MINUTE
    assert act(one, browser, "back") == "/en/tonight?done=back&on=B7H"
    row = only(look(one))  # late again, and nobody has it
    assert row.answer == "Given back at 15:01 (supervisor): nobody has it in hand."
    assert "B7H is in nobody&#39;s hands again." in browser.get("/en/tonight?done=back&on=B7H").text
    given = stage.now
    # the next in line has the turn that the first in line has: PT2H, escalation, rules.md; not the PT8H taken before
    stage.until(given + 2 * HOUR - MINUTE)
    assert stage.entries("B7H", "alert_escalated") == []
    stage.until(given + 2 * HOUR)
    assert [data["role"] for _kind, _at, data in stage.entries("B7H", "alert_escalated")] == ["owner"]


def test_a_history_counts_what_was_given_back_as_no_answer(pages: Make) -> None:
    one, stage = two(pages)
    browser = one.client("lee")
    act(one, browser, "take")
    stage.now += MINUTE
    act(one, browser, "back")
    page = browser.get("/en/history/B7H").text
    assert page.count("answered by the supervisor") == 1
    assert "battery charge, given back" in page


def test_what_was_excused_by_mistake_is_struck_in_plain_sight(pages: Make) -> None:
    one, stage = two(pages)
    browser = one.client("lee")
    page = browser.get(act(one, browser, "excuse", why="wrong machine")).text
    assert look(one).late == ()
    undo = fields(page, "undo")
    assert undo["entry"]
    assert one.post(one.client("sol"), "/en/tonight/undo", **undo).status_code == 404  # it is not theirs to take back
    assert send(one, browser, "undo", undo) == "/en/tonight?done=unexcused&on=B7H"
    assert send(one, browser, "undo", undo) == "/en/tonight?done=unexcused&on=B7H"
    assert [data["entry"] for _kind, _at, data in stage.entries("B7H", "void")] == [undo["entry"]]
    assert only(look(one)).code == "B7H"


def test_an_old_excuse_is_not_taken_back_by_its_form(pages: Make) -> None:
    one, stage = two(pages)
    browser = one.client("lee")
    undo = fields(browser.get(act(one, browser, "excuse", why="wrong machine")).text, "undo")
    stage.now += 31 * MINUTE  # undo_within: PT30M
    assert send(one, browser, "undo", undo) == "/en/tonight?not=long&on=B7H"
    assert stage.entries("B7H", "void") == []


# -- what the table of alerts may say ---------------------------------------------------------------------------


def test_a_passed_on_alert_is_asked_of_another_and_in_nobodys_hands(pages: Make) -> None:
    one, stage = two(pages)
    assert stage.read(lambda c: answering.until(c, [stage.alert("B7H", "charge")])) == {}
    act(one, one.client("lee"), "pass", to=stage.person("sol"))
    alert = stage.alert("B7H", "charge")
    turn = stage.now + 2 * HOUR
    assert stage.read(lambda c: answering.until(c, [alert])) == {alert.serial: answering.Until(asked=turn)}

    def told(connection: Connection) -> tuple[str | None, str | None]:
        sight: Any = SimpleNamespace(connection=connection, register=stage.register, site=lambda _machine: "HX")
        [shown] = alerts_of(sight, [alert])
        return shown.acknowledged_until, shown.asked_until

    assert stage.read(told) == (None, text(turn))  # what the API says of it
    act(one, one.client("sol"), "take", **{"for": "PT12H"})
    until = stage.now + 12 * HOUR
    assert stage.read(lambda c: answering.until(c, [alert])) == {alert.serial: answering.Until(in_hand=until)}
    stage.now += MINUTE
    act(one, one.client("sol"), "back")
    assert stage.read(lambda c: answering.until(c, [alert])) == {alert.serial: answering.NOBODY}
