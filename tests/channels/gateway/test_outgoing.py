"""Texts out: what is sent, and what each answer of a gateway comes to."""

from __future__ import annotations

import asyncio
import base64
import gc
import ssl
import time
from collections.abc import Awaitable, Callable
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest

from logbook.channels.gateway.outgoing import TextRoute, as_text
from logbook.channels.gateway.request import Outward
from logbook.channels.gateway.verdict import wait_of
from logbook.domain.instants import parse
from logbook.watch.routes import Again, Hold, Outcome, Outgoing, Refused, Route, Sent
from tests.channels.gateway.playing import HANG_UP, SILENT, Carrier, answer, closed_port

AT = parse("2026-03-09T09:30:00Z")
BODY: dict[str, Any] = {"to": "{to}", "message": {"text": "{text}", "tags": ["night", 7, True]}, "from": "LOGBOOK"}


def outward(port: int, scheme: str = "http", host: str = "127.0.0.1", **more: Any) -> Outward:
    given: dict[str, Any] = {
        "url": f"{scheme}://{host}:{port}/v1/messages", "body": BODY, "reference": "id", "confirms": True,
        "headers": {"Authorization": "Bearer {token}", "Idempotency-Key": "{id}"}, "token": "t0ken", "timeout": 5,
    }  # fmt: skip
    return Outward(**{**given, **more})


def outgoing(number: int = 1, **more: Any) -> Outgoing:
    given: dict[str, Any] = {
        "message_id": f"<m{number}@log.ferries.example>", "address": "+19025550111", "subject": "B7H: rinse",
        "body": "B7H 05:12 emptied, rinsed. Still owed: charge. Wrong? UNDO", "queued_at": AT, "language": "en",
    }  # fmt: skip
    return Outgoing(**{**given, **more})


def playing(
    carrier: Carrier, act: Callable[[TextRoute], Awaitable[Any]], *, tls: ssl.SSLContext | None = None, **more: Any
) -> Any:
    """Do something with a route to this gateway."""

    async def main() -> Any:
        async with carrier.open(tls) as port:
            route = TextRoute(outward(port, **more), now=lambda: AT)
            try:
                return await act(route)
            finally:
                await route.rest()

    return asyncio.run(main())


def sent(carrier: Carrier, message: Outgoing | None = None, **more: Any) -> Outcome:
    found: Outcome = playing(carrier, lambda route: route.send(message or outgoing()), **more)
    return found


# -- what is sent ---------------------------------------------------------------------------------------------------


def test_a_text_is_sent_in_the_form_of_the_template():
    carrier = Carrier()
    assert sent(carrier) == Sent("1 part", "g-1", confirms=True)
    (asked,) = carrier.asked
    assert (asked.method, asked.target) == ("POST", "/v1/messages")
    assert asked.json == {
        "to": "+19025550111",
        "message": {"text": outgoing().body, "tags": ["night", 7, True]},
        "from": "LOGBOOK",
    }
    assert asked.headers["authorization"] == "Bearer t0ken"
    assert asked.headers["idempotency-key"] == "m1@log.ferries.example"
    assert asked.headers["content-type"] == "application/json"
    assert asked.headers["accept-encoding"] == "identity"


HOSTILE = 'B7H "}, "to": "+1900"\r\nX-Evil: 1\n&to=9 {token} {to} %0d \\u0000'


def test_no_text_can_say_more_than_its_words():
    carrier = Carrier()
    sent(carrier, outgoing(body=HOSTILE))
    assert carrier.asked[0].json["message"]["text"] == HOSTILE
    assert "x-evil" not in carrier.asked[0].headers
    form = Carrier()
    sent(form, outgoing(body=HOSTILE), format="form", body={"To": "{digits}", "Body": "{text}", "Flash": False})
    assert parse_qs(form.asked[0].body.decode()) == {"To": ["19025550111"], "Body": [HOSTILE], "Flash": ["false"]}
    assert form.asked[0].headers["content-type"] == "application/x-www-form-urlencoded"


def test_a_text_in_an_address():
    carrier = Carrier()

    async def act(route: TextRoute) -> Outcome:
        return await route.send(outgoing(body=HOSTILE))

    async def main() -> Outcome:
        async with carrier.open() as port:
            url = f"http://127.0.0.1:{port}/send/{{digits}}?m={{text}}&k={{id}}"
            settings = Outward(url=url, method="GET", user="ferries", token="pass:word")
            route = TextRoute(settings, now=lambda: AT)
            try:
                return await act(route)
            finally:
                await route.rest()

    assert asyncio.run(main()) == Sent("1 part")
    parts = urlsplit(carrier.asked[0].target)
    assert parts.path == "/send/19025550111"
    assert parse_qs(parts.query) == {"m": [HOSTILE], "k": ["m1@log.ferries.example"]}
    assert carrier.asked[0].headers["authorization"] == "Basic " + base64.b64encode(b"ferries:pass:word").decode()


