"""Who may what: rights widened, tokens kept beyond their end, others' entries struck, races. Each is refused."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable
from typing import Any

import pytest
from starlette.responses import Response
from starlette.testclient import TestClient

from logbook.domain.instants import DAY, parse
from logbook.domain.tapcode import entry_id
from logbook.store import log, pins, shared_phones
from logbook.web.who import links
from logbook.web.who import pin as pins_of
from logbook.web.who.limits import TooOften, client_of
from logbook.web.who.phones import make_shared, shared_cookie
from tests.web.conftest import ADDRESS, BROWSER, Pages
from tests.web.phone_forms import look
from tests.web.test_intruder import out, rows
from tests.web.test_intruder_words import silent
from tests.whole.stage import FLEET

EVENING = parse("2026-03-03T02:00:00Z")
AT = "/en/m/B7H"
BOTH = [
    *FLEET["person"],
    {"key": "rae", "name": "Rae Both", "role": "supervisor", "email": "rae@ferry.example", "sites": ["HX", "SJ"]},
    {"key": "sam", "name": "Sam Both", "role": "cleaner", "phone": "+17095550115", "sites": ["HX", "SJ"]},
    {"key": "joy", "name": "Joy Keys", "role": "keeper", "email": "joy@ferry.example", "sites": ["HX"]},
]


@pytest.fixture
def one(pages: Callable[..., Pages]) -> Pages:
    return pages(at=EVENING, person=BOTH)


def writer(browser: TestClient) -> str:
    return str(look(browser, AT).form["data-writer"])


def tap(browser: TestClient, proof: str, code: str = "23456789AB", at: str = AT, **more: Any) -> int:
    body = {"writer": proof, "tap": code, "age_ms": 0, "acts": [{"kind": "rinse", "data": {}}], **more}
    return int(browser.post(f"{at}/taps", json=body).status_code)


# -- rights widened -----------------------------------------------------------------------------------------------


def test_a_supervisor_becomes_nobody_who_leads_elsewhere(one: Pages) -> None:
    """A link for another supervisor, or a mail address of theirs changed, would open that one's other sites."""
    lee, rae, before = one.client("lee"), one.stage.person("rae"), rows(one)
    for path in (
        f"/en/register/people/{rae}/link",
        f"/en/register/people/{rae}/left",
        f"/en/register/people/{rae}/change",
    ):
        answer = one.post(
            lee, path, id=one.stage.ids(), name="Rae", role="supervisor", site="HX", email="lee2@ferry.example"
        )
        assert answer.status_code == 404, path
    assert lee.get(f"/en/register/people/{rae}").status_code == 404
    assert rows(one) == before
    assert one.post(one.client("own"), f"/en/register/people/{rae}/link", id=one.stage.ids()).status_code == 200


@pytest.mark.parametrize("role", ["supervisor", "keeper", "owner"])
def test_a_supervisor_raises_nobody_at_sites_of_others(one: Pages, role: str) -> None:
    lee, sam = one.client("lee"), one.stage.person("sam")
    page = lee.get(f"/en/register/people/{sam}/change").text
    seen = re.search(r'name="seen" value="([^"]*)"', page)
    assert seen is not None
    before = rows(one)
    answer = one.post(lee, f"/en/register/people/{sam}/change", id=one.stage.ids(), seen=seen[1], name="Sam Both", role=role,
                      site="HX", language="en", phone="+17095550115")  # fmt: skip
    assert answer.status_code in (404, 422)
    assert rows(one) == before
    assert one.stage.register.people[sam].role == "cleaner"


