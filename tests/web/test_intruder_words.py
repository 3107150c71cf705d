"""Words and numbers meant to harm: each is turned away or kept as plain words; none makes the program fail."""

from __future__ import annotations

import csv
import io
import json
import re
import time
from collections.abc import Callable, Iterator
from email import message_from_bytes
from typing import Any
from urllib.parse import quote

import pytest
from icalendar import Calendar
from starlette.testclient import TestClient

from logbook.channels.desk.message import Message
from logbook.channels.mail_in.markup import to_text
from logbook.channels.mail_out.compose import compose
from logbook.domain.instants import parse
from logbook.watch.routes import Outgoing
from tests.web.conftest import ADDRESS, BROWSER, Pages
from tests.web.phone_forms import look
from tests.web.test_intruder import every_route, rows

EVENING = parse("2026-03-03T02:00:00Z")
ODD = (
    "²", "٣", "-1", "1e309", "NaN", "Infinity", "9" * 400, "0x10", "1_000", "\0", "a\0b", "\ud800", "é" * 50, "\u202e",
    "' OR 1=1 --", "%", "_", "{{7*7}}", "<script>alert(1)</script>", "=1+1", "a\r\nX-A: 1", "../..", "[" * 3_000,
)  # fmt: skip
"""What a number, a name, an id or a date is not."""


@pytest.fixture
def one(pages: Callable[..., Pages]) -> Pages:
    return pages(at=EVENING)


def silent(one: Pages, key: str | None = None) -> TestClient:
    """A browser as `one.client` gives it, which is answered 500 where the program fails."""
    browser = one.client(key)
    made = TestClient(one.app, base_url=ADDRESS, headers=BROWSER, follow_redirects=False, raise_server_exceptions=False)
    made.cookies = browser.cookies
    one.opened.append(made)
    return made


def fields_of(page: str) -> dict[str, str]:
    """The names of everything that a page's forms send, and what stands in them."""
    found = dict(re.findall(r'<(?:input|button)[^>]* name="([^"]+)"[^>]* value="([^"]*)"', page))
    more = re.findall(r'<(?:input|select|textarea)[^>]* name="([^"]+)"', page)
    return {**dict.fromkeys(more, "1"), **found}


def formed(one: Pages) -> Iterator[tuple[str, dict[str, str]]]:
    """Every form that an owner can send: its address, and its fields as they are filled in."""
    owner, ana = one.client("own"), one.stage.person("ana")
    pages = [
        "/en/m/B7H", "/en/me", "/en/tonight", "/en/history/B7H/name/2", "/en/register/people/new", "/en/register/keys",
        f"/en/register/people/{ana}", f"/en/register/people/{ana}/change", "/en/register/machines/new",
        "/en/register/sites/new", "/en/register/sites/HX", "/en/register/policy/late_after", "/en/register/import",
        f"/en/register/erasing/{ana}", "/en/register/machines/B7H", "/en/register/machines/B7H/fit", "/en/keeper",
    ]  # fmt: skip
    for page in pages:
        html = owner.get(page).text
        for attrs, inside in re.findall(r"<form([^>]*)>(.*?)</form>", html, re.DOTALL):
            if 'method="post"' in attrs:
                to = re.search(r'action="([^"]*)"', attrs)
                yield (to[1] if to and to[1] else page), fields_of(inside)


def test_odd_values_in_every_field_of_every_form_make_nothing_fail(one: Pages) -> None:
    one.stage.tell("B7H", "start")
    one.stage.step("2026-03-03T12:00:00Z")
    owner, tried, broke = silent(one, "own"), 0, []
    forms = dict(formed(one))
    assert len(forms) > 12
    for path, fields in forms.items():
        if path.endswith("/sign-out"):
            continue
        for number, odd in enumerate(ODD):
            said = odd.encode("utf-8", "surrogatepass")
            names = sorted(name for name in fields if name != "csrf")
            # All at once, and each by itself in its turn: what is checked first must not hide what is checked last.
            for chosen in (names, names[number % max(1, len(names)) :][:1]):
                data: dict[str, Any] = {**fields, **dict.fromkeys(chosen, said), "csrf": one.csrf(owner)}
                answer = owner.post(path, data=data)
                tried += 1
                if answer.status_code >= 500 or "x-a" in answer.headers:
                    broke.append((path, odd[:20], chosen[:3], answer.status_code))
    assert tried > 400
    assert not broke, "\n".join(map(str, broke))