def test_one_connection_serves_until_there_is_nothing_more():
    carrier = Carrier()

    async def act(route: TextRoute) -> None:
        for number in range(5):
            assert isinstance(await route.send(outgoing(number)), Sent)
        await route.rest()
        await route.rest()
        assert isinstance(await route.send(outgoing(9)), Sent)

    playing(carrier, act)
    assert (len(carrier.asked), carrier.connections) == (6, 2)


def test_the_same_message_has_the_same_key_each_time():
    carrier = Carrier([answer(500), HANG_UP, answer()])

    async def act(route: TextRoute) -> list[Outcome]:
        return [await route.send(outgoing()) for _ in range(3)]

    outcomes = playing(carrier, act)
    assert [type(outcome) for outcome in outcomes] == [Again, Again, Sent]
    assert len({asked.headers["idempotency-key"] for asked in carrier.asked}) == 1
    assert len({asked.body for asked in carrier.asked}) == 1


@pytest.mark.parametrize(
    ("body", "as_sent", "said"),
    [
        ("B7H 05:12 vaciado, lavado. ¿Mal? DESHACER", "B7H 05:12 vaciado, lavado. ¿Mal? DESHACER", "1 part"),
        ("Falta: cárguela en el túnel", "Falta: carguela en el tunel", "1 part"),
        ("a" * 160, "a" * 160, "1 part"),
        ("a" * 161, "a" * 161, "2 parts"),
        ("€" * 81, "€" * 81, "2 parts"),
        ("á" * 160, "a" * 160, "1 part"),
        ("Ναταλία: rinse", "Ναταλία: rinse", "1 part, UCS-2"),  # a name that would be lost stays as it is
        ("🙂" * 35, "🙂" * 35, "1 part, UCS-2"),
        ("🙂" * 36, "🙂" * 36, "2 parts, UCS-2"),
        ("🙂" * 67, "🙂" * 67, "3 parts, UCS-2"),
        ("“B7H” – rinse…", '"B7H" - rinse...', "1 part"),
    ],
)
def test_texts_are_spelt_in_one_part_where_that_loses_nothing(body, as_sent, said):
    carrier = Carrier()
    outcome = sent(carrier, outgoing(body=body))
    assert isinstance(outcome, Sent)
    assert carrier.asked[0].json["message"]["text"] == as_sent
    assert outcome.said == said


def test_the_subject_is_sent_where_there_is_nothing_else():
    assert as_text(outgoing(body=" ")) == "B7H: rinse"
    assert isinstance(sent(Carrier(), outgoing(body="", subject="")), Refused)


# -- what came of it ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "address", ["ann@ferries.example", "", "FERRYCO", "+1902555011x", "12", "+1" + "0" * 15, "+1\n2345"]
)
def test_what_is_no_number_is_not_sent_to(address):
    carrier = Carrier()
    assert isinstance(sent(carrier, outgoing(address=address)), Refused)
    assert carrier.asked == []


@pytest.mark.parametrize(
    ("reply", "outcome"),
    [
        (answer(200), Sent("1 part", "g-1", confirms=True)),
        (answer(202, b'{"id": 17, "more": [1]}'), Sent("1 part", "17", confirms=True)),
        (answer(400, b'{"error": "no such number"}'), Refused('the gateway answered 400: {"error": "no such number"}')),
        (answer(422, b"<b>\r\n\x00bad</b>"), Refused("the gateway answered 422: <b> bad</b>")),
        (answer(401, b"who?"), Hold("the gateway answered 401: who?")),
        (answer(403, b""), Hold("the gateway answered 403")),
        (answer(402, b"no money left"), Hold("the gateway answered 402: no money left")),
        (answer(404, b""), Hold("the gateway answered 404")),
        (answer(405, b""), Hold("the gateway answered 405")),
        (answer(409, b"still at it"), Again("the gateway answered 409: still at it")),
        (answer(429, b"", Retry_After="90"), Again("the gateway answered 429", after=90.0)),
        (
            answer(429, b"", Retry_After="Mon, 09 Mar 2026 09:31:30 GMT"),
            Again("the gateway answered 429", after=90.0),
        ),
        (answer(429, b"", Retry_After="soon"), Again("the gateway answered 429")),
        (answer(500, b"oh"), Again("the gateway answered 500: oh")),
        (answer(502, b""), Again("the gateway answered 502", route_down=True)),
        (answer(503, b"", Retry_After="5"), Again("the gateway answered 503", after=5.0, route_down=True)),
        (answer(504, b""), Again("the gateway answered 504", route_down=True)),
    ],
    ids=lambda value: value.decode("latin-1").split()[1] if isinstance(value, bytes) else "",
)
def test_what_an_answer_comes_to(reply, outcome):
    assert sent(Carrier([reply])) == outcome


