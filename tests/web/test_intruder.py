"""The intruder's list: what somebody tries who means harm. Each is refused, and the log's rows are as many as before."""

from __future__ import annotations

import base64
import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from fastapi.routing import APIRoute
from sqlalchemy import text as sql

from logbook.domain.instants import MINUTE
from logbook.intake import PROGRAM, Draft
from logbook.store import sessions
from logbook.web.who import links
from logbook.web.who.nexts import own_path
from logbook.web.who.visitor import cookie_name
from tests.web.conftest import ADDRESS, Pages

TABLES = ("entry", "session", "shared_phone", "pin", "passkey", "message", "private_word", "api_key", "link")
WORD = "gannet"


@pytest.fixture
def one(pages: Callable[..., Pages]) -> Pages:
    made = pages()
    fleet = made.stage.read(made.stage.program.registry.fleet)
    made.stage.program.intake.record(
        [Draft(made.stage.ids(), fleet, "join_word", {"site": "HX", "word": WORD})], PROGRAM
    )
    return made


def rows(one: Pages, *tables: str) -> dict[str, int]:
    """How many rows there are, by table."""
    return {
        name: one.stage.read(lambda c, name=name: c.execute(sql(f"SELECT count(*) FROM {name}")).scalar())
        for name in tables or TABLES
    }


@pytest.fixture
def unchanged(one: Pages) -> Callable[[], None]:
    """Call it to hold that nothing was written since the last call, or the beginning."""
    before = [rows(one)]

    def holds() -> None:
        now = rows(one)
        assert now == before[0]

    def begin_or_hold(*, anew: bool = False) -> None:
        if anew:
            before[0] = rows(one)
        else:
            holds()

    return begin_or_hold


def out(answer: Any) -> bool:
    """Whether the answer is for a stranger."""
    return answer.status_code == 303 and answer.headers["location"].startswith("/en/sign-in")


def link(one: Pages, key: str = "ana") -> str:
    return links.offer(one.house, None, person=one.stage.person(key)).removeprefix(ADDRESS)


def test_a_link_replayed(one: Pages, unchanged: Any) -> None:
    path = link(one)
    assert one.client().post(path).status_code == 303
    unchanged(anew=True)
    for _ in range(3):
        answer = one.client().post(path)
        assert answer.status_code == 410
        assert "set-cookie" not in answer.headers
    unchanged()


def test_a_link_guessed(one: Pages, unchanged: Any) -> None:
    path = link(one)
    unchanged(anew=True)
    found = [one.client().post(path[:-1] + ("A" if path[-1] != "A" else "B")).status_code]
    found += [one.client().get(f"/en/enter/{number}").status_code for number in range(40)]
    assert set(found) == {404, 429}
    assert found.count(429) >= 10
    unchanged()


def test_a_cookie_stolen_before_its_session_was_taken_away_or_ended(one: Pages, unchanged: Any) -> None:
    thief, machine = one.client(), one.stage.machine("B7H")
    for end in (sessions.revoke, sessions.end):
        id_ = one.sign_in(thief, "ana")
        csrf = one.csrf(thief)
        one.house.store.write(lambda c, end=end, id_=id_: end(c, id_, one.stage.now))
        unchanged(anew=True)
        assert out(thief.get("/en/machines"))
        assert thief.post("/en/me/pin", data={"csrf": csrf, "pin": "8305", "again": "8305"}).status_code == 401
        assert thief.post("/en/m/B7H", data={"csrf": csrf, "act": "rinse:AAAA"}).status_code == 401
        unchanged()
    assert machine


def test_a_cookie_of_another_host_name(one: Pages) -> None:
    """Only the prefixed name counts: a neighbour under the same domain cannot set that one (RFC 6265bis)."""
    victim = one.client("ana")
    planted = one.client()
    planted.cookies.set("logbook", victim.cookies[cookie_name(one.house)])
    assert cookie_name(one.house) == "__Host-logbook"
    assert out(planted.get("/en/machines"))


