"""The Register's page of keys: for owners; a key is shown once, works at once, and is taken away at once."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from logbook.domain.keyring import SCOPES
from logbook.store import api_keys
from logbook.web.register.keys import MAY
from tests.web.conftest import Pages

PATH = "/en/register/keys"


def made(one: Pages, browser: Any, **fields: Any) -> Any:
    """Send the form as the page gave it."""
    id_ = re.search(r'name="id" value="([^"]+)"', browser.get(PATH).text)
    assert id_ is not None
    return one.post(browser, PATH, **{"id": id_[1], "label": "workshop", "may": ["read"], **fields})


def keys(one: Pages) -> list[Any]:
    found: list[Any] = one.stage.read(api_keys.every)
    return found


def test_the_page_says_of_each_scope_what_the_keyring_says() -> None:
    assert MAY == SCOPES


@pytest.mark.parametrize("who", ["lee", "ana", None])
def test_only_owners_come_in(pages: Callable[..., Pages], who: str | None) -> None:
    one = pages()
    browser = one.client(who)
    assert browser.get(PATH).status_code == (303 if who is None else 404)
    if who is not None:
        answer = one.post(browser, PATH, id="0192d5c8-0000-7000-8000-000000000001", label="mine", may="read")
        assert answer.status_code == 404
        assert one.post(browser, f"{PATH}/x/gone").status_code == 404
    assert keys(one) == []


def test_a_key_is_shown_once_and_works_until_it_is_taken_away(pages: Callable[..., Pages]) -> None:
    one = pages()
    browser = one.client("own")
    answer = made(one, browser, may=["read", "post"], site=["HX"], person=one.stage.person("ana"))
    assert (answer.status_code, answer.headers["cache-control"]) == (200, "no-store")
    token = re.search(r"mlk_[\w-]{43}", answer.text)
    assert token is not None
    assert token[0] not in browser.get(PATH).text
    (key,) = keys(one)
    assert (key.label, key.may, key.sites, key.person) == (
        "workshop",
        {"read", "post"},
        ("HX",),
        one.stage.person("ana"),
    )
    assert key.made_by == one.stage.person("own")
    program = one.client()
    headers = {"authorization": f"Bearer {token[0]}"}
    assert program.get("/api/v1/machines", headers=headers).status_code == 200
    assert "Last used" in browser.get(PATH).text
    assert one.post(browser, f"{PATH}/{key.id}/gone").status_code == 303
    assert program.get("/api/v1/machines", headers=headers).status_code == 401
    assert "Taken away" in browser.get(PATH).text
    assert one.post(browser, f"{PATH}/none/gone").status_code == 404


def test_the_form_sent_twice_makes_one_key(pages: Callable[..., Pages]) -> None:
    one = pages()
    browser = one.client("own")
    id_ = one.house.intake.new_id()
    assert made(one, browser, id=id_).status_code == 200
    again = made(one, browser, id=id_)
    assert (again.status_code, "mlk_" in again.text) == (409, False)
    assert "was made already" in again.text
    assert len(keys(one)) == 1


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"label": " "}, "Say which program"),
        ({"label": "x" * 81}, "Say which program"),
        ({"may": []}, "Tick what the key may do"),
        ({"may": ["everything"]}, "Tick what the key may do"),
        ({"site": ["nowhere"]}, "One of these sites"),
        ({"person": "nobody"}, "That person"),
    ],
)
def test_what_cannot_be_made_is_said_and_what_was_entered_is_kept(
    pages: Callable[..., Pages], fields: dict[str, Any], said: str
) -> None:
    one = pages()
    answer = made(one, one.client("own"), **{"label": "the <b>desk</b>", **fields})
    assert answer.status_code == 422
    assert said in answer.text
    if "label" not in fields:
        assert 'value="the &lt;b&gt;desk&lt;/b&gt;"' in answer.text
    assert keys(one) == []


def test_a_form_of_nobodys_makes_none(pages: Callable[..., Pages]) -> None:
    one = pages()
    browser = one.client("own")
    answer = browser.post(PATH, data={"id": one.house.intake.new_id(), "label": "a", "may": "read", "csrf": "x"})
    assert answer.status_code == 403
    assert keys(one) == []