@pytest.mark.parametrize("status", [301, 302, 307, 308])
def test_no_redirect_is_followed(status):
    elsewhere = Carrier()

    async def main() -> Outcome:
        async with elsewhere.open() as other:
            carrier = Carrier([answer(status, b"", Location=f"http://127.0.0.1:{other}/")])
            async with carrier.open() as port:
                route = TextRoute(outward(port), now=lambda: AT)
                try:
                    return await route.send(outgoing())
                finally:
                    await route.rest()

    assert isinstance(asyncio.run(main()), Hold)
    assert elsewhere.asked == []


def test_an_answer_that_the_template_does_not_count_holds_the_way():
    outcome = sent(Carrier([answer(204, b"")]))
    assert isinstance(outcome, Hold)
    assert sent(Carrier([answer(204, b"")]), accepted=(204,), confirms=False, reference=None) == Sent("1 part")


@pytest.mark.parametrize(
    "body", [b"", b"ok", b"{}", b'{"id": null}', b'{"id": {"x": 1}}', b"[" * 50_000, b'{"id": "' + b"x" * 70_000]
)
def test_what_is_taken_over_is_sent_whatever_else_is_said(body):
    outcome = sent(Carrier([answer(201, body)]))
    assert isinstance(outcome, Sent)
    assert (outcome.reference, outcome.confirms) == (None, False)
    assert "no name at id" in outcome.said


def test_a_gateway_may_speak_of_a_message_by_our_name():
    assert sent(Carrier([answer(200, b"")]), reference="{id}") == Sent(
        "1 part", "m1@log.ferries.example", confirms=True
    )


@pytest.mark.parametrize(
    "reply", [HANG_UP, b"220 mail.example ESMTP\r\n", b"HTTP/1.1 abc\r\n\r\n", b"\x16\x03\x01\x00"]
)
def test_a_broken_answer_is_no_answer(reply):
    outcome = sent(Carrier([reply]), timeout=1)
    assert isinstance(outcome, Again)
    assert not outcome.route_down


def test_silence_ends_in_time():
    began = time.monotonic()
    outcome = sent(Carrier([SILENT]), timeout=0.3)
    assert outcome == Again("127.0.0.1 took too long over one message")
    assert time.monotonic() - began < 3


