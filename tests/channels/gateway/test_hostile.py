"""Posts that no gateway would send: too large, nested without end, with two meanings. Signed or not, nothing breaks."""

from __future__ import annotations

import asyncio
import json
import resource
import socket
import time
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.channels.desk import Message
from logbook.channels.gateway import incoming
from logbook.channels.gateway.fields import UnreadableError, receipt_of, text_of
from logbook.channels.gateway.incoming import make_app
from logbook.channels.gateway.signature import instant_of
from tests.channels.gateway.playing import NOW, burst, post_of, poster, raw, serving, settings, signed

GOOD = settings()
FORM = settings(
    '[gateway]\nsecret = "a secret of the tests, and of nothing else"\n[gateway.in]\nformat = "form"\n'
    'id = "id"\nsender = "from"\ntext = "text"\n',
    base="",
)


@pytest.fixture(scope="module")
def desk() -> Iterator[tuple[list[Message], int]]:
    kept: list[Message] = []
    with serving(make_app(GOOD, kept.append, now=lambda: NOW)) as port:
        yield kept, port


@pytest.fixture
def kept(desk: Any) -> list[Message]:
    desk[0].clear()
    return desk[0]


@pytest.fixture
def port(desk: Any) -> int:
    return desk[1]


@pytest.fixture
def post(port: int) -> Iterator[Any]:
    with poster(port) as post:
        yield post


def _inner(fields: str) -> bytes:
    return ('{"message": {' + fields + "}}").encode()


BASE = '"id": "m1", "from": "+19025550111"'
UNREADABLE = {
    "nothing": b"",
    "no JSON": b"id=1&from=2",
    "a list": b"[]",
    "a number": b"7",
    "null": b"null",
    "a list where a table should be": b'{"message": ["m1"]}',
    "lists without end": b"[" * 60_000,
    "tables without end": b'{"message":' * 5_000 + b"1" + b"}" * 5_000,
    "lists without end in a field": _inner(BASE + ', "text": ' + "[" * 20_000 + "]" * 20_000),
    "no text": _inner(BASE),
    "no id": _inner('"from": "+19025550111", "text": "B7H rinse"'),
    "a text of null": _inner(BASE + ', "text": null'),
    "a text that is a number": _inner(BASE + ', "text": 7'),
    "a text that is a table": _inner(BASE + ', "text": {"$ne": 1}'),
    "two texts": _inner(BASE + ', "text": "B7H rinse", "text": "B7H charge"'),
    "two messages": b'{"message": {}, ' + post_of()[1:],
    "an id of true": _inner('"id": true, "from": "+19025550111", "text": "B7H rinse"'),
    "an id with a fraction": _inner('"id": 1.5, "from": "+19025550111", "text": "B7H rinse"'),
    "an id without end": _inner('"id": 1' + "0" * 4_000 + ', "from": "+19025550111", "text": "B7H rinse"'),
    "an id of more digits than are read": _inner('"id": 1' + "0" * 5_000 + ', "from": "1", "text": "B7H rinse"'),
    "an id of 201 characters": post_of("m" * 201),
    "an empty id": post_of(""),
    "an id of blanks": post_of("  "),
    "an id with NUL": post_of("m\0"),
    "an id with a line break": post_of("m\n1"),
    "an empty sender": post_of(sender=""),
    "a sender with half a character": post_of(sender="\ud83d"),
    "a sender of 65 characters": post_of(sender="1" * 65),
    "NaN": _inner(BASE + ', "text": "x", "n": NaN'),
    "Infinity": _inner(BASE + ', "text": "x", "n": -Infinity'),
    "invalid UTF-8": post_of().replace(b"rinse", b"rins\xe9"),
    "overlong UTF-8": post_of().replace(b"rinse", b"rins\xc0\xae"),
    "UTF-16": post_of().decode().encode("utf-16"),
    "a byte order mark": b"\xef\xbb\xbf" + post_of(),
    "more behind it": post_of() + post_of(),
    "a comment": post_of() + b" // B7H charge",
    "a bare NUL": post_of().replace(b"rinse", b"rin\0se"),
}


