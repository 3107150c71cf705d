"""Links and trials that the Register sends, what became of messages in plain words, and a site's shared phones."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from logbook.domain.people import Person
from logbook.store import confirmations, outbox
from logbook.store.outbox import Message
from logbook.store.reached import Reached
from logbook.web.pages import words
from logbook.web.register.reaching import ways_of
from logbook.web.who.sending import way_of
from tests.web.conftest import ADDRESS, Pages

NOW = 1_772_452_800_000_000
ONE = Reached("mail", "lee@ferry.example", "alert", "sent", NOW, NOW, 1, NOW, None, None, None, None, None)


def able(one: Pages, *routes: str) -> Pages:
    one.house.routes = frozenset(routes)
    return one


def queued(one: Pages) -> list[Message]:
    return [m for m in one.stage.read(lambda c: outbox.latest(c)) if m.kind in ("link", "trial")]


def id_in(page: str, action: str) -> str:
    form = page[page.index(f'action="{action}"') :]
    found = re.search(r'name="id" value="([\w-]+)"', form)
    assert found is not None
    return found[1]


def test_a_link_goes_to_their_own_number_once_and_lets_them_in(pages: Callable[..., Pages]) -> None:
    one = able(pages(), "text", "mail")
    lee, ana = one.client("lee"), one.stage.person("ana")
    path = f"/en/register/people/{ana}"
    id_ = id_in(lee.get(path).text, f"{path}/send")
    for _time in range(2):
        answer = one.post(lee, f"{path}/send", id=id_)
        assert (answer.status_code, answer.headers["location"]) == (303, f"{path}?done=sent")
    (message,) = queued(one)
    assert (message.route, message.address, message.person) == ("text", "+19025550111", ana)
    link = re.search(rf"{re.escape(ADDRESS)}(/en/enter/[\w-]+)", message.body)
    assert link is not None
    shown = lee.get(path).text
    assert "The link waits to be sent" in shown
    assert link[1] not in shown
    assert one.client().post(link[1]).status_code == 303


def test_where_nothing_can_be_sent_no_button_says_so(pages: Callable[..., Pages]) -> None:
    one = able(pages())
    lee, path = one.client("lee"), f"/en/register/people/{one.stage.person('ana')}"
    assert "/send" not in lee.get(path).text
    answer = one.post(lee, f"{path}/send", id=one.house.intake.new_id())
    assert answer.status_code == 422
    assert queued(one) == []
    ana = one.stage.register.people[one.stage.person("ana")]
    assert way_of(able(one, "text").house, ana) == ("text", "+19025550111")
    one.house.address = ""  # a link without an address of ours would lead nowhere
    assert way_of(one.house, ana) is None


def test_the_fourth_within_an_hour_is_refused(pages: Callable[..., Pages]) -> None:
    one = able(pages(), "text")
    lee, path = one.client("lee"), f"/en/register/people/{one.stage.person('ana')}/send"
    codes = [one.post(lee, path, id=one.house.intake.new_id()).status_code for _ in range(4)]
    assert codes == [303, 303, 303, 429]
    assert len(queued(one)) == 3


def test_a_trial_goes_by_the_way_that_was_chosen_and_is_followed(pages: Callable[..., Pages]) -> None:
    one = able(pages(), "text", "mail")
    own, kim = one.client("own"), one.stage.person("kim")
    path = f"/en/register/people/{kim}"
    for _time in range(2):
        assert (
            one.post(own, f"{path}/trial", id=id_in(own.get(path).text, f"{path}/trial"), way="mail").status_code == 303
        )
        assert queued(one)[0].address == "kim@ferry.example"
    first = queued(one)[-1]
    assert "This is a trial" in first.body
    assert "The trial message waits to be sent" in own.get(path).text

    def fails(connection: Any) -> None:
        (taken,) = outbox.claim(connection, one.house.now(), "t", 1, ["mail"], until=one.house.now() + 60_000_000)
        outbox.failed(connection, taken, "550 5.1.1 <kim@ferry.example>: user unknown")

    one.house.store.write(fails)
    page = own.get(path).text
    assert "The trial message did not go out" in page
    assert "there is no such address" in page
    assert "550 5.1.1 &lt;kim@ferry.example&gt;" in page


def test_a_cleaner_is_sent_no_trial(pages: Callable[..., Pages]) -> None:
    one = able(pages(), "text", "mail")
    lee, path = one.client("lee"), f"/en/register/people/{one.stage.person('ana')}"
    assert "/trial" not in lee.get(path).text
    assert one.post(lee, f"{path}/trial", id=one.house.intake.new_id(), way="text").status_code == 422
    assert queued(one) == []


@pytest.mark.parametrize(
    ("changes", "shape", "said"),
    [
        ({}, "clear", "was sent"),
        ({"confirming": "m"}, "due", "no word yet"),
        ({"confirming": "m", "arrived": 1, "said_at": NOW}, "held", "arrived"),
        ({"confirming": "m", "arrived": 0, "detail": "unreachable number"}, "late", "did not arrive"),
        ({"state": "failed", "error": "552 5.2.2 mailbox full"}, "late", "that mailbox is full"),
        ({"state": "failed", "error": "554 no"}, "late", "the other side refused it"),
        ({"state": "waiting", "attempts": 2, "error": "mail.example cannot be reached"}, "due", "is tried again at"),
        ({"state": "waiting", "attempts": 0}, "due", "waits to be sent"),
        ({"state": "expired"}, "late", "too late"),
    ],
)
def test_what_became_of_a_message_is_said_without_what_it_was_about(
    changes: dict[str, Any], shape: str, said: str
) -> None:
    person = Person("p", role="supervisor", email="lee@ferry.example")
    one = ONE._replace(**changes)
    (way,) = ways_of(person, {"mail": [one]}, ["mail"], {}, words("en", "register"), "UTC", NOW, str)
    (fate,) = way.fates
    assert fate.shape == shape
    assert said in fate.words
    assert fate.words.startswith("A message ")


def test_a_way_that_is_not_used_says_why() -> None:
    person = Person("p", phone="+19025550111", email="a@ferry.example", opted_out={"text"})
    text, mail = ways_of(person, {}, ["text"], {"mail": "login refused"}, words("en", "register"), "UTC", NOW, str)
    assert (text.stopped, mail.stopped) == ("They asked for no texts.", "This logbook has no settings to send by it.")
    assert mail.held == "login refused"


def test_the_carrier_s_word_reaches_the_page(pages: Callable[..., Pages]) -> None:
    one = able(pages(), "text")
    own, kim = one.client("own"), one.stage.person("kim")
    path, now = f"/en/register/people/{kim}", one.house.now()
    one.post(own, f"{path}/trial", id=id_in(own.get(path).text, f"{path}/trial"), way="text")
    (message,) = queued(one)

    def arrives(connection: Any) -> None:
        outbox.sent(connection, message, now)
        confirmations.expect(connection, message.id, "text", "r1", now + 60_000_000)
        confirmations.said(connection, "text", "r1", True, now, "delivered")

    one.house.store.write(arrives)
    assert "The trial message arrived" in own.get(path).text


# -- phones of a site -------------------------------------------------------------------------------------------


def test_a_site_s_phone_is_made_listed_and_taken_away(pages: Callable[..., Pages]) -> None:
    one = pages()
    lee, path = one.client("lee"), "/en/register/sites/HX/phones"
    assert "None yet." in lee.get(path).text
    link = re.search(rf"{re.escape(ADDRESS)}(/en/enter/[\w-]+)", one.post(lee, path).text)
    assert link is not None
    assert link[1] not in lee.get(path).text
    phone = one.client()
    phone.headers["user-agent"] = "Mozilla/5.0 (Linux; Android 14) Firefox/130.0"
    assert phone.post(link[1]).status_code == 303
    page = lee.get(path).text
    assert "Android, Firefox" in page
    found = re.search(r'name="phone" value="([\w-]+)"', page)
    assert found is not None
    kim = one.client("kim")
    assert one.post(kim, "/en/register/sites/SJ/phones/gone", phone=found[1]).status_code == 404
    assert "North Slip" in phone.get("/en/sign-in").text
    assert one.post(lee, f"{path}/gone", phone=found[1]).status_code == 303
    assert "None yet." in lee.get(path).text
    assert "North Slip" not in phone.get("/en/sign-in").text


def test_another_site_s_phones_are_not_there(pages: Callable[..., Pages]) -> None:
    one = pages()
    lee, own = one.client("lee"), one.client("own")
    for path in ("/en/register/sites/SJ/phones", "/en/register/sites/nowhere/phones"):
        assert lee.get(path).status_code == 404
        assert one.post(lee, path).status_code == 404
    assert own.get("/en/register/sites/nowhere/phones").status_code == 404
    assert own.get("/en/register/sites/SJ/phones").status_code == 200