@pytest.mark.parametrize("token", ["", "x", "' OR 1=1 --", "0" * 43, "../../x", "a" * 5000, "%00"])
def test_a_session_forged(one: Pages, token: str) -> None:
    browser = one.client("ana")
    browser.cookies.clear()
    browser.cookies.set(cookie_name(one.house), token)
    assert out(browser.get("/en/machines"))


def test_a_session_made_from_what_the_database_or_a_page_shows(one: Pages) -> None:
    victim = one.client()
    id_ = one.sign_in(victim, "ana")
    row = one.stage.read(lambda c: sessions.by_id(c, id_))
    for token in (row.id, row.hash, row.person):
        browser = one.client()
        browser.cookies.set(cookie_name(one.house), token)
        assert out(browser.get("/en/machines"))


def test_a_form_without_its_token_or_with_anothers_or_from_another_site(one: Pages, unchanged: Any) -> None:
    ana, lee = one.client("ana"), one.client("lee")
    fields = {"pin": "8305", "again": "8305"}
    unchanged(anew=True)
    for csrf in ("", "x", one.csrf(lee), base64.urlsafe_b64encode(bytes(44)).decode(), "é" * 10):
        assert ana.post("/en/me/pin", data={"csrf": csrf, **fields}).status_code == 403
    for headers in ({"sec-fetch-site": "cross-site"}, {"sec-fetch-site": "same-site"}):
        answer = ana.post("/en/me/pin", data={"csrf": one.csrf(ana), **fields}, headers=headers)
        assert answer.status_code == 403
        assert one.client().post(link_of_nobody(), headers=headers).status_code == 403
    unchanged()


def link_of_nobody() -> str:
    return "/en/enter/" + "A" * 43


def test_another_site_cannot_sign_a_browser_in_as_somebody_else(one: Pages, unchanged: Any) -> None:
    path, victim = link(one), one.client("lee")
    unchanged(anew=True)
    assert victim.post(path, headers={"sec-fetch-site": "cross-site"}).status_code == 403
    unchanged()
    assert victim.get("/en/tonight").status_code == 200


@pytest.mark.parametrize(
    "to",
    [
        "//evil.example", "https://evil.example", "/\\evil.example", "\\\\evil.example", "/en//evil.example",
        "/en/../..//evil.example", "javascript:alert(1)", "/%2fevil.example", "/en/%2e%2e/x", "/en/machines\r\nX-A: 1",
        "/en/machines\nSet-Cookie: a=b", "/en/machinés", "/en/machines?x=//evil.example", "https:/evil.example",
        "/en/sign-in", "/\t/evil.example", "/en/machines#x", " /en/machines", "/fr/machines", "/m/..//evil.example",
    ],
)  # fmt: skip
def test_an_open_redirect_or_a_header_injected(one: Pages, to: str) -> None:
    assert own_path(to) == ""
    answer = one.client("ana").get("/en/sign-in", params={"next": to})
    assert (answer.status_code, answer.headers["location"]) == (303, "/en/machines")
    assert "x-a" not in answer.headers
    assert "set-cookie" not in answer.headers
    assert "evil" not in one.client().get("/en/sign-in", params={"next": to}).text.partition("<main")[2]


def test_one_goes_on_to_pages_of_ours() -> None:
    for path in ("/en/m/B7H", "/es/tonight", "/m/B7H", "/en/history/B7H"):
        assert own_path(path) == path


def test_a_host_forged(pages: Callable[..., Pages]) -> None:
    one = pages()
    answer = one.client().post(
        "/en/sign-in/mail",
        data={"reach": "lee@ferry.example"},
        headers={"host": "evil.example", "x-forwarded-host": "evil.example", "forwarded": "host=evil.example"},
    )
    assert answer.status_code == 200
    (sent,) = one.stage.messages("link")
    assert f"{ADDRESS}/en/enter/" in sent.body
    assert "evil" not in sent.body + sent.subject
    for path in ("/", "/en/machines", "/m/B7H"):
        where = one.client().get(path, headers={"host": "evil.example"}).headers["location"]
        assert where.startswith("/")
        assert "evil" not in where