@pytest.mark.parametrize("body", UNREADABLE.values(), ids=UNREADABLE.keys())
def test_a_signed_body_without_one_meaning_is_refused(post, kept, body):
    answered = post(body)
    assert (answered.status_code, answered.headers["content-type"]) == (400, "application/problem+json")
    said = answered.json()
    assert (said["status"], said["title"]) == (400, "Bad Request")
    assert said["detail"].endswith(".")
    assert len(said["detail"]) < 120
    assert kept == []
    assert post(post_of()).status_code == 200  # and nothing is broken


def test_letters_that_no_database_keeps_are_shown_as_such(post, kept):
    assert post(_inner(BASE + r', "text": "B7H\u0000 rinse \ud83d then \ud83d\ude42\u202e"')).status_code == 200
    assert kept[0].text == "B7H\ufffd rinse \ufffd then 🙂\u202e"
    kept[0].text.encode("utf-8")


FORMS = {
    "no form": b"B7H rinse",
    "an empty part": b"id=m1&&from=1&text=x",
    "a field without a value": b"id=m1&from=1&text",
    "two texts": b"id=m1&from=1&text=B7H+rinse&text=B7H+charge",
    "letters that are not encoded": "id=m1&from=1&text=vacié".encode(),
    "octets that are not UTF-8": b"id=m1&from=1&text=vaci%E9",
    "too many fields": b"id=m1&from=1&text=x" + b"".join(b"&f%d=1" % n for n in range(200)),
    "no sender": b"id=m1&text=x",
    "a sender of NUL": b"id=m1&from=%00&text=x",
}


@pytest.mark.parametrize("body", FORMS.values(), ids=FORMS.keys())
def test_a_form_without_one_meaning_is_refused(body):
    assert FORM.inward is not None
    with pytest.raises(UnreadableError, match=r"\.$"):
        text_of(body, FORM.inward)
    assert text_of(b"id=m1&from=1&text=x&empty=", FORM.inward).text == "x"


@given(body=st.binary(max_size=200) | st.text(max_size=200).map(str.encode))
def test_any_octets_are_read_or_refused(body):
    assert GOOD.inward is not None
    assert GOOD.receipt is not None
    assert FORM.inward is not None
    for read, template in ((text_of, GOOD.inward), (text_of, FORM.inward), (receipt_of, GOOD.receipt)):
        try:
            read(body, template)  # type: ignore[operator]
        except UnreadableError as why:
            assert str(why).endswith(".")  # noqa: PT017 - both endings are right


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20), lambda inner: st.lists(inner)
    | st.dictionaries(st.text(max_size=5), inner), max_leaves=10,
)  # fmt: skip


@given(id=JSON, sender=JSON, text=JSON, at=JSON)
def test_any_fields_are_read_or_refused(id, sender, text, at):
    assert GOOD.inward is not None
    body = json.dumps({"message": {"id": id, "from": sender, "text": text, "received_at": at}}).encode()
    try:
        read = text_of(body, GOOD.inward)
    except UnreadableError:
        return
    for word in (read.id, read.sender, read.text):
        word.encode("utf-8")
        assert "\0" not in word
    assert read.id.isprintable()
    assert read.id


@given(said=JSON | st.text(alphabet="0123456789.eE+-", max_size=30))
def test_any_stamp_is_an_instant_or_none(said):
    found = instant_of(said)
    assert found is None or isinstance(found, int)


@pytest.mark.parametrize(
    "said", [10**400, -1, 10**14, float("nan"), float("inf"), True, None, [], "1e5", "٣", "1" * 99]
)
def test_a_stamp_that_is_no_instant(said):
    assert instant_of(said) is None


# -- size and time --------------------------------------------------------------------------------------------------


def test_a_body_of_the_limit_is_taken_and_one_more_octet_is_not(post, kept):
    body = post_of(text="B7H note " + "x" * 70_000)
    most = body[: -(len(body) - incoming.BODY_MOST) - 3] + b'"}}'
    assert len(most) == incoming.BODY_MOST
    assert post(most).status_code == 200
    over = most[:-3] + b'x"}}'
    for large in (over, b"x" * incoming.DRAIN_MOST):
        answered = post(large)
        assert (answered.status_code, answered.json()["status"]) == (413, 413)
    assert len(kept) == 1