@pytest.mark.parametrize("key", ["ana", "joy", "lee"])
def test_what_owners_alone_may_is_not_there_for_others(one: Pages, key: str) -> None:
    browser, before = one.client(key), rows(one)
    own, ana = one.stage.person("own"), one.stage.person("ana")
    for path, fields in (
        ("/en/register/policy/late_after", {"id": one.stage.ids(), "value": "PT9H", "do": "save"}),
        ("/en/register/policy/late_after?site=SJ", {"id": one.stage.ids(), "value": "PT9H", "site": "SJ"}),
        ("/en/register/policy/late_after", {"id": one.stage.ids(), "value": "PT9H", "machine": "B8F"}),
        ("/en/register/sites/new", {"id": one.stage.ids(), "code": "ZZ", "name": "Z", "zone": "America/Halifax"}),
        ("/en/register/sites/SJ", {"id": one.stage.ids(), "name": "Z", "zone": "America/Halifax"}),
        ("/en/register/keys", {"id": one.stage.ids(), "label": "x", "may": "lead"}),
        ("/en/register/import/now", {"rows": "[]"}),
        (f"/en/register/erasing/{ana}/now", {"id": one.stage.ids(), "ground": "x", "typed": "Ana Silva"}),
        (f"/en/register/people/{own}/link", {"id": one.stage.ids()}),
        (f"/en/register/people/{own}/left", {"id": one.stage.ids()}),
        ("/en/register/sites/SJ/phones", {"id": one.stage.ids()}),
        ("/en/register/machines/B8F", {"id": one.stage.ids(), "act": "retired", "code": "B8F"}),
        ("/en/register/machines/new", {"id": one.stage.ids(), "site": "SJ", "code": "", "battery": "flooded"}),
    ):  # fmt: skip
        answer = one.post(browser, path, **fields)
        assert answer.status_code in (403, 404, 405), (path, answer.status_code)
    assert rows(one) == before


# -- entries of others --------------------------------------------------------------------------------------------


def test_what_others_told_is_not_ones_own_to_take_back(one: Pages) -> None:
    told = one.client("lee")
    assert tap(told, writer(told)) == 201
    entry, ana = entry_id("23456789AB", "rinse"), one.client("ana")
    proof, before = writer(ana), rows(one)
    for of in ("23456789AB", entry, [entry, "23456789AB"], entry.upper(), f" {entry}"):
        body = {"writer": proof, "tap": "CDEFGHJKMN", "undo_of": of}
        assert ana.post(f"{AT}/undo", json=body).status_code == 422
        if isinstance(of, str):
            assert one.post(ana, f"{AT}/undo", act="undo:CDEFGHJKMN", undo_of=of).status_code == 422
    assert tap(ana, proof) == 200  # somebody else's tap code: what stands stays theirs
    assert not one.stage.read(lambda c: log.struck(c, one.stage.machine("B7H")))
    assert rows(one) == before


def test_a_tap_at_another_sites_machine(one: Pages) -> None:
    ana, before = one.client("ana"), rows(one)
    proof = writer(ana)
    assert tap(ana, proof, at="/en/m/B8F") == 404
    assert one.post(ana, "/en/m/B8F", act="rinse:23456789AB").status_code == 404
    assert (
        ana.post("/en/m/B8F/undo", json={"writer": proof, "tap": "23456789AB", "undo_of": one.stage.ids()}).status_code
        == 404
    )
    for path in ("/en/m/B8F/state", "/en/history/B8F", "/en/history/B8F.ics", "/en/history/B7H.csv", "/en/due.ics"):
        assert ana.get(path).status_code == 404, path
    assert rows(one) == before


# -- tokens beyond their end --------------------------------------------------------------------------------------


def test_what_a_page_gives_its_taps_is_worth_nothing_once_its_phone_was_taken_away(one: Pages) -> None:
    """A site's phone that was lost: neither its session nor what its pages hold is taken any more."""
    given = Response()
    phone = one.house.store.write(lambda c: make_shared(one.house, c, given, "HX", "Android", None))
    browser = one.client()
    cookie = re.search(rf"{shared_cookie(one.house)}=([^;]+)", given.headers["set-cookie"])
    assert cookie is not None
    browser.cookies.set(shared_cookie(one.house), cookie[1])
    one.house.store.write(lambda c: pins.put(c, one.stage.person("ana"), pins_of.hashed("8305"), one.stage.now))
    assert browser.post("/en/sign-in/pin", data={"person": one.stage.person("ana"), "pin": "8305"}).status_code == 303
    proof = writer(browser)
    assert tap(browser, proof) == 201
    one.house.store.write(lambda c: shared_phones.revoke(c, phone.id, one.stage.now))
    before = rows(one)
    assert tap(browser, proof, "CDEFGHJKMN") == 401
    assert out(browser.get("/en/machines"))
    assert rows(one) == before


def test_signing_out_everywhere_ends_what_ended_before_too(one: Pages) -> None:
    elsewhere, here = one.client("ana"), one.client("ana")
    proof = writer(elsewhere)
    one.post(elsewhere, "/en/me/sign-out")
    assert tap(one.client(), proof) == 201  # written down before, sent after: taken, as it should be
    one.post(here, "/en/me/sign-out", where="everywhere")
    before = rows(one)
    assert tap(one.client(), proof, "CDEFGHJKMN") == 401
    assert rows(one) == before


