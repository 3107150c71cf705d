"""The short way of a post answers as the long way does, which the description is made of."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from starlette.middleware.gzip import GZipMiddleware
from starlette.testclient import TestClient
from starlette.types import Receive, Scope, Send

from logbook.store import StoreError
from logbook.web.api import posting as short
from logbook.web.api import together
from tests.web.conftest import Pages
from tests.web.test_api import Asking, entry, posting

SAME = (
    "content-type",
    "content-encoding",
    "cache-control",
    "www-authenticate",
    "vary",
    "accept-encoding",
    "connection",
)


def long_way(one: Asking) -> TestClient:
    """A client that is led through routing and dependencies."""
    api = GZipMiddleware(one.pages.app.state.api, minimum_size=2_000)

    async def app(scope: Scope, receive: Receive, send: Send) -> None:
        await api({**scope, "root_path": "/api/v1"}, receive, send)

    return TestClient(app, base_url="https://log.ferry.example")


def both(one: Asking, body: bytes, headers: dict[str, str]) -> list[Any]:
    clients = (one.client, long_way(one))
    return [each.post("/api/v1/entries", content=body, headers=headers) for each in clients]


JSON = {"content-type": "application/json"}
CASES: dict[str, tuple[Any, dict[str, str], int]] = {
    "no key": (posting(entry()), {"authorization": ""}, 401),
    "no bearer": (posting(entry()), {"authorization": "Basic YTpi"}, 401),
    "unknown key": (posting(entry()), {"authorization": "Bearer nobodys"}, 401),
    "no json": (posting(entry()), {"content-type": "text/plain"}, 415),
    "unreadable": (b"{", {}, 400),
    "no UTF-8": (b'{"entries":"\xff"}', {}, 400),
    "too large": (b" " * 1_000_001, {}, 413),
    "a form's fault": ({"entries": []}, {}, 422),
    "an unknown reporter": (posting(entry(), reporter="nobody"), {}, 422),
    "an unknown machine": (posting(entry(machine="ZZZ")), {}, 404),
    "bad data": (posting(entry(kind="put_away", charge_pct=101)), {}, 422),
}


@pytest.mark.parametrize("name", CASES)
def test_what_is_wrong_is_told_alike(pages: Callable[..., Pages], name: str) -> None:
    body, headers, status = CASES[name]
    one = Asking(pages())
    octets = body if isinstance(body, bytes) else json.dumps(body).encode()
    first, second = both(one, octets, {**JSON, "authorization": f"Bearer {one.key('post')}", **headers})
    assert first.status_code == second.status_code
    assert first.status_code == status, first.text
    assert first.json() == second.json()
    assert {name: first.headers.get(name) for name in SAME} == {name: second.headers.get(name) for name in SAME}


def test_what_is_recorded_is_told_alike_and_a_long_answer_is_packed(pages: Callable[..., Pages]) -> None:
    one = Asking(pages())
    headers = {**JSON, "authorization": f"Bearer {one.key('post')}", "accept-encoding": "gzip"}
    for count, packed in ((1, None), (30, "gzip")):
        body = json.dumps(posting(*(entry() for _ in range(count)))).encode()
        assert one.client.post("/api/v1/entries", content=body, headers=headers).status_code == 201
        first, second = both(one, body, headers)
        assert (first.status_code, second.status_code) == (200, 200)
        assert first.json() == second.json()
        assert first.headers.get("content-encoding") == packed
        assert {name: first.headers.get(name) for name in SAME} == {name: second.headers.get(name) for name in SAME}


@pytest.mark.parametrize(
    ("why", "status"),
    [(StoreError("full"), 503), (LookupError("none"), 503), (KeyError("x"), 500), (RuntimeError("x"), 500)],
)
def test_what_fails_is_told_alike_and_what_nobody_foresaw_is_raised_for_the_log(
    pages: Callable[..., Pages], monkeypatch: pytest.MonkeyPatch, why: Exception, status: int
) -> None:
    one = Asking(pages())
    headers = {**JSON, "authorization": f"Bearer {one.key('post')}"}

    async def failing(*_: Any) -> Any:
        raise why

    monkeypatch.setattr(together.Together, "post", failing)
    body = json.dumps(posting(entry())).encode()
    quiet = [TestClient(client.app, base_url="https://log.ferry.example", raise_server_exceptions=False)
             for client in (one.client, long_way(one))]  # fmt: skip
    first, second = (each.post("/api/v1/entries", content=body, headers=headers) for each in quiet)
    assert (first.status_code, first.json()) == (second.status_code, second.json())
    assert first.status_code == status
    if type(why) is RuntimeError:
        with pytest.raises(RuntimeError):
            one.client.post("/api/v1/entries", content=body, headers=headers)


def test_posts_go_the_short_way_and_all_else_the_long_one(
    pages: Callable[..., Pages], monkeypatch: pytest.MonkeyPatch
) -> None:
    one = Asking(pages())
    gone: list[str] = []
    posted = short.Posting._posted

    async def seen(self: Any, request: Any) -> Any:
        gone.append(request.method)
        return await posted(self, request)

    monkeypatch.setattr(short.Posting, "_posted", seen)
    token = one.key("post")
    assert one.post("/entries", token, posting(entry())).status_code == 201
    assert one.client.put("/api/v1/entries").status_code == 405
    assert one.post("/entries/", token, posting(entry())).status_code == 404
    assert gone == ["POST"]