def join(one: Pages, browser: Any, **changes: str) -> Any:
    once = re.search(r'name="once" value="([^"]+)"', browser.get("/en/join/B7H").text)
    assert once is not None
    return browser.post(
        "/en/join/B7H",
        data={"word": WORD, "name": "Ines", "phone": "+1 902 555 0177", "once": once[1], **changes},
    )


@pytest.mark.parametrize(
    "name", ["{{7*7}}", "{% raw %}", "<script>alert(1)</script>", "%(n)s%s", "${7*7}", '" onfocus="alert(1)', "{0.x}"]
)
def test_a_template_or_a_script_in_a_name(one: Pages, name: str) -> None:
    from markupsafe import escape

    browser = one.client()
    assert join(one, browser, name=name).status_code == 303
    for path in ("/en/me", "/en/m/B7H"):
        said = browser.get(path).text
        assert str(escape(name)) in said
        assert "<script>alert" not in said
        assert "49" not in re.sub(r"[0-9a-f]{8,}|[A-Za-z0-9_=-]{20,}", "", said.partition("</header>")[0])
    wrong = join(one, one.client(), name=name, word="puffin").text
    assert str(escape(name)) in wrong


def test_a_header_injected_by_a_name_or_a_device(one: Pages) -> None:
    browser = one.client()
    browser.headers["user-agent"] = "{{7*7}}<b>Android\tFirefox/9"
    assert join(one, browser, name="Ines\r\nBcc: all@ferry.example").status_code == 303
    person = one.stage.register.person_by_phone("+19025550177")
    assert person is not None
    assert person.name == "Ines Bcc: all@ferry.example"
    (told,) = one.stage.messages("waiting")
    assert "\n" not in told.subject
    assert not re.search(r"^Bcc:", told.body, re.MULTILINE)
    (row,) = one.stage.read(lambda c: sessions.of_person(c, person.uuid))
    assert row.label == "Android, Firefox"


@pytest.mark.parametrize(
    "path",
    [
        "/en/%2e%2e/%2e%2e/etc/passwd", "//etc/passwd", "/en/m/..%2f..%2fx", "/en/enter/%2e%2e%2f%2e%2e", "/en//me",
        "/en/m/B7H%00", "/en/m/Ｂ7Ｈ", "/static/%2e%2e/app.py", "/static/x/..%2f..%2fapp.py", "/en/photo/..%2fx",
        "/en/history/../../x.csv", "/EN/me", "/en/me/", "/en/me/phones/..%2f..", "/en/join/%0d%0aX-A:%201",
    ],
)  # fmt: skip
def test_tricks_with_paths(one: Pages, path: str) -> None:
    for browser in (one.client(), one.client("ana")):
        answer = browser.get(path)
        assert answer.status_code in {200, 303, 307, 404, 405}
        assert "x-a" not in answer.headers
        assert "root:" not in answer.text
        assert "import annotations" not in answer.text
        if answer.status_code in {303, 307}:
            assert re.match(rf"(?:{re.escape(ADDRESS)})?/[^/\\]", answer.headers["location"])
        if answer.status_code == 200:
            assert path.startswith("/en/join/")


def test_a_role_raised_by_fields_of_a_form(one: Pages) -> None:
    browser = one.client()
    more = {"role": "owner", "sites": "SJ", "state": "member", "person": one.stage.person("own"), "kind": "passkey"}
    assert join(one, browser, **more).status_code == 303
    person = one.stage.register.person_by_phone("+19025550177")
    assert person is not None
    assert (person.role, person.sites, person.state) == ("cleaner", ("HX",), "unconfirmed")
    ana, before = one.client("ana"), rows(one)
    assert one.post(ana, "/en/me/pin", pin="8305", again="8305", person=one.stage.person("own")).status_code == 303
    one.post(ana, "/en/me/language", language="es", id=one.stage.ids(), role="owner", sites="SJ")
    who = one.stage.register.people[one.stage.person("ana")]
    assert (who.role, who.sites) == ("cleaner", ("HX",))
    assert one.stage.read(lambda c: c.execute(sql("SELECT person FROM pin")).scalars().all()) == [who.uuid]
    assert rows(one)["entry"] == before["entry"] + 1  # the language, and nothing more
    for path in ("/en/me/passkeys/asked", "/en/me/passkeys"):
        assert one.post(ana, path, asked="x", credential="{}").status_code == 404


