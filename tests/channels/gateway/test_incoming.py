"""What comes in from a gateway, with somebody at the desk who only writes down what he is given."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest
from structlog.testing import capture_logs

from logbook.channels.desk import Answer, Message
from logbook.channels.gateway import incoming
from logbook.channels.gateway.incoming import make_app
from logbook.domain.instants import MINUTE, SECOND, parse
from logbook.domain.instants import text as instant_text
from logbook.store import StoreError
from tests.channels.gateway.playing import (
    NOW,
    SECRET,
    base64_sign,
    post_of,
    poster,
    receipt_of,
    seconds,
    serving,
    settings,
    sign,
    signed,
)


class Clerk:
    """Takes texts and receipts; `trouble` is raised by each until it is taken out."""

    def __init__(self) -> None:
        self.texts: list[Message] = []
        self.receipts: list[tuple[str, bool, int, str]] = []
        self.trouble: Exception | None = None
        self.pause = 0.0
        self.inside = self.most_inside = 0
        self._lock = threading.Lock()

    def take(self, message: Message) -> Answer:
        with self._lock:
            self.inside += 1
            self.most_inside = max(self.most_inside, self.inside)
        try:
            time.sleep(self.pause)
            if self.trouble is not None:
                raise self.trouble
            repeated = message.id in {each.id for each in self.texts}
            if not repeated:
                self.texts.append(message)
            return Answer("saved", "never to be seen by the gateway", repeated=repeated)
        finally:
            with self._lock:
                self.inside -= 1

    def hear(self, reference: str, arrived: bool, at: int, detail: str) -> None:
        if self.trouble is not None:
            raise self.trouble
        self.receipts.append((reference, arrived, at, detail))


@pytest.fixture(scope="module")
def counter() -> Iterator[tuple[Clerk, int]]:
    """One server for most of these tests: to start and stop one takes longer than all that they ask it."""
    clerk = Clerk()
    with serving(make_app(settings(), clerk.take, clerk.hear, now=lambda: NOW)) as port:
        yield clerk, port


@pytest.fixture
def clerk(counter: tuple[Clerk, int]) -> Clerk:
    counter[0].__init__()  # type: ignore[misc]
    return counter[0]


@pytest.fixture
def post(counter: tuple[Clerk, int], clerk: Clerk) -> Iterator[Any]:
    with poster(counter[1]) as post:
        yield post


def test_a_text_is_handed_to_the_desk_and_nothing_is_said_back(post, clerk):
    answered = post(post_of(text="B7H vacié 🙂", received_at="2026-11-25T05:11:30-04:00"))
    assert (answered.status_code, answered.content) == (200, b"")
    assert clerk.texts == [
        Message("gateway:m1", "gateway", "+19025550111", "B7H vacié 🙂", parse("2026-11-25T09:11:30Z"))
    ]
    assert "set-cookie" not in answered.headers
    assert not [name for name in answered.headers if name.startswith("access-control")]
    assert "server" not in answered.headers


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("+1 902 555-0111", "+19025550111"),
        ("74545", "74545"),  # a carrier's short number
        ("FERRYCO", "FERRYCO"),  # a name, to which nobody can answer
        ("19025550111", "19025550111"),  # without a plus nobody knows which country it is
        (19025550111, "19025550111"),
    ],
)
def test_numbers_are_written_as_they_are_kept(post, clerk, given, kept):
    assert post(post_of(sender=given)).status_code == 200
    assert clerk.texts[0].sender == kept


def test_the_country_in_front_without_a_plus_if_the_template_says_so(clerk):
    plus = settings().model_copy(update={"inward": settings().inward.model_copy(update={"add_plus": True})})
    with serving(make_app(plus, clerk.take, now=lambda: NOW)) as port, poster(port) as post:
        for number, sender in enumerate(("19025550111", "+19025550111", "74545")):
            assert post(post_of(f"m{number}", sender)).status_code == 200
    assert [text.sender for text in clerk.texts] == ["+19025550111", "+19025550111", "74545"]


# -- signatures ---------------------------------------------------------------------------------------------------


def _headers(body: bytes) -> dict[str, dict[str, str] | list[tuple[str, str]]]:
    good, now = signed(body), seconds(NOW)
    late, early = seconds(NOW - 301 * SECOND), seconds(NOW + 301 * SECOND)
    return {
        "none at all": {},
        "no timestamp": {"X-Signature": good["X-Signature"]},
        "no signature": {"X-Timestamp": now},
        "another secret": {**good, "X-Signature": sign(body, now, b"guessed, guessed, guessed")},
        "another body": {**good, "X-Signature": sign(body + b" ", now)},
        "another timestamp": {**good, "X-Timestamp": seconds(NOW + SECOND)},
        "301 s old": {"X-Timestamp": late, "X-Signature": sign(body, late)},
        "301 s ahead": {"X-Timestamp": early, "X-Signature": sign(body, early)},
        "a timestamp that is none": {"X-Timestamp": "now", "X-Signature": sign(body, "now")},
        "NaN": {"X-Timestamp": "nan", "X-Signature": sign(body, "nan")},
        "cut short": {**good, "X-Signature": good["X-Signature"][:-2]},
        "longer": {**good, "X-Signature": good["X-Signature"] + "00"},
        "no hex": {**good, "X-Signature": "z" * 64},
        "empty": {**good, "X-Signature": ""},
        "two signatures": [*good.items(), ("X-Signature", "0" * 64)],
        "two timestamps": [*good.items(), ("X-Timestamp", seconds(NOW - SECOND))],
    }


@pytest.mark.parametrize("why", _headers(b""))
def test_what_is_not_signed_is_turned_away_alike_and_leaves_nothing(post, clerk, why):
    body = post_of()
    answered = post(body, headers=_headers(body)[why])
    assert answered.status_code == 401
    assert answered.headers["content-type"] == "application/problem+json"
    assert answered.json() == {"type": "about:blank", "title": "Unauthorized", "status": 401}
    assert "www-authenticate" in answered.headers  # RFC 9110, section 15.5.2
    assert clerk.texts == []
    assert post(receipt_of(), "/receipts", headers=_headers(body)[why]).status_code == 401
    assert clerk.receipts == []


@pytest.mark.parametrize("off", [-300, 0, 300])
def test_a_timestamp_within_five_minutes_is_good(post, off):
    body = post_of()
    assert post(body, headers=signed(body, NOW + off * SECOND)).status_code == 200


@pytest.mark.parametrize(
    "timestamp", ["1795597920", "1795597920000", "2026-11-25T09:12:00Z", "2026-11-25T05:12:00-04:00"]
)
def test_a_timestamp_may_be_written_in_several_ways(post, timestamp):
    body = post_of()
    headers = {"X-Timestamp": timestamp, "X-Signature": sign(body, timestamp).upper()}
    assert post(body, headers=headers).status_code == 200


def test_a_post_that_is_played_again_adds_nothing(post, clerk):
    body = post_of()
    headers = signed(body)
    assert [post(body, headers=headers).status_code for _ in range(3)] == [200, 200, 200]
    assert len(clerk.texts) == 1


def test_the_form_of_a_signature_is_the_templates(clerk, tmp_path):
    file = tmp_path / "secret"
    file.write_text("b25lIHNlY3JldCwgb2xkIG9uZQ==\nYW5vdGhlciBzZWNyZXQsIG5ldw==\n")
    other = settings(
        f"""
        [gateway]
        name = "other"
        secret_file = "{file}"
        secret_is = "base64"
        [gateway.in]
        path = "/hooks/in"
        format = "form"
        id = "MessageId"
        sender = "From"
        text = "Body"
        timestamp_header = "X-Time"
        signature_header = "X-Mac"
        signature = "base64"
        signature_prefix = "v1="
        signed = "{{timestamp}}:{{body}}"
        """,
        base="",
    )
    body = b"MessageId=77&From=+19025550111&Body=B7H+enjuagu%C3%A9&Extra="
    with serving(make_app(other, clerk.take, now=lambda: NOW)) as port, poster(port) as post:
        for secret in (b"one secret, old one", b"another secret, new"):  # both, while one takes over from the other
            mac = "v1=" + base64_sign(body, seconds(NOW), secret)
            assert post(body, "/hooks/in", headers={"X-Time": seconds(NOW), "X-Mac": mac}).status_code == 200
        bare = base64_sign(body, seconds(NOW), b"another secret, new")
        for wrong in (bare, "v1=" + bare[:-2], "v1=*" + bare, "v1=", "V1=" + bare):
            assert post(body, "/hooks/in", headers={"X-Time": seconds(NOW), "X-Mac": wrong}).status_code == 401
        file.write_text("YW5vdGhlciBzZWNyZXQsIG5ldw==\n")
        mac = "v1=" + base64_sign(body, seconds(NOW), b"one secret, old one")
        assert post(body, "/hooks/in", headers={"X-Time": seconds(NOW), "X-Mac": mac}).status_code == 401
        file.unlink()
        assert post(body, "/hooks/in", headers={"X-Time": seconds(NOW), "X-Mac": mac}).status_code == 503
    # A plus that nobody encoded is a blank; the number had one all the same.
    assert clerk.texts == [Message("other:77", "gateway", "+19025550111", "B7H enjuagué", NOW)]


# -- when it was received -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("stamp", "off", "believed"),
    [
        ("2026-11-25T09:09:00Z", -3 * MINUTE, True),
        (1795597920 - 300, -5 * MINUTE, True),
        ("1795597921", SECOND, True),
        (1795597920250, SECOND // 4, True),
        ("2026-11-25T09:06:59Z", -301 * SECOND, False),
        ("2026-11-25T09:17:01Z", 301 * SECOND, False),
        ("2026-11-25T05:12:00Z", -240 * MINUTE, False),  # the wall clock's time, called UTC
        (0, -NOW, False),
    ],
)
def test_a_stamp_is_believed_if_it_can_be(post, clerk, stamp, off, believed):
    with capture_logs() as logs:
        assert post(post_of(received_at=stamp)).status_code == 200
    assert clerk.texts[0].at == (NOW + off if believed else NOW)
    doubts = [line for line in logs if "doubted" in line["event"]]
    assert [(line["stamp"], line["off_seconds"]) for line in doubts] == (
        [] if believed else [(instant_text(NOW + off), off // SECOND)]
    )
    assert "+19025550111" not in str(logs)  # numbers are nobody's log's


def test_a_stamp_may_be_believed_for_longer_but_never_ahead(clerk):
    patient = settings().model_copy(update={"inward": settings().inward.model_copy(update={"at_within": 6 * 3600.0})})
    with serving(make_app(patient, clerk.take, now=lambda: NOW)) as port, poster(port) as post:
        for number, minutes in enumerate((-350, -370, 4, 6)):
            post(post_of(f"m{number}", received_at=instant_text(NOW + minutes * MINUTE)))
    assert [text.at - NOW for text in clerk.texts] == [-350 * MINUTE, 0, 4 * MINUTE, 0]


def test_a_stamp_that_is_none_is_told(post, clerk):
    answered = post(post_of(received_at="yesterday"))
    assert answered.status_code == 400
    assert "message.received_at" in answered.json()["detail"]
    assert post(post_of(received_at=None)).status_code == 200
    assert [text.at for text in clerk.texts] == [NOW]


# -- what can go wrong with us --------------------------------------------------------------------------------------


def test_a_failing_database_has_the_gateway_come_again(post, clerk):
    clerk.trouble = StoreError("The disk is full. Nothing of this was saved.")
    answered = post(post_of())
    assert (answered.status_code, answered.headers["retry-after"]) == (503, "30")
    assert answered.json()["detail"] == "Nothing of this was kept. Post it again, with the same id."
    assert "disk" not in answered.text
    assert post(receipt_of(), "/receipts").status_code == 503
    clerk.trouble = None
    assert post(post_of()).status_code == 200
    assert len(clerk.texts) == 1


def test_a_fault_of_ours_is_no_answer_either(post, clerk):
    clerk.trouble = KeyError("a fault")
    with capture_logs() as logs:
        answered = post(post_of())
    assert (answered.status_code, answered.json()["title"]) == (500, "Internal Server Error")
    assert "fault" not in answered.text
    assert any("fault in the program" in line["event"] for line in logs)
    clerk.trouble = None
    assert post(post_of()).status_code == 200


def test_too_much_at_once_is_told_to_come_again_and_nothing_is_lost(clerk):
    clerk.pause = 0.05
    body = [post_of(f"m{n}", f"+1902555{100 + n:04d}") for n in range(40)]
    app = make_app(settings(), clerk.take, now=lambda: NOW, at_once=2, waiting_most=4)
    answered: dict[int, int] = {}
    with serving(app) as port:

        def one(number: int) -> None:
            with poster(port) as post:
                answered[number] = post(body[number]).status_code

        threads = [threading.Thread(target=one, args=(number,)) for number in range(40)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert set(answered.values()) == {200, 503}
        assert clerk.most_inside == 2
        kept = {text.id for text in clerk.texts}
        assert kept == {f"gateway:m{number}" for number, status in answered.items() if status == 200}
        with poster(port) as post:
            assert all(post(body[number]).status_code == 200 for number in answered)
    assert len(clerk.texts) == 40


def test_the_texts_of_one_sender_are_taken_in_turn(clerk):
    clerk.pause = 0.02
    app = make_app(settings(), clerk.take, now=lambda: NOW, at_once=8)
    with serving(app) as port:

        def one(number: int) -> None:
            with poster(port) as post:
                assert post(post_of(f"m{number}")).status_code == 200

        threads = [threading.Thread(target=one, args=(number,)) for number in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert (len(clerk.texts), clerk.most_inside) == (8, 1)


# -- receipts -------------------------------------------------------------------------------------------------------


def test_receipts_are_passed_on(post, clerk):
    for number, (status, more) in enumerate(
        [("delivered", {}), ("FAILED", {"why": "no such\r\nnumber"}), ("queued", {}), ("expired", {"why": 17})]
    ):
        assert post(receipt_of(f"r{number}", status, **more), "/receipts").status_code == 200
    assert clerk.receipts == [
        ("r0", True, NOW, "delivered"),
        ("r1", False, NOW, "FAILED no such number"),
        ("r3", False, NOW, "expired 17"),
    ]


def test_a_receipt_that_is_quicker_than_we_are_is_looked_at_twice(clerk, monkeypatch):
    monkeypatch.setattr(incoming, "RECEIPT_PAUSE", 0.05)
    known, asked = {"r2"}, []

    def hear(reference: str, _arrived: bool, _at: int, _detail: str) -> bool:
        asked.append(reference)
        found = reference in known
        known.add("r1")  # by the second look it is noted
        return found

    with serving(make_app(settings(), clerk.take, hear, now=lambda: NOW)) as port, poster(port) as post:
        for reference in ("r1", "r2"):
            assert post(receipt_of(reference), "/receipts").status_code == 200
        known.clear()
        assert post(receipt_of("r3"), "/receipts").status_code == 200
    assert asked == ["r1", "r1", "r2", "r3", "r3"]


def test_a_receipt_without_its_fields_is_told(post, clerk):
    answered = post(b'{"message": {"id": "r1"}}', "/receipts")
    assert (answered.status_code, answered.json()["detail"]) == (400, "The field message.status (state) is missing.")
    assert post(post_of(), "/receipts").status_code == 400
    assert clerk.receipts == []


def test_no_receipts_are_taken_that_nobody_hears(clerk):
    with serving(make_app(settings(), clerk.take, now=lambda: NOW)) as port, poster(port) as post:
        assert post(receipt_of(), "/receipts").status_code == 404


# -- other paths ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", ["/", "/docs", "/redoc", "/openapi.json", "/texts/", "/TEXTS", "/texts/../texts/x"])
def test_there_is_nothing_else(post, path):
    answered = post(post_of(), path)
    assert (answered.status_code, answered.headers["content-type"]) == (404, "application/problem+json")
    assert answered.json() == {"type": "about:blank", "title": "Not Found", "status": 404}


def test_nothing_is_shown_to_who_only_looks(clerk):
    import httpx

    with serving(make_app(settings(), clerk.take, now=lambda: NOW)) as port:
        for method in ("GET", "HEAD", "OPTIONS", "PUT", "DELETE"):
            answered = httpx.request(method, f"http://127.0.0.1:{port}/texts", trust_env=False)
            assert (answered.status_code, answered.headers["allow"]) == (405, "POST")


def test_an_app_without_anything_to_take_is_not_made(clerk):
    out = '[gateway.out]\nurl = "https://texts.example/m"\nbody = { to = "{to}", text = "{text}" }\n[gateway]\n'
    with pytest.raises(ValueError, match=r"\[gateway.in\]"):
        make_app(settings(out, base=""), clerk.take, now=lambda: NOW)


def test_secrets_are_not_shown(post, clerk):
    assert SECRET not in repr(settings())
    assert incoming.BODY_MOST == 65_536