def _stream(port: int, head: bytes, chunk: bytes, times: int) -> tuple[bytes, int]:
    """Send a head and then the chunk so many times, until the other side has had enough; its answer, octets sent."""
    sent, reply = 0, b""
    with socket.create_connection(("127.0.0.1", port), timeout=20) as line:
        try:
            line.sendall(head)
            for _ in range(times):
                line.sendall(chunk)
                sent += len(chunk)
        except OSError:
            pass
        try:
            while part := line.recv(65_536):
                reply += part
        except OSError:
            pass
    return reply, sent


@pytest.mark.parametrize("chunked", [False, True])
def test_30_megabytes_are_not_read(port, kept, chunked):
    size, chunk = 30_000_000, b"x" * 60_000
    headers = signed(b"", **({"Transfer-Encoding": "chunked"} if chunked else {"Content-Length": str(size)}))
    lines = ["POST /texts HTTP/1.1", "Host: localhost", *(f"{name}: {value}" for name, value in headers.items())]
    head = "\r\n".join([*lines, "", ""]).encode()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    reply, sent = _stream(port, head, b"%x\r\n%s\r\n" % (len(chunk), chunk) if chunked else chunk, size // len(chunk))
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    # Either we were told in time, or cut off while we went on sending; in no case was it all taken.
    assert reply == b"" or reply.startswith(b"HTTP/1.1 413 ")
    assert sent < size / 2
    assert grown < 20_000  # KiB
    assert kept == []
    with poster(port) as post:
        assert post(post_of()).status_code == 200


def test_an_announced_30_megabytes_are_refused_before_they_come(port):
    head = raw(b"", signed(b"")).replace(b"Content-Length: 0", b"Content-Length: 30000000")
    with socket.create_connection(("127.0.0.1", port), timeout=5) as line:
        line.sendall(head)
        reply = b""
        while part := line.recv(65_536):
            reply += part
    assert reply.startswith(b"HTTP/1.1 413 ")
    assert b"connection: close" in reply.lower()


def test_what_is_not_signed_is_not_even_read(port):
    head = raw(b"", {}).replace(b"Content-Length: 0", b"Content-Length: 60000")
    with socket.create_connection(("127.0.0.1", port), timeout=5) as line:
        line.sendall(head)
        assert line.recv(65_536).startswith(b"HTTP/1.1 401 ")


def test_a_body_that_does_not_come_is_not_waited_for(port, monkeypatch):
    monkeypatch.setattr(incoming, "BODY_SECONDS", 0.2)
    head = raw(b"", signed(b"")).replace(b"Content-Length: 0", b"Content-Length: 100")
    began = time.monotonic()
    with socket.create_connection(("127.0.0.1", port), timeout=5) as line:
        line.sendall(head + b"{")
        assert line.recv(65_536).startswith(b"HTTP/1.1 408 ")
    assert time.monotonic() - began < 4


def test_who_hangs_up_in_the_middle_leaves_nothing(port, kept):
    for cut in (10, 60, len(raw(post_of(), signed(post_of()))) - 1):
        with socket.create_connection(("127.0.0.1", port), timeout=5) as line:
            line.sendall(raw(post_of(), signed(post_of()))[:cut])
    with poster(port) as post:
        assert post(post_of("m2")).status_code == 200
    assert [message.id for message in kept] == ["gateway:m2"]


def test_a_packed_body_is_not_unpacked(post, kept):
    answered = post(post_of(), headers=signed(post_of(), **{"Content-Encoding": "gzip"}))
    assert answered.status_code == 415
    assert kept == []


def test_forged_posts_by_the_thousand_are_turned_away(port, kept):
    body = post_of()
    forged = raw(body, {**signed(body), "X-Signature": "0" * 64})
    assert asyncio.run(burst(port, [forged] * 1_000, 32)) == [401] * 1_000
    assert kept == []