def test_the_entry_of_somebody_who_joined_is_no_way_in_as_them(one: Pages, unchanged: Any) -> None:
    from logbook.store import log

    join(one, one.client())
    fleet = one.stage.read(one.stage.program.registry.fleet)
    entry = one.stage.read(lambda c: list(log.by_seq(c, fleet)))[-1]
    assert entry.kind == "joined"
    unchanged(anew=True)
    answer = join(one, one.client(), once=entry.id)  # what the log shows does not make the form
    assert answer.status_code == 200
    assert "set-cookie" not in answer.headers
    unchanged()


def test_somebody_elses_phone_passkey_or_session_taken_away(one: Pages, unchanged: Any) -> None:
    victim, ana = one.client(), one.client("ana")
    id_ = one.sign_in(victim, "lee")
    unchanged(anew=True)
    assert one.post(ana, f"/en/me/phones/{id_}").status_code == 404
    assert one.post(ana, "/en/me/passkeys/AAAA").status_code == 404
    assert victim.get("/en/tonight").status_code == 200
    unchanged()


def test_the_plates_word_guessed(one: Pages, unchanged: Any) -> None:
    codes = [join(one, one.client(), word=f"word{number}").status_code for number in range(12)]
    assert codes == [422] * 8 + [429] * 4
    unchanged()
    one.stage.now += 59 * MINUTE
    unchanged()


def test_a_form_larger_than_any_of_ours(one: Pages, unchanged: Any) -> None:
    ana = one.client("ana")
    unchanged(anew=True)
    csrf = one.csrf(ana)
    many = {f"f{number}": "x" for number in range(500)}
    files = [(f"p{number}", ("x.bin", b"x")) for number in range(5)]
    answers = [
        ana.post("/en/me/pin", content=b"x" * 12_000_001),
        ana.post("/en/me/pin", data={"csrf": csrf, "pin": "8305" + "1" * 300_000, "again": "1"}),
        ana.post("/en/me/pin", data={"csrf": csrf, **many, "pin": "8305", "again": "8305"}),
        ana.post("/en/me/pin", data={"csrf": csrf, "pin": "8305", "again": "8305"}, files=files),
        one.client().post("/en/sign-in/passkey", data={"asked": "x", "credential": "[" * 15_000}),
    ]
    assert all(400 <= each.status_code < 500 for each in answers), [each.status_code for each in answers]
    unchanged()


def test_a_session_fixed_beforehand(one: Pages) -> None:
    """Whatever token a browser brings, it gets another when it signs in, and the one it brought is over."""
    browser, thief = one.client(), one.client()
    one.sign_in(browser, "lee")
    brought = browser.cookies[cookie_name(one.house)]
    answer = browser.post(link(one))
    given = re.search(r"__Host-logbook=([^;]+)", answer.headers["set-cookie"])
    assert given is not None
    assert given[1] != brought
    thief.cookies.set(cookie_name(one.house), brought)
    assert out(thief.get("/en/machines"))
    planted = one.client()
    planted.cookies.set(cookie_name(one.house), "A" * 43)
    answer = planted.post(link(one))
    assert "A" * 43 not in answer.headers["set-cookie"]
    thief.cookies.set(cookie_name(one.house), "A" * 43)
    assert out(thief.get("/en/machines"))


