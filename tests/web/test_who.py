"""Links, joining by the plate, one's own page: who gets in, as whom, and how they get out again."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from logbook.domain.instants import DAY, HOUR, MINUTE
from logbook.intake import PROGRAM, Draft
from logbook.store import log, sessions
from logbook.web.who import links
from logbook.web.who.visitor import cookie_name
from tests.web.conftest import ADDRESS, Pages

WORD = "gannet"


@pytest.fixture
def one(pages: Callable[..., Pages]) -> Pages:
    made = pages()
    fleet = made.stage.read(made.stage.program.registry.fleet)
    data = {"site": "HX", "word": WORD}
    made.stage.program.intake.record([Draft(made.stage.ids(), fleet, "join_word", data)], PROGRAM)
    return made


def link(one: Pages, key: str = "ana", **how: Any) -> str:
    return links.offer(one.house, None, person=one.stage.person(key), **how).removeprefix(ADDRESS)


def entries(one: Pages) -> int:
    fleet = one.stage.read(one.stage.program.registry.fleet)
    return len(one.stage.read(lambda c: list(log.by_seq(c, fleet))))


def living(one: Pages, key: str) -> int:
    rows = one.stage.read(lambda c: sessions.of_person(c, one.stage.person(key)))
    return sum(row.lives(one.stage.now) for row in rows)


def join(one: Pages, browser: Any, **changes: str) -> Any:
    once = re.search(r'name="once" value="([^"]+)"', browser.get("/en/join/B7H").text)
    assert once is not None
    fields = {"word": WORD, "name": "Ines Roy", "phone": "+1 902 555 0177", "once": once[1], **changes}
    return browser.post("/en/join/B7H", data=fields)


def test_a_preview_spends_nothing_and_a_tap_lets_in_once(one: Pages) -> None:
    path, preview = link(one), one.client()
    for _ in range(3):
        said = preview.get(path)
        assert said.status_code == 200
        assert "will report as Ana Silva, at North Slip" in said.text
    assert living(one, "ana") == 0
    browser = one.client()
    answer = browser.post(path)
    assert (answer.status_code, answer.headers["location"]) == (303, "/en/machines")
    assert "__Host-logbook=" in answer.headers["set-cookie"]
    assert all(word in answer.headers["set-cookie"] for word in ("HttpOnly", "Secure", "SameSite=lax"))
    assert browser.get("/en/machines").status_code == 200
    again = one.client().post(path)
    assert again.status_code == 410
    assert "used already" in again.text
    assert "Ana" not in again.text
    assert living(one, "ana") == 1


def test_a_link_is_too_old_after_two_days_and_says_what_to_do(one: Pages) -> None:
    path = link(one)
    one.stage.now += 2 * DAY - 1
    assert one.client().get(path).status_code == 200
    one.stage.now += 1
    for answer in (one.client().get(path), one.client().post(path)):
        assert answer.status_code == 410
        assert "too old" in answer.text
        assert "supervisor" in answer.text
    assert living(one, "ana") == 0


def test_what_is_kept_is_said_with_the_numbers_of_policy_in_the_readers_language(pages: Callable[..., Pages]) -> None:
    one = pages(policy={"keep_texts": "P45D"})
    path = link(one)
    assert "Texts you send: 45 days, then erased" in one.client().get(path).text
    assert "Mensajes de texto que mande: 45 días" in one.client().get(path.replace("/en/", "/es/")).text


def test_a_newcomer_with_the_plates_word_is_in_unconfirmed_and_a_supervisor_hears(one: Pages) -> None:
    before, browser = entries(one), one.client()
    answer = join(one, browser)
    assert (answer.status_code, answer.headers["location"]) == (303, "/en/m/B7H")
    person = one.stage.register.person_by_phone("+19025550177")
    assert person is not None
    assert (person.state, person.name, person.sites) == ("unconfirmed", "Ines Roy", ("HX",))
    assert entries(one) == before + 1
    assert browser.get("/en/m/B7H").status_code == 200
    told = one.stage.messages("waiting")
    assert [each.person for each in told] == [one.stage.person("lee")]
    assert "0177" in told[0].body


def test_the_same_form_twice_is_one_newcomer(one: Pages) -> None:
    browser, before = one.client(), entries(one)
    once = re.search(r'name="once" value="([^"]+)"', browser.get("/en/join/B7H").text)
    assert once is not None
    for _ in range(2):
        assert join(one, one.client(), once=once[1]).headers["location"] == "/en/m/B7H"
    assert entries(one) == before + 1
    assert len(one.stage.messages("waiting")) == 1


def test_whoever_was_set_aside_is_out_at_once(one: Pages) -> None:
    browser = one.client()
    join(one, browser)
    person = one.stage.register.person_by_phone("+19025550177")
    fleet = one.stage.read(one.stage.program.registry.fleet)
    one.stage.program.intake.record(
        [Draft(one.stage.ids(), fleet, "set_aside", {"person": person.uuid})], one.stage.by("lee")
    )
    assert browser.get("/en/machines").headers["location"].startswith("/en/sign-in")


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"word": "puffin"}, "not the word on a plate"),
        ({"name": " \u202e "}, "what you are called"),
        ({"phone": "12"}, "no phone number"),
    ],
)
def test_what_is_wrong_is_said_and_what_was_entered_stays(one: Pages, changes: dict[str, str], says: str) -> None:
    before = entries(one)
    answer = join(one, one.client(), **changes)
    assert answer.status_code == 422
    assert says in answer.text
    assert 'value="+1 902 555 0177"' in answer.text or "phone" in changes
    assert entries(one) == before


def test_a_known_number_is_not_handed_to_whoever_types_it(pages: Callable[..., Pages]) -> None:
    one = pages(routes=("mail", "text"))
    fleet = one.stage.read(one.stage.program.registry.fleet)
    one.stage.program.intake.record([Draft(one.stage.ids(), fleet, "join_word", {"site": "HX", "word": WORD})], PROGRAM)
    before, browser = entries(one), one.client()
    answer = join(one, browser, phone="902 555 0111")
    assert answer.status_code == 200
    assert "Ana" not in answer.text
    assert "set-cookie" not in answer.headers
    assert entries(one) == before
    (sent,) = one.stage.messages("link")
    assert (sent.person, sent.route, sent.address) == (one.stage.person("ana"), "text", "+19025550111")
    path = re.search(rf"{ADDRESS}(/en/enter/\S+)", sent.body)
    assert path is not None
    assert one.client().post(path[1]).status_code == 303


def test_a_link_is_mailed_in_the_readers_language_and_strangers_hear_the_same(one: Pages) -> None:
    known = one.client().post("/en/sign-in/mail", data={"reach": "LEE@ferry.example"})
    stranger = one.client().post("/en/sign-in/mail", data={"reach": "nobody@ferry.example"})
    assert (known.status_code, known.text) == (stranger.status_code, stranger.text)
    (sent,) = one.stage.messages("link")
    assert sent.address == "lee@ferry.example"
    assert sent.not_after == one.stage.now + 2 * HOUR
    url = re.search(r"https://\S+", sent.body)
    assert url is not None
    browser = one.client()
    assert browser.post(url[0].removeprefix(ADDRESS)).headers["location"] == "/en/tonight"
    rows = one.stage.read(lambda c: sessions.of_person(c, one.stage.person("lee")))
    assert [row.kind for row in rows] == ["link"]


def test_a_person_is_mailed_only_so_often_and_that_shows_to_nobody(one: Pages) -> None:
    answers = [one.client().post("/en/sign-in/mail", data={"reach": "lee@ferry.example"}) for _ in range(5)]
    assert len(one.stage.messages("link")) == 3
    assert {(each.status_code, each.text) for each in answers} == {(200, answers[0].text)}


def test_ones_phones_are_listed_in_plain_words_and_can_be_taken_away(one: Pages) -> None:
    here, lost = one.client("ana"), one.client()
    lost.headers["user-agent"] = "Mozilla/5.0 (Linux; Android 14; Pixel) AppleWebKit/537.36 Chrome/126.0 Mobile"
    lost.post(link(one))
    said = here.get("/en/me").text
    assert "<b>Phone</b>" in said
    assert "Android, Chrome" in said
    assert "Pixel" not in said
    (taken,) = re.findall(r"/en/me/phones/([0-9a-f-]{36})", said)
    assert one.post(here, f"/en/me/phones/{taken}").headers["location"] == "/en/me?done=taken"
    assert lost.get("/en/machines").headers["location"].startswith("/en/sign-in")
    assert here.get("/en/machines").status_code == 200


def test_signing_out_forgets_kept_pages_and_leaves_the_queue(one: Pages) -> None:
    here, there = one.client("ana"), one.client("ana")
    token = here.cookies[cookie_name(one.house)]
    answer = one.post(here, "/en/me/sign-out", where="here")
    assert answer.headers["clear-site-data"] == '"cache"'
    assert answer.headers["location"] == "/en/sign-in"
    thief = one.client()
    thief.cookies.set(cookie_name(one.house), token)
    assert thief.get("/en/me").status_code == 303
    assert there.get("/en/me").status_code == 200
    third = one.client("ana")
    one.post(third, "/en/me/sign-out", where="everywhere")
    assert there.get("/en/me").status_code == 303
    assert living(one, "ana") == 0


def test_the_language_of_messages_changes_nothing_else_of_a_person(one: Pages) -> None:
    browser, before = one.client("lee"), one.stage.register.people[one.stage.person("lee")]
    answer = one.post(browser, "/en/me/language", language="es", id=one.stage.ids())
    assert answer.headers["location"] == "/es/me?done=language"
    after = one.stage.register.people[one.stage.person("lee")]
    assert after.language == "es"
    for name in ("role", "key", "name", "email", "phone", "sites", "state", "quiet"):
        assert getattr(after, name) == getattr(before, name), name


def test_whoever_left_is_out_and_stays_out_on_their_return(one: Pages) -> None:
    browser, unused = one.client("ana"), link(one)
    fleet, ana = one.stage.read(one.stage.program.registry.fleet), one.stage.person("ana")
    one.stage.program.intake.record([Draft(one.stage.ids(), fleet, "person_left", {"person": ana})], PROGRAM)
    assert browser.get("/en/me").status_code == 303
    assert one.client().post(unused).status_code == 404
    data = {"person": ana, "role": "cleaner", "sites": ["HX"], "key": "ana", "name": "Ana Silva"}
    one.stage.program.intake.record([Draft(one.stage.ids(), fleet, "person_set", data)], PROGRAM)
    assert browser.get("/en/me").status_code == 303  # whoever has that old phone now


def test_whoever_was_erased_is_out_at_once(one: Pages) -> None:
    from logbook.intake import erasing

    browser, ana = one.client("ana"), one.stage.person("ana")
    erasing.erase(one.house.intake, ana, "asked by the person", one.stage.by("own"), one.stage.ids())
    assert browser.get("/en/me").status_code == 303


def test_too_often_is_a_sentence_with_a_time(one: Pages) -> None:
    answers = [one.client().post("/en/sign-in/mail", data={"reach": "x@y.example"}) for _ in range(11)]
    assert [each.status_code for each in answers] == [200] * 10 + [429]
    assert 0 < int(answers[-1].headers["retry-after"]) <= 3600
    assert "tried too often" in answers[-1].text
    one.stage.now += HOUR
    assert one.client().post("/en/sign-in/mail", data={"reach": "x@y.example"}).status_code == 200


def test_the_last_hop_counts_where_a_proxy_of_ours_says_it_and_nowhere_else(one: Pages) -> None:
    from starlette.requests import Request

    from logbook.web.who.limits import client_of

    def asked(peer: str, said: str) -> str:
        scope = {"type": "http", "client": (peer, 1), "headers": [(b"x-forwarded-for", said.encode())], "app": one.app}
        return client_of(Request(scope))

    one.house.behind_proxy = True
    assert asked("127.0.0.1", "6.6.6.6, 203.0.113.9") == "203.0.113.9"
    assert asked("198.51.100.4", "203.0.113.9") == "198.51.100.4"
    assert asked("2001:db8::1", "") == asked("2001:db8::2", "")
    one.house.behind_proxy = False
    assert asked("127.0.0.1", "203.0.113.9") == "127.0.0.1"


def test_a_leader_takes_away_what_is_at_their_sites_and_nothing_else(one: Pages) -> None:
    from logbook.web.who.phones import revoke
    from logbook.web.who.visitor import NotYours, Visitor

    def who(key: str) -> Visitor:
        browser = one.client()
        id_ = one.sign_in(browser, key)
        row = one.stage.read(lambda c: sessions.by_id(c, id_))
        return Visitor(row, one.stage.register.people[one.stage.person(key)], "")

    ana, lee, kim, own = (who(key) for key in ("ana", "lee", "kim", "own"))
    for by, session in ((kim, ana), (ana, lee), (lee, own), (kim, lee)):
        with pytest.raises(NotYours):
            revoke(one.house, by, session.session.id)
    revoke(one.house, lee, ana.session.id)
    revoke(one.house, own, kim.session.id)
    assert (living(one, "ana"), living(one, "kim"), living(one, "own")) == (0, 0, 1)


def test_old_counts_and_sessions_are_erased(one: Pages) -> None:
    one.client("ana")
    one.client().post("/en/sign-in/mail", data={"reach": "x@y.example"})
    one.stage.now += 180 * DAY + 31 * DAY + MINUTE
    one.client().post("/en/sign-in/mail", data={"reach": "x@y.example"})
    assert one.stage.read(lambda c: sessions.of_person(c, one.stage.person("ana"))) == []
    rows = one.stage.read(lambda c: c.exec_driver_sql("SELECT count(*) FROM attempt").scalar())
    assert rows == 1


def test_an_older_browser_may_still_spend_its_link(one: Pages) -> None:
    """Without Fetch Metadata only the Origin says where a form comes from: the page must let the browser send it."""
    browser, path = one.client(), link(one)
    del browser.headers["sec-fetch-site"]
    assert "no-referrer" not in browser.get(path).text
    assert browser.get(path).headers["referrer-policy"] == "same-origin"
    assert browser.post(path, headers={"origin": "https://evil.example"}).status_code == 403
    assert browser.post(path, headers={"origin": "null"}).status_code == 403
    assert browser.post(path, headers={"origin": ADDRESS}).status_code == 303


def test_whoever_comes_in_finds_no_pages_of_whoever_was_there(one: Pages) -> None:
    assert "clear-site-data" not in one.client().post(link(one)).headers
    browser = one.client("lee")
    assert browser.post(link(one)).headers["clear-site-data"] == '"cache"'
    assert living(one, "lee") == 0
