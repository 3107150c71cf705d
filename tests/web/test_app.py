"""What holds for every page: the policy it leaves with, who may write, what an error says."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from logbook.store import sessions
from logbook.web import assets
from tests.web.conftest import Pages


def test_every_answer_leaves_with_its_policy(pages: Callable[..., Pages]) -> None:
    browser = pages().client("lee")
    for path in ("/", "/en/nowhere", assets.address("icon.svg"), "/static/x/none.css", "/static/x/none.js"):
        answer = browser.get(path)
        policy = answer.headers["content-security-policy"]
        assert "unsafe" not in policy
        assert "default-src 'none'" in policy
        assert "require-trusted-types-for 'script'" in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["strict-transport-security"]


def test_a_style_carries_only_what_binds_it_itself(pages: Callable[..., Pages]) -> None:
    browser = pages().client()
    for name in ("base.css", "phone.js"):
        headers = browser.get(assets.address(name)).headers
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["cross-origin-resource-policy"] == "same-origin"
        assert not {"content-security-policy", "permissions-policy", "set-cookie"} & set(headers)


def test_files_are_kept_by_browsers_as_long_as_they_are_the_same(pages: Callable[..., Pages]) -> None:
    browser = pages().client()
    assert "immutable" in browser.get(assets.address("base.css")).headers["cache-control"]
    assert browser.get("/static/older/base.css").headers["cache-control"] == "no-cache"
    for name in ("../app.py", "%2e%2e%2fapp.py", "base.py", ""):
        assert browser.get(f"/static/{assets.edition()}/{name}").status_code in {404, 405}


def test_who_is_not_signed_in_is_asked_in_and_comes_back_to_where_they_were(pages: Callable[..., Pages]) -> None:
    answer = pages().client().get("/", headers={"accept-language": "es-MX,es;q=0.9"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/es/sign-in")


def test_what_is_not_there_is_said_in_the_readers_language(pages: Callable[..., Pages]) -> None:
    browser = pages().client("lee")
    assert "There is nothing here" in browser.get("/en/nowhere").text
    assert "Aquí no hay nada" in browser.get("/es/nowhere").text


@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"sec-fetch-site": "none"},
        {"sec-fetch-site": "", "origin": "https://elsewhere.example"},
    ],
)
def test_what_another_site_asks_for_is_not_done(pages: Callable[..., Pages], headers: dict[str, str]) -> None:
    browser = pages().client("lee")
    answer = browser.post("/en/me/sign-out", headers=headers)
    assert answer.status_code == 403
    assert "Nothing was saved" in answer.text


def test_more_than_a_page_needs_is_not_read(pages: Callable[..., Pages]) -> None:
    assert pages().client("lee").post("/en/me", content=b"x" * 12_000_001).status_code == 413


def test_a_session_that_was_taken_away_is_nobodys_at_once(pages: Callable[..., Pages]) -> None:
    one = pages()
    browser = one.client()
    id_ = one.sign_in(browser, "lee")
    assert browser.get("/").headers["location"] == "/en/tonight"
    one.house.store.write(lambda c: sessions.revoke(c, id_, one.stage.now))
    assert browser.get("/").headers["location"] == "/en/sign-in"


def test_the_clocks_silence_is_shown_on_every_page(pages: Callable[..., Pages]) -> None:
    one = pages()
    browser = one.client("lee")
    assert "The clock has never run" in browser.get("/en/nowhere").text
    one.stage.step()
    one.stage.now += 12_000_000
    assert "looked at everything 12 s ago" in browser.get("/en/nowhere").text
    assert "revisó todo hace 12 s" in browser.get("/es/nowhere").text
    one.stage.now += 4 * 60_000_000
    said = browser.get("/en/nowhere").text
    assert "The clock last looked 4 min ago: no alert is being raised" in said
    assert "clock" not in one.client().get("/en/nowhere").text  # nobody's business outside


def test_whoever_looks_only_whether_a_page_is_there_is_told_so(pages: Callable[..., Pages]) -> None:
    """RFC 9110, 9.3.2: the same head as of GET, and no body."""
    browser = pages().client("lee")
    for path, status in (("/en/tonight", 200), ("/en/nowhere", 404), (assets.address("base.css"), 200)):
        got, head = browser.get(path), browser.head(path)
        assert (head.status_code, head.content) == (got.status_code, b"") == (status, b"")
        assert head.headers["content-type"] == got.headers["content-type"]


def test_a_fleet_without_a_machine_begins_at_the_register(pages: Callable[..., Pages]) -> None:
    browser = pages(machine=[]).client("own")
    assert browser.get("/en/tonight").headers["location"] == "/en/register"