def test_what_a_page_gives_its_taps_forged_or_of_one_who_left(one: Pages) -> None:
    ana = one.client("ana")
    proof, before = writer(ana), rows(one)
    session = proof.partition(".")[0]
    calendar = one.house.sign("calendar", session)
    for forged in (session, f"{session}.", f"{session}.{'A' * 22}", f"{session}.{calendar}", f"{one.stage.ids()}.{proof.partition('.')[2]}",
                   f"{session}.{proof.partition('.')[2]}é"):  # fmt: skip
        assert tap(silent(one), forged) == 401
    assert rows(one) == before
    one.post(one.client("lee"), f"/en/register/people/{one.stage.person('ana')}/left", id=one.stage.ids())
    left = rows(one)
    assert tap(one.client(), proof) == 401
    one.stage.now += 20 * DAY
    assert rows(one) == left


def test_a_calendars_address_forged_or_after_its_session(one: Pages) -> None:
    lee = one.client("lee")
    path = re.search(r"/en/due/[^\"\s<]+\.ics", lee.get("/en/history").text)
    assert path is not None
    stranger, person = silent(one), one.stage.person("lee")
    assert stranger.get(path[0]).status_code == 200
    assert "cookie" not in stranger.get(path[0]).headers.get("vary", "").lower()
    own, proof = one.stage.person("own"), path[0].rpartition(f"{person}.")[2]
    for forged in (
        f"/en/due/{own}.{proof}",
        f"/en/due/{person}.{'A' * 22}.ics",
        f"/en/due/{person}.%C3%A9.ics",
        f"/en/due/{person}..ics",
    ):
        assert stranger.get(forged).status_code == 404
    one.post(lee, "/en/me/sign-out")
    assert stranger.get(path[0]).status_code == 404


# -- races --------------------------------------------------------------------------------------------------------


