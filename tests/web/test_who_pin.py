"""Shared phones: whose turn it is by name and PIN, and what wrong ones cost, a restart notwithstanding."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from logbook.bootstrap import house
from logbook.config import Config
from logbook.domain.instants import DAY, HOUR, MINUTE
from logbook.store import pins, sessions
from logbook.web.app import make_app
from logbook.web.settings import WebSettings
from logbook.web.who import links
from logbook.web.who.pin import hashed, pause, refused
from logbook.web.who.visitor import cookie_name
from tests.web.conftest import ADDRESS, Pages
from tests.whole.stage import FLEET

PIN = "8305"
MORE = [
    *FLEET["person"],
    {"key": "bo", "name": "Bo Reed", "role": "cleaner", "phone": "+19025550113", "sites": ["HX"]},
    {"key": "ana2", "name": "Ana Cruz", "role": "cleaner", "phone": "+19025550114", "sites": ["HX"]},
    {"key": "sj", "name": "Sam Jay", "role": "cleaner", "phone": "+17095550115", "sites": ["SJ"]},
]


@pytest.fixture
def one(pages: Callable[..., Pages]) -> Pages:
    made = pages(person=MORE)
    mine = hashed(PIN)
    for key in ("ana", "sj"):
        made.house.store.write(lambda c, key=key: pins.put(c, made.stage.person(key), mine, 1))
    return made


def shared(one: Pages) -> Any:
    """A browser that is North Slip's phone."""
    browser = one.client()
    path = links.offer(one.house, None, site="HX", purpose="shared").removeprefix(ADDRESS)
    assert "will belong to North Slip" in browser.get(path).text
    assert browser.post(path).headers["location"] == "/en/sign-in"
    return browser


def try_pin(one: Pages, browser: Any, key: str, said: str, **more: str) -> Any:
    return browser.post("/en/sign-in/pin", data={"person": one.stage.person(key), "pin": said, **more})


def test_the_sites_people_are_offered_by_first_names_and_nobody_elses(one: Pages) -> None:
    browser = shared(one)
    for path in ("/en/sign-in", "/en/join/B7H"):
        said = browser.get(path).text
        assert "shared phone of North Slip" in said
        for name in ("Ana S.", "Ana C.", "Bo", "Lee"):
            assert f"<span>{name}</span>" in said
        for name in ("Sam", "Reed", "Silva", "Jo Marsh"):
            assert name not in said
    assert "Ana" not in one.client().get("/en/sign-in").text


def test_a_pin_lets_in_for_a_night_and_not_you_ends_it(one: Pages) -> None:
    browser = shared(one)
    answer = try_pin(one, browser, "ana", PIN, next="/en/m/B7H")
    assert (answer.status_code, answer.headers["location"]) == (303, "/en/m/B7H")
    assert "Ana Silva" in browser.get("/en/me").text
    answer = one.post(browser, "/en/me/sign-out", where="here")
    assert "Ana S." in browser.get(answer.headers["location"]).text
    try_pin(one, browser, "ana", PIN)
    for _ in range(13):
        one.stage.now += HOUR
        assert browser.get("/en/machines").status_code == 200
    one.stage.now += HOUR
    assert browser.get("/en/machines").status_code == 303  # however busy the night was


def test_a_wrong_pin_and_an_unknown_person_are_answered_alike(one: Pages) -> None:
    browser = shared(one)
    answers = [
        try_pin(one, browser, "ana", "0471"),
        try_pin(one, browser, "bo", "0471"),  # has none
        try_pin(one, browser, "sj", PIN),  # another site's
    ]
    assert {each.status_code for each in answers} == {403}
    assert all("does not go with that name" in each.text for each in answers)
    assert all("set-cookie" not in each.headers for each in answers)


def test_without_the_sites_phone_a_pin_is_worth_nothing(one: Pages) -> None:
    answer = try_pin(one, one.client(), "ana", PIN)
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers


def test_five_wrong_pins_cost_growing_pauses_that_a_restart_does_not_forget(one: Pages) -> None:
    browser = shared(one)
    assert [try_pin(one, browser, "ana", "0471").status_code for _ in range(5)] == [403] * 5
    assert try_pin(one, browser, "ana", PIN).status_code == 429
    stands = house(one.stage.program, Config(base_address=ADDRESS, web=WebSettings()))
    anew = Pages(one.stage, stands, make_app(stands))
    other = anew.client()
    other.cookies.update(browser.cookies)
    answer = try_pin(anew, other, "ana", PIN)
    assert (answer.status_code, answer.headers["retry-after"]) == (429, "60")
    one.stage.now += MINUTE
    assert try_pin(anew, other, "ana", "0472").status_code == 403
    one.stage.now += MINUTE
    assert try_pin(anew, other, "ana", PIN).status_code == 429  # two minutes now
    one.stage.now += MINUTE
    assert try_pin(anew, other, "ana", PIN).status_code == 303
    assert try_pin(anew, other, "ana", "0473").status_code == 403  # and counts from the beginning
    anew.opened[0].close()