@pytest.mark.parametrize(
    "name", ["when", "at", "which", "hours.hours:3600000", "segments.mm:1000", "undo_of", "told", "end", "act"]
)
def test_odd_values_beside_a_tap_that_is_right_make_nothing_fail(one: Pages, name: str) -> None:
    ana = silent(one, "ana")
    for number, odd in enumerate(ODD):
        said = odd.encode("utf-8", "surrogatepass")
        tap = "23456789" + "ABCDEFGHJKMNPQRSTVWXYZ234"[number] * 2
        answer = ana.post(
            "/en/m/B7H", data={"csrf": one.csrf(ana), "act": f"hours:{tap}", "hours.s": "3600", name: said}
        )
        assert answer.status_code < 500, odd
        assert "x-a" not in answer.headers


def test_odd_addresses_make_nothing_fail(one: Pages) -> None:
    browsers, broke, tried = (silent(one, "own"), silent(one)), [], 0
    for odd in ODD:
        said = quote(odd.encode("utf-8", "surrogatepass"), safe="")
        for method, path in every_route(one.app):
            if method == "GET" and "{" in path and path != "/{lang}/tonight/live":
                where = re.sub(r"\{(?!lang)\w+(?::\w+)?\}", said[:900], path.replace("{lang}", "en"))
                for browser in browsers:
                    answer = browser.get(where)
                    tried += 1
                    if answer.status_code >= 500 or "x-a" in answer.headers:
                        broke.append((where[:60], answer.status_code))
        for path in ("/en/history/B7H", "/en/history/B7H.csv", "/en/tonight", "/en/register/policy", "/en/m/B7H",
                     "/en/sign-in", "/en/register/machines", "/en/due.ics"):  # fmt: skip
            asked = "&".join(f"{name}={said[:900]}" for name in (
                "known", "from", "to", "kind", "role", "before", "nights", "until", "q", "done", "not", "on", "named",
                "saved", "back", "photo", "next", "site", "machine", "only", "all"))  # fmt: skip
            answer = browsers[0].get(f"{path}?{asked}")
            if answer.status_code >= 500 or "x-a" in answer.headers:
                broke.append((path, odd[:20], answer.status_code))
    assert tried > 500
    assert not broke, "\n".join(map(str, broke))


def test_odd_numbers_of_a_tap_are_refused_and_nothing_is_kept(one: Pages) -> None:
    browser = silent(one, "ana")
    proof = str(look(browser, "/en/m/B7H").form["data-writer"])
    before = rows(one)
    bodies: list[str | bytes] = [
        json.dumps({"writer": proof, "tap": "23456789AB", "age_ms": 0, "acts": [{"kind": kind, "data": data}]})
        for kind, data in (
            ("hours", {"hours": 10**400}), ("hours", {"hours": -5}), ("hours", {"hours": 2**53}), ("hours", {"s": 1.5}),
            ("note", {"note": "\ud800"}), ("note", {"note": "a\0b"}), ("note", {"note": ["x"]}), ("note", {"note": "x" * 9_000}),
            ("rinse", {"told": "card"}), ("rinse", {"role": "owner"}), ("rinse", {"reporter": "x"}),
            ("rinse", {"recorded_at": "2020-01-01T00:00:00Z"}), ("excused", {"duty": "rinse"}), ("void", {"entry": "x"}),
            ("seal", {}), ("commissioned", {}), ("fault", {"note": {"a": [[[]]]}}), ("\0", {}), ("' OR 1=1", {}),
        )
    ]  # fmt: skip
    shape = '{"writer":"%s","tap":"23456789AB","age_ms":%s,"acts":[{"kind":"hours","data":{"hours":%s}}]}'
    bodies += [shape % (proof, age, number) for age, number in (
        ("NaN", "1"), ("1e400", "1"), ("9" * 30, "1"), ("9" * 5_000, "1"), ("0", "NaN"), ("0", "-Infinity"),
        ("0", "1e400"), ("0", "9" * 5_000), ("0", "1.0"), ("true", "1"), ("0", "true"), ("0", '"1"'),
    )]  # fmt: skip
    bodies += [shape % (odd, "0", "1") for odd in ("é.é", f"{proof}é", "", "\\u0000", proof[:-1], "." * 150)]
    bodies += ["", "null", "[]", "{}", '"x"', "[" * 15_000, b"\xff\xfe", '{"a":' * 3_000, "x" * 20_001]
    for body in bodies:
        for path in ("/en/m/B7H/taps", "/en/m/B7H/undo"):
            answer = browser.post(path, content=body, headers={"content-type": "application/json"})
            assert answer.status_code in (401, 422), (body[:160], answer.status_code, answer.text[:80])
    assert rows(one) == before


def test_a_query_written_into_a_filter_finds_no_more(one: Pages) -> None:
    lee = one.client("lee")
    for odd in ("%", "_", "' OR '1'='1", "B8F", "*", "B8F' --", "\\"):
        said = lee.get("/en/history", params={"q": odd}).text
        assert "/history/B8F" not in said
        assert "Harbour Hall" not in said


SCRIPT = '</script><script>alert(1)</script>"><img src=x onerror=alert(1)>'