def test_a_passkeys_answer_made_up(one: Pages, unchanged: Any) -> None:
    browser = one.client()
    for said in (
        "",
        "{}",
        "[]",
        "null",
        '{"id":"x"}',
        '{"id":{},"response":7}',
        "\ud800".encode("utf-8", "replace").decode(),
    ):
        asked = browser.post("/en/sign-in/asked").json()["asked"]
        answer = browser.post("/en/sign-in/passkey", data={"asked": asked, "credential": said})
        assert answer.status_code == 403
        assert "set-cookie" not in answer.headers
    unchanged(anew=False)


# -- every address there is ---------------------------------------------------------------------------------------

_OPEN = ("/static/", "/sw.js", "/manifest.webmanifest", "/m/", "/{lang}/sign-in", "/{lang}/enter/", "/{lang}/join/")
"""What strangers may look at. What is behind /api/ has keys of its own, and tests of its own."""
_OWN = ("/{lang}/me", "/{lang}/machines", "/{lang}/sign-in")
"""What is everybody's own: it shows no site."""
_LISTS = {"/{lang}/history"}
"""What lists the machines of one's own sites, and so is there for everybody: it must not hold another's."""
_QUEUED = {"/{lang}/m/{code}/taps", "/{lang}/m/{code}/photo"}
"""What a phone's queue sends: its body says who wrote it, so that one without is unreadable before it is refused."""


def every_route(app: Any) -> Iterator[tuple[str, str]]:
    def walk(found: Any) -> Iterator[Any]:
        for each in found:
            if isinstance(each, APIRoute):
                yield each
            inner = getattr(each, "original_router", None) or getattr(each, "router", None)
            if inner is not None:
                yield from walk(inner.routes)

    for route in walk(app.routes):
        for method in sorted(route.methods & {"GET", "POST"}):
            if not route.path.startswith("/api/"):
                yield method, route.path


def address(one: Pages, path: str, *, lang: str = "en") -> str:
    """An address of this route about what is North Slip's."""
    given = {"lang": lang, "code": "B7H", "machine": "B7H", "site": "HX", "person": one.stage.person("ana")}
    return re.sub(r"\{(\w+)(?::\w+)?\}", lambda found: given.get(found[1], "1"), path)


def refused(path: str, answer: Any) -> bool:
    """Whether nothing was shown or done."""
    if path == "/{lang}/tonight/live":  # a stream cannot be refused by its status: it ends, having said nothing
        return "B7H" not in answer.text and "data: {" not in answer.text and len(answer.text) < 60
    if path in _QUEUED and answer.status_code == 422:
        return True
    return answer.status_code in {303, 401, 403, 404}


def test_every_address_refuses_nobody_and_writes_nothing(one: Pages, unchanged: Any) -> None:
    found = list(every_route(one.app))
    assert len(found) > 30
    let = []
    for method, path in found:
        if path.startswith(_OPEN) or path == "/":
            continue
        answer = one.client().request(method, address(one, path))
        if not refused(path, answer):
            let.append((method, path, answer.status_code, answer.text[:200]))
    assert not let, "\n".join(map(str, let))
    unchanged()


def test_every_address_refuses_a_cleaner_of_another_site_and_writes_nothing(pages: Callable[..., Pages]) -> None:
    from tests.whole.stage import FLEET

    sam = {"key": "sam", "name": "Sam Jay", "role": "cleaner", "phone": "+17095550115", "sites": ["SJ"]}
    one = pages(person=[*FLEET["person"], sam])
    one.stage.step()
    browser = one.client("sam")
    before, let = rows(one), []
    for method, path in every_route(one.app):
        if path.startswith((*_OPEN, *_OWN)) or path == "/":
            continue
        data = {"csrf": one.csrf(browser)} if method == "POST" else None
        answer = browser.request(method, address(one, path), data=data)
        shows = "North Slip" in answer.text or ">B7H<" in answer.text
        if shows or not (refused(path, answer) or path in _LISTS):
            let.append((method, path, answer.status_code, answer.text[:200]))
    assert not let, "\n".join(map(str, let))
    assert rows(one) == before