def test_a_person_is_guarded_on_another_phone_too_and_a_phone_against_many_names(one: Pages) -> None:
    first, second = shared(one), shared(one)
    for _ in range(5):
        try_pin(one, first, "ana", "0471")
    assert try_pin(one, second, "ana", PIN).status_code == 429
    for key in ("bo", "lee", "ana2", "bo", "lee"):
        assert try_pin(one, second, key, "0471").status_code == 403
    assert try_pin(one, second, "ana2", "0471").status_code == 429
    one.stage.now += DAY + MINUTE
    assert try_pin(one, second, "ana", PIN).status_code == 303


def test_pauses_double_up_to_four_hours() -> None:
    waits = [pause(n) // MINUTE for n in (0, 4, 5, 6, 7, 12, 13, 500)]
    assert waits == [0, 0, 1, 2, 4, 128, 240, 240]


@pytest.mark.parametrize("pin", ["123", "123456789", "12a4", "١٢٣٤", "", "12 34"])
def test_what_is_no_pin(pin: str) -> None:
    assert "four to eight" in (refused(pin, pin) or "")


@pytest.mark.parametrize(
    "pin", ["1234", "4321", "0000", "7777", "1212", "2580", "1985", "2024", "1221", "345678", "90123", "123123"]
)
def test_the_first_that_anybody_would_try(pin: str) -> None:
    assert "first that anybody" in (refused(pin, pin) or "")


def test_a_pin_is_kept_as_a_slow_hash_of_nineteen_mebibytes(one: Pages) -> None:
    assert refused(PIN, PIN) is None
    browser = one.client("bo")
    assert one.post(browser, "/en/me/pin", pin=PIN, again="8306").status_code == 422
    assert one.post(browser, "/en/me/pin", pin=PIN, again=PIN).headers["location"] == "/en/me?done=pin"
    kept = one.stage.read(lambda c: pins.of(c, one.stage.person("bo")))
    assert kept.startswith("$argon2id$v=19$m=19456,t=2,p=1$")
    assert PIN not in kept.rpartition("$")[0]
    assert try_pin(one, shared(one), "bo", PIN).status_code == 303
    one.post(browser, "/en/me/pin", what="none")
    assert one.stage.read(lambda c: pins.of(c, one.stage.person("bo"))) is None


def test_ones_link_on_a_shared_phone_sets_the_pin_and_lasts_a_night(one: Pages) -> None:
    browser = shared(one)
    path = links.offer(one.house, None, person=one.stage.person("bo")).removeprefix(ADDRESS)
    assert "For the night, the shared phone of North Slip will report as Bo Reed" in browser.get(path).text
    weak = browser.post(path, data={"pin": "1234", "again": "1234"})
    assert weak.status_code == 422
    assert browser.post(path, data={"pin": PIN, "again": PIN}).status_code == 303  # the link was not spent by that
    (row,) = one.stage.read(lambda c: sessions.of_person(c, one.stage.person("bo")))
    assert (row.kind, row.expires_at - row.made_at) == ("shared", 14 * HOUR)
    changed = one.post(browser, "/en/me/pin", pin="6194", again="6194", old="0471")
    assert "not your PIN until now" in changed.text
    assert one.post(browser, "/en/me/pin", pin="6194", again="6194", old=PIN).status_code == 303


def test_a_phone_that_was_taken_away_signs_everybody_on_it_out(one: Pages) -> None:
    from logbook.store import shared_phones

    browser = shared(one)
    try_pin(one, browser, "ana", PIN)
    (phone,) = one.stage.read(lambda c: shared_phones.of_site(c, "HX"))
    token = browser.cookies[cookie_name(one.house)]
    one.house.store.write(lambda c: shared_phones.revoke(c, phone.id, one.stage.now))
    assert token
    assert browser.get("/en/machines").status_code == 303
    assert "shared phone of" not in browser.get("/en/sign-in").text
    assert try_pin(one, browser, "ana", PIN).status_code == 403