def test_a_script_in_a_note_is_words_everywhere(one: Pages) -> None:
    one.stage.tell("B7H", "note", note=SCRIPT)
    one.stage.tell("B7H", "fault", note=SCRIPT)
    one.stage.step()
    for key in ("ana", "lee", "own"):
        browser = one.client(key)
        for path in ("/en/m/B7H", "/en/history/B7H", "/en/tonight", "/en/machines", "/en/m/B7H/state", "/en/keeper",
                     "/en/tonight/rows.json"):  # fmt: skip
            answer = browser.get(path)
            if "html" in answer.headers["content-type"]:
                assert "<script>alert" not in answer.text
                assert "<img src=x" not in answer.text
            else:
                assert answer.headers["content-type"].startswith(("application/json", "text/event-stream"))
    assert "&lt;script&gt;alert" in one.client("lee").get("/en/history/B7H").text


@pytest.mark.parametrize(
    "note", ["=1+1", "+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", " =1", "＝1+1", "|x", "a\r\n=cmd()"]
)
def test_a_formula_in_a_note_is_worked_out_by_no_spreadsheet(one: Pages, note: str) -> None:
    one.stage.tell("B7H", "note", note=note)
    cells = [cell for row in csv.reader(io.StringIO(one.client("lee").get("/en/history/B7H.csv").text)) for cell in row]
    assert any(note.strip()[-1] in cell for cell in cells)
    for cell in cells:
        assert not cell.lstrip(" ").startswith(("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")), cell


def test_what_stands_in_names_ends_no_line_of_a_calendar(pages: Callable[..., Pages]) -> None:
    evil = "North; Slip, \\n\r\nATTACH:https://evil.example/x\r\nBEGIN:VALARM " + "é" * 80
    one = pages(at=EVENING, site=[
        {"code": "HX", "name": evil, "zone": "America/Halifax"}, {"code": "SJ", "name": "S", "zone": "America/St_Johns"},
    ])  # fmt: skip
    one.stage.tell("B7H", "start")
    one.stage.step()
    raw = one.client("lee").get("/en/due.ics").content
    lines = raw.split(b"\r\n")
    assert all(len(line) <= 75 and b"\n" not in line and b"\r" not in line for line in lines)
    assert not [line for line in lines if line.startswith((b"ATTACH", b"BEGIN:VALARM"))]
    events = Calendar.from_ical(raw).walk("VEVENT")
    assert events
    assert not any("ATTACH" in event for event in events)


def test_what_stands_in_names_adds_no_header_to_a_mail(pages: Callable[..., Pages]) -> None:
    evil = "Slip\r\nBcc: all@evil.example\r\n\r\n<b>x"
    one = pages(at=EVENING, site=[
        {"code": "HX", "name": evil, "zone": "America/Halifax"}, {"code": "SJ", "name": "S", "zone": "America/St_Johns"},
    ])  # fmt: skip
    one.stage.tell("B7H", "start")
    one.stage.until("2026-03-03T14:00:00Z")
    sent = one.stage.messages()
    assert any("all@evil.example" in f"{each.subject} {each.body}" for each in sent)
    for each in sent:
        mail = Outgoing(each.message_id, each.address, each.subject, each.body, each.queued_at)
        read = message_from_bytes(compose(mail, "log@ferry.example", evil))
        assert "bcc" not in read
        assert len(read.get_all("to", [])) == 1
        assert read.get_content_type() == "text/plain"


@pytest.mark.parametrize(
    "text",
    [
        "a" * 10_000, "1" * 10_000, "1," * 5_000, "b7h " * 2_500, "rinsed, " * 1_250, "1/2 " * 2_500, "-" * 10_000,
        "5:5" * 3_300, " " * 10_000, "B7H " + "x" * 9_996, "(" * 10_000, "é" * 10_000, "0" * 5_000 + "l" * 5_000,
        "rinsed at " * 1_000, "no " * 3_333, "B7H rinsed 05:10 " * 588, "JOIN " * 2_000, "a1" * 5_000, "\u0301" * 10_000,
    ],
)  # fmt: skip
def test_ten_thousand_letters_are_read_in_a_moment(one: Pages, text: str) -> None:
    begun = time.process_time()
    one.stage.program.desk.take(Message("x", "text", "+19025550111", text, one.stage.now))
    assert time.process_time() - begun < 1.5


@pytest.mark.parametrize(
    "markup", ["<" * 10_000, "<a " * 3_300, "<div>" * 2_000, "&" * 10_000, "&#" * 5_000, "<!--" * 2_500]
)
def test_ten_thousand_brackets_of_a_mail_are_read_in_a_moment(markup: str) -> None:
    begun = time.process_time()
    to_text(markup)
    assert time.process_time() - begun < 1
