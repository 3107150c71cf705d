"""Every address of the Register and of the keeper's page, asked by each who has no business there.

The addresses are read from the app itself, so that a new one is asked too.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from fastapi.routing import APIRoute
from sqlalchemy import text as sql

from logbook.web.rooms import routers
from tests.web.conftest import Pages
from tests.whole.stage import FLEET

TABLES = ("entry", "session", "shared_phone", "message", "private_word", "api_key", "link", "pin")
KEEPER = {"key": "kay", "name": "Kay Bright", "role": "keeper", "email": "kay@ferry.example", "sites": ["HX"]}
CLEANER = {"key": "eve", "name": "Eve Strand", "role": "cleaner", "phone": "+17095550177", "sites": ["SJ"]}
# Of another site than a supervisor of HX has; `owners`: not a supervisor's even at their own site.
ELSEWHERE = {"code": "B8F", "site": "SJ"}
OWNERS = (
    "/register/sites/new", "/register/import", "/register/import/now", "/register/import/template.csv",
    "/register/keys", "/register/keys/k/gone", "/register/erasing/{person}", "/register/erasing/{person}/now",
)  # fmt: skip


def _routes(router: Any) -> Iterator[APIRoute]:
    for each in router.routes:
        if isinstance(each, APIRoute):
            yield each
        elif (inner := getattr(each, "original_router", None)) is not None:
            yield from _routes(inner)


def addresses() -> list[tuple[str, str]]:
    """(method, path) of every address that begins with /register or /keeper, its language left out."""
    found = {
        (method, route.path.removeprefix("/{lang}"))
        for router in routers() for route in _routes(router) for method in (route.methods or ())
        if route.path.startswith(("/{lang}/register", "/{lang}/keeper")) and method != "HEAD"
    }  # fmt: skip
    return sorted(found)


ALL = addresses()


def filled(one: Pages, path: str, code: str, site: str, person: str) -> str:
    """An address with things in it that exist."""
    path = path.replace("/sites/{code}", f"/sites/{site}").replace("{code}", code)
    path = re.sub(r"\{(id|person)\}", one.stage.person(person), path)
    path = path.replace("/policy/{name}", "/policy/filter").replace("{kind}", "csv")
    return re.sub(r"\{\w+\}", "k", path).replace(one.stage.person(person) + "/gone", "k/gone")


def fields(one: Pages, code: str, site: str) -> dict[str, str]:
    """What most forms would take, were they theirs."""
    return {
        "id": one.house.intake.new_id(), "name": "Taken", "code": code, "zone": "America/Halifax", "site": site,
        "role": "cleaner", "language": "en", "act": "held", "to": site, "machine": code, "topic": "charging",
        "by": "owner", "chosen": "false", "label": "x", "may": "read", "ground": "asked by the person", "typed": code,
        "way": "mail", "part": "p", "qty": "1", "phone": "k", "session": "k", "rows": "[]", "battery": "sealed",
    }  # fmt: skip


def rows(one: Pages) -> dict[str, int]:
    return {n: one.stage.read(lambda c, n=n: c.execute(sql(f"SELECT count(*) FROM {n}")).scalar()) for n in TABLES}


@pytest.fixture
def one(pages: Callable[..., Pages]) -> Pages:
    made = pages(person=[*FLEET["person"], KEEPER, CLEANER])
    made.house.routes = frozenset({"mail", "text"})
    made.stage.tell("B8F", "start", who="eve")
    return made


def test_the_addresses_are_found() -> None:
    assert len(ALL) > 40
    assert ("POST", "/register/people/{id}/send") in ALL
    assert ("GET", "/keeper") in ALL


@pytest.mark.parametrize("key", ["ana", "kay", None])
def test_whoever_leads_nothing_reads_and_writes_nothing(one: Pages, key: str | None) -> None:
    """A cleaner, a keeper (but for their own page), and somebody who is not signed in."""
    browser, before = one.client(key), rows(one)
    for method, shape in ALL:
        if key == "kay" and shape.startswith("/keeper"):
            continue
        path = "/en" + filled(one, shape, "B7H", "HX", "lee")
        if method == "GET":
            answer = browser.get(path)
        elif key is None:
            answer = browser.post(path, data=fields(one, "B7H", "HX"))
        else:
            answer = one.post(browser, path, **fields(one, "B7H", "HX"))
        if key is None:
            assert answer.status_code in (303, 401, 403), (method, path)
            assert answer.status_code != 303 or answer.headers["location"].startswith("/en/sign-in"), path
        else:
            assert answer.status_code == 404, (method, path)
        assert "Lee Shaw" not in answer.text, path
        # The address itself comes back, as the same page in another language.
        assert "B7H" not in answer.text.partition("<main")[2], path
    assert rows(one) == before


def test_a_keeper_reaches_no_other_site(one: Pages) -> None:
    kay, before = one.client("kay"), rows(one)
    page = kay.get("/en/keeper").text
    assert "B7H" in page
    assert "B8F" not in page
    for act in ("key_out", "key_back", "counted", "ordered", "received"):
        assert one.post(kay, "/en/keeper/B8F", **{**fields(one, "B8F", "SJ"), "act": act}).status_code == 404
    for act in ("held", "retired", "void", "trained", "note"):
        assert one.post(kay, "/en/keeper/B7H", **{**fields(one, "B7H", "HX"), "act": act}).status_code == 404
    assert rows(one) == before
    for name in ("Ana Silva", "Eve Strand", "Lee Shaw"):
        assert name not in page


def test_a_supervisor_reads_and_writes_nothing_of_another_site(one: Pages) -> None:
    """What names a thing of another site is not there; what names none shows none of it."""
    lee, before = one.client("lee"), rows(one)
    asked = 0
    for method, shape in ALL:
        path = "/en" + filled(one, shape, "B8F", "SJ", "eve")
        # An address that names nothing is asked with a field that does.
        named = "{" in shape and "{name}" not in shape and "{kind}" not in shape
        of = "" if named else "?site=SJ"
        answer = lee.get(path + of) if method == "GET" else one.post(lee, path, **fields(one, "B8F", "SJ"))
        for secret in ("Eve Strand", "Harbour Hall", "+1 709 555 0177"):
            assert secret not in answer.text, (method, path)
        if named:
            assert answer.status_code == 404, (method, path)
            asked += 1
        elif method == "POST":
            assert answer.status_code in (404, 422), (method, path)
    assert asked > 20
    assert rows(one) == before


def test_what_is_an_owner_s_alone_is_not_a_supervisor_s(one: Pages) -> None:
    """At their own site, too."""
    lee, before = one.client("lee"), rows(one)
    known = {filled(one, shape, "B7H", "HX", "ana") for _method, shape in ALL}
    for shape in OWNERS:
        path = shape.replace("{person}", one.stage.person("ana"))
        assert path in known, shape
        answers = [one.post(lee, f"/en{path}", **fields(one, "B7H", "HX"))]
        if ("GET", shape) in ALL:
            answers.append(lee.get(f"/en{path}"))
        assert {each.status_code for each in answers} <= {404, 405}, path
    for site in ("", "SJ"):
        answer = one.post(lee, "/en/register/policy/filter", **{**fields(one, "", site), "machine": ""})
        assert answer.status_code == 404
    assert rows(one) == before


def test_the_same_addresses_answer_whom_they_are_for(one: Pages) -> None:
    """So that what is refused above is refused for who asks, and not because nothing is there."""
    own = one.client("own")
    for method, shape in ALL:
        if method == "GET":
            path = "/en" + filled(one, shape, "B7H", "HX", "ana")
            assert own.get(path).status_code == 200, path