def together(count: int, act: Callable[[int], Any]) -> list[Any]:
    """The answers to the same thing done by many at once."""
    found: list[Any] = []
    gate = threading.Barrier(count)

    def go(number: int) -> None:
        gate.wait()
        try:
            found.append(act(number))
        except TooOften:
            found.append("wait")

    threads = [threading.Thread(target=go, args=(number,)) for number in range(count)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    return found


def test_fifty_pins_tried_at_once_are_worth_five(one: Pages, monkeypatch: pytest.MonkeyPatch) -> None:
    ana = one.stage.person("ana")
    one.house.store.write(lambda c: pins.put(c, ana, pins_of.hashed("8305"), one.stage.now))
    looked: list[str] = []

    def counted(hash: str, said: str) -> bool:
        looked.append(said)
        return False

    monkeypatch.setattr(pins_of, "_same", counted)
    found = together(50, lambda number: pins_of.holds(one.house, ana, "a phone", f"{number:04d}"))
    assert (found.count(False), found.count("wait"), len(looked)) == (pins_of.FREE, 50 - pins_of.FREE, pins_of.FREE)


def test_a_link_spent_twice_at_once_lets_one_in(one: Pages) -> None:
    path, before = (
        links.offer(one.house, None, person=one.stage.person("ana")).removeprefix(ADDRESS),
        rows(one, "session"),
    )
    browsers = [one.client() for _ in range(6)]
    found = together(6, lambda number: browsers[number].post(path).status_code)
    assert sorted(found) == [303, 410, 410, 410, 410, 410]
    assert rows(one, "session")["session"] == before["session"] + 1


def test_the_same_tap_at_once_from_several_windows_stands_once(one: Pages) -> None:
    browser = one.client("ana")
    proof = writer(browser)
    before = rows(one)["entry"]
    windows = [one.client() for _ in range(6)]
    found = together(6, lambda number: tap(windows[number], proof))
    assert sorted(found) == [200, 200, 200, 200, 200, 201]
    assert rows(one)["entry"] == before + 1


# -- what tells too much ------------------------------------------------------------------------------------------


def test_asking_for_a_link_takes_as_long_for_a_stranger(one: Pages, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is looked up before the answer has left."""
    from logbook.web.who import sign_in

    order: list[str] = []
    monkeypatch.setattr(sign_in, "send_link", lambda _house, said: order.append(said))
    whole = one.app

    async def watched(scope: Any, receive: Any, send: Any) -> None:
        async def sent(message: Any) -> None:
            if message["type"] == "http.response.body" and not message.get("more_body"):
                order.append("answered")
            await send(message)

        await whole(scope, receive, sent)

    browser = TestClient(watched, base_url=ADDRESS, headers=BROWSER)
    browser.post("/en/sign-in/mail", data={"reach": "lee@ferry.example"})
    assert order == ["answered", "lee@ferry.example"]


def test_pages_of_people_are_kept_by_nobody(one: Pages) -> None:
    for path in ("/en/m/B7H", "/en/machines", "/en/me", "/en/tonight", "/en/history", "/en/history/B7H", "/en/history/B7H.csv",
                 "/en/history/B7H.jsonl", "/en/due.ics", "/en/register", "/en/register/people", "/en/m/B7H/state",
                 "/en/tonight/rows.json", "/en/sign-in", "/en/join/B7H", "/"):  # fmt: skip
        answer = one.client("own").get(path)
        assert "no-store" in answer.headers["cache-control"], path
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert "frame-ancestors 'none'" in answer.headers["content-security-policy"]
        assert answer.headers["referrer-policy"] == "same-origin"
        assert answer.headers["cross-origin-opener-policy"] == "same-origin"
        assert answer.headers["strict-transport-security"]
        assert "server" not in answer.headers
        assert "access-control-allow-origin" not in answer.headers


def test_cookies_are_for_this_host_by_https_alone_and_no_script(one: Pages) -> None:
    path = links.offer(one.house, None, person=one.stage.person("ana")).removeprefix(ADDRESS)
    said = one.client().post(path).headers["set-cookie"].lower()
    assert said.startswith("__host-logbook=")
    for flag in ("secure", "httponly", "samesite=lax", "path=/"):
        assert flag in said
    assert "domain" not in said


def test_a_page_that_fails_tells_the_log_no_link(one: Pages, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    from logbook.web.who import enter

    def broken(*_given: Any) -> None:
        raise RuntimeError("for a test")

    monkeypatch.setattr(enter, "look", broken)
    token = "tOkEn" * 8
    answer = silent(one).get(f"/en/enter/{token}")
    assert answer.status_code == 500
    told = capsys.readouterr()
    assert "a page has failed" in told.out + told.err
    assert token not in told.out + told.err


@pytest.mark.parametrize(
    ("peer", "said", "is_"),
    [("::ffff:192.0.2.9", "", "192.0.2.9"), ("::ffff:192.0.2.10", "", "192.0.2.10"), ("192.0.2.9", "10.0.0.1", "192.0.2.9"),
     ("127.0.0.1", "10.0.0.1, 192.0.2.7", "192.0.2.7"), ("127.0.0.1", "\t", "127.0.0.1"), ("2001:db8::1", "", "2001:db8::/64")],
)  # fmt: skip
def test_whose_tries_are_counted(one: Pages, peer: str, said: str, is_: str) -> None:
    from starlette.requests import Request

    one.house.behind_proxy = True
    head = [(b"x-forwarded-for", said.encode())] if said else []
    scope = {"type": "http", "app": one.app, "client": (peer, 1), "headers": head}
    assert client_of(Request(scope)) == is_


def test_an_answer_is_the_same_for_a_person_who_is_not_there(one: Pages) -> None:
    lee, seen = one.client("lee"), set()
    for id_ in (one.stage.person("own"), one.stage.person("kim"), one.stage.ids(), "x"):
        answer = lee.get(f"/en/register/people/{id_}")
        seen.add((answer.status_code, re.sub(r"[0-9a-f-]{36}|people/\w+|\d+ s", "", answer.text.partition("<main")[2])))
    assert len(seen) == 1
    for code in ("B8F", "ZZZ"):
        answer = lee.get(f"/en/history/{code}")
        seen.add((answer.status_code, re.sub(r"[0-9a-f-]{36}|\d+ s", "", answer.text.partition("<main")[2])))
    assert len(seen) == 1


def test_the_same_name_by_plain_http_is_another_site(one: Pages) -> None:
    """Whoever sits between can answer for it there, and have an older browser send a form from its page."""
    path, before = (
        links.offer(one.house, None, person=one.stage.person("ana")).removeprefix(ADDRESS),
        rows(one, "session"),
    )
    older = TestClient(one.app, base_url=ADDRESS, follow_redirects=False)
    for origin in (
        "http://log.ferry.example",
        "null",
        "",
        "https://",
        "https://log.ferry.example.evil.example",
        "log.ferry.example",
    ):
        assert older.post(path, headers={"origin": origin}).status_code == 403, origin
    assert rows(one, "session") == before
    assert older.post(path, headers={"origin": ADDRESS}).status_code == 303