def test_a_trickle_ends_in_time():
    """Each octet comes soon enough, the whole never."""

    async def trickle(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            while True:
                writer.write(b"H")
                await writer.drain()
                await asyncio.sleep(0.02)
        except OSError:
            return
        finally:
            writer.close()

    async def main() -> tuple[Outcome, float]:
        server = await asyncio.start_server(trickle, "127.0.0.1", 0)
        route = TextRoute(outward(server.sockets[0].getsockname()[1], timeout=0.5), now=lambda: AT)
        began = time.monotonic()
        outcome = await route.send(outgoing())
        took = time.monotonic() - began
        await route.rest()
        server.close()
        return outcome, took

    outcome, took = asyncio.run(main())
    assert isinstance(outcome, Again)
    assert took < 3


def test_nobody_there():
    route = TextRoute(outward(closed_port()), now=lambda: AT)
    outcome = asyncio.run(route.send(outgoing()))
    assert isinstance(outcome, Again)
    assert outcome.route_down
    assert "cannot be reached" in outcome.reason


def test_no_such_host():
    route = TextRoute(outward(443, "https", "nobody.invalid"), now=lambda: AT)
    outcome = asyncio.run(route.send(outgoing()))
    assert isinstance(outcome, Again)
    assert outcome.route_down


# -- encryption -----------------------------------------------------------------------------------------------------


def test_a_good_certificate(ca):
    carrier = Carrier()
    outcome = sent(carrier, tls=ca.server("localhost"), scheme="https", host="localhost", ca_file=ca.ca_file)
    assert outcome == Sent("1 part", "g-1", confirms=True)


@pytest.mark.parametrize("bad", ["unknown authority", "another name", "out of date"])
def test_a_bad_certificate_holds_the_way_and_nothing_is_said(ca, bad):
    carrier = Carrier()
    tls = {
        "unknown authority": lambda: ca.server("localhost"),
        "another name": lambda: ca.server("other.example"),
        "out of date": lambda: ca.server("localhost", days=(-9, -1)),
    }[bad]()
    file = None if bad == "unknown authority" else ca.ca_file
    outcome = sent(carrier, tls=tls, scheme="https", host="localhost", ca_file=file)
    assert isinstance(outcome, Hold)
    assert "certificate" in outcome.reason
    assert carrier.asked == []


def test_a_server_that_does_not_encrypt_is_not_spoken_to_in_the_open(ca):
    carrier = Carrier()
    outcome = sent(carrier, scheme="https", host="localhost", ca_file=ca.ca_file, timeout=1)
    assert outcome == Again("localhost did not answer in time", route_down=True)
    assert carrier.asked == []
    gc.collect()  # an open line that was left behind would be told here


def test_a_server_that_answers_a_greeting_to_encrypt_with_something_else(ca):
    async def babble(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(1)
        writer.write(b"HTTP/1.1 400 Bad Request\r\n\r\n")
        writer.close()

    async def main() -> Outcome:
        server = await asyncio.start_server(babble, "127.0.0.1", 0)
        port = server.sockets[0].getsockname()[1]
        route = TextRoute(outward(port, "https", "localhost", ca_file=ca.ca_file), now=lambda: AT)
        outcome = await route.send(outgoing())
        await route.rest()
        server.close()
        return outcome

    outcome = asyncio.run(main())
    assert isinstance(outcome, Hold)
    assert "agree how to encrypt" in outcome.reason


def test_an_authority_that_is_not_there_holds_the_way(tmp_path):
    outcome = sent(Carrier(), ca_file=tmp_path / "none.pem")
    assert isinstance(outcome, Hold)
    assert "none.pem" in outcome.reason or "No such file" in outcome.reason


def test_a_proxy_of_the_environment_is_not_asked(monkeypatch):
    monkeypatch.setenv("HTTP_PROXY", f"http://127.0.0.1:{closed_port()}")
    monkeypatch.setenv("ALL_PROXY", f"http://127.0.0.1:{closed_port()}")
    assert isinstance(sent(Carrier()), Sent)


# -- tokens, and trying it out --------------------------------------------------------------------------------------


def test_a_token_is_read_anew_and_never_shown(tmp_path):
    file = tmp_path / "token"
    file.write_text("first-0ne\n")
    carrier = Carrier()

    async def act(route: TextRoute) -> list[Outcome]:
        outcomes = [await route.send(outgoing())]
        file.write_text("sec0nd-one\n")
        outcomes.append(await route.send(outgoing()))
        file.unlink()
        outcomes.append(await route.send(outgoing()))
        return outcomes

    outcomes = playing(carrier, act, token=None, token_file=file)
    assert [asked.headers["authorization"] for asked in carrier.asked] == ["Bearer first-0ne", "Bearer sec0nd-one"]
    assert isinstance(outcomes[2], Hold)
    assert "0n" not in str(outcomes)
    assert "t0ken" not in repr(outward(1))


@pytest.mark.parametrize(
    ("reply", "found"),
    [
        (answer(422, b"no recipient"), None),
        (answer(400, b"no recipient"), None),
        (answer(200), None),
        (answer(401, b"who?"), Hold("the gateway answered 401: who?")),
        (answer(404, b""), Hold("the gateway answered 404")),
        (answer(503, b""), Again("the gateway answered 503", route_down=True)),
        (HANG_UP, Again("the connection to 127.0.0.1 broke off: Server disconnected without sending a response.")),
    ],
)
def test_a_held_way_is_tried_without_a_number(reply, found):
    carrier = Carrier([reply])
    assert playing(carrier, lambda route: route.trial()) == found
    assert carrier.asked[0].json["to"] == ""
    assert carrier.asked[0].json["message"]["text"] == ""
    assert carrier.asked[0].headers["authorization"] == "Bearer t0ken"


def test_a_held_way_is_tried_where_the_template_says():
    async def main() -> list[Any]:
        carrier = Carrier([answer(200), answer(400, b""), answer(401, b"")])
        async with carrier.open() as port:
            route = TextRoute(outward(port, check=f"http://127.0.0.1:{port}/v1/account"), now=lambda: AT)
            found = [await route.trial() for _ in range(3)]
        return [*found, carrier.asked]

    first, second, third, asked = asyncio.run(main())
    assert first is None
    assert isinstance(second, Hold)
    assert isinstance(third, Hold)
    assert {(each.method, each.target, each.body) for each in asked} == {("GET", "/v1/account", b"")}
    assert asked[0].headers["authorization"] == "Bearer t0ken"


def test_it_is_a_route():
    route: Route = TextRoute(outward(1, timeout=7), now=lambda: AT)
    assert route.name == "text"
    assert route.longest > 7


@pytest.mark.parametrize(
    ("said", "seconds"),
    [
        ("0", 0.0), ("120", 120.0), ("999999999", 86_400.0), ("-1", None), ("1.5", None), ("", None),
        ("Mon, 09 Mar 2026 09:29:00 GMT", 0.0), ("Mon, 09 Mar 2026 09:31:00 GMT", 60.0), ("Mon, 99 Mar", None),
    ],
)  # fmt: skip
def test_when_to_come_again(said, seconds):
    assert wait_of({"retry-after": said}, AT) == seconds
