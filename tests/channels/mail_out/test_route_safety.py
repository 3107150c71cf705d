"""Encryption, certificates and logins: what was set happens, or nothing is sent."""

from __future__ import annotations

import asyncio
import base64
from pathlib import Path
from typing import Any

import pytest

from logbook.watch.routes import Again, Hold, Outcome, Sent
from tests.channels.mail_out.certificates import Authority
from tests.channels.mail_out.sending import outgoing, route
from tests.channels.mail_out.stub import DROP, HANG, Stub

WAYS = ["implicit", "starttls"]


def once(stub: Stub, **more: Any) -> Outcome:
    async def run() -> Outcome:
        async with stub.run():
            sending = route(stub.port, **more)
            try:
                return await sending.send(outgoing())
            finally:
                await sending.rest()

    return asyncio.run(run())


def server(way: str, tls: Any, **more: Any) -> Stub:
    offers = more.pop("offers", ("STARTTLS", "AUTH PLAIN LOGIN") if way == "starttls" else ("AUTH PLAIN LOGIN",))
    return Stub(tls=tls, implicit=way == "implicit", offers=offers, **more)


@pytest.mark.parametrize("way", WAYS)
def test_a_good_certificate_is_enough(way: str, ca: Authority) -> None:
    stub = server(way, ca.server())
    assert once(stub, security=way, ca_file=ca.ca_file) == Sent("taken")
    # At STARTTLS everything is asked anew (RFC 3207, section 4.2).
    assert stub.verbs()[:4] == (
        ["EHLO", "STARTTLS", "EHLO", "MAIL"] if way == "starttls" else ["EHLO", "MAIL", "RCPT", "DATA"]
    )


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("what", ["unknown authority", "another name", "out of date", "not yet"])
def test_a_bad_certificate_holds_the_queue_and_nothing_is_said(way: str, what: str, ca: Authority) -> None:
    contexts = {
        "unknown authority": ca.server(),
        "another name": ca.server("mail.elsewhere.example"),
        "out of date": ca.server(days=(-8, -1)),
        "not yet": ca.server(days=(1, 8)),
    }
    stub = server(way, contexts[what])
    trusted = None if what == "unknown authority" else ca.ca_file
    got = once(stub, security=way, ca_file=trusted, user="logbook", password="s3cret")
    assert isinstance(got, Hold)
    assert "certificate of localhost" in got.reason
    assert stub.verbs() in ([], ["EHLO", "STARTTLS"])
    assert stub.kept == []


def test_starttls_that_is_not_offered_is_not_done_without() -> None:
    stub = Stub(offers=("AUTH PLAIN",))
    got = once(stub, security="starttls", user="logbook", password="s3cret")
    assert isinstance(got, Hold)
    assert "STARTTLS" in got.reason
    assert stub.verbs() == ["EHLO"]


@pytest.mark.parametrize(
    ("answer", "outcome"), [("454 not now", Again), ("502 what", Hold), ("220 go on", Again), (DROP, Again)]
)
def test_starttls_that_is_offered_and_then_not_given(answer: str, outcome: type) -> None:
    stub = Stub(offers=("STARTTLS",), script={"STARTTLS": [answer]})
    got = once(stub, security="starttls", timeout=0.2)
    assert type(got) is outcome
    assert "MAIL" not in stub.verbs()


def test_an_open_server_where_encryption_was_set_holds() -> None:
    stub = Stub()
    got = once(stub, security="implicit", timeout=0.3)
    assert isinstance(got, Hold)
    assert stub.heard == [] or "MAIL" not in stub.verbs()


def test_answers_put_in_before_encryption_are_not_believed(ca: Authority) -> None:
    # A man in the middle adds an answer of his own behind the 220, in the open (RFC 3207, section 6).
    class Injecting(Stub):
        async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            real = writer.write
            writer.write = lambda data: real(bytes(data) + b"250 AUTH PLAIN\r\n" if data == b"220 go on\r\n" else data)  # type: ignore[method-assign]
            await super()._talk(reader, writer)

    bad = Injecting(tls=ca.server(), offers=("STARTTLS",), script={"MAIL": ["451 not you"]})
    got = once(bad, security="starttls", ca_file=ca.ca_file, timeout=0.5)
    assert not isinstance(got, Sent)
    assert bad.kept == []


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize(
    ("offered", "said"),
    [
        ("AUTH LOGIN PLAIN CRAM-MD5", ["AUTH PLAIN " + base64.b64encode(b"\0logbook\0s3cret").decode()]),
        ("AUTH LOGIN", ["AUTH LOGIN " + base64.b64encode(b"logbook").decode(), base64.b64encode(b"s3cret").decode()]),
    ],
)
def test_one_way_of_logging_in_is_used(way: str, offered: str, said: list[str], ca: Authority) -> None:
    offers = ("STARTTLS", offered) if way == "starttls" else (offered,)
    stub = server(way, ca.server(), offers=offers)
    if "PLAIN" not in offered:
        stub.script["AUTH"] = ["334 UGFzc3dvcmQ6"]
        stub.script[said[1].upper()] = ["235 welcome"]
    assert once(stub, security=way, ca_file=ca.ca_file, user="logbook", password="s3cret") == Sent("taken")
    assert [
        line for line in stub.heard if line.split(" ")[0] not in {"EHLO", "STARTTLS", "MAIL", "RCPT", "DATA", "QUIT"}
    ] == said


@pytest.mark.parametrize(
    ("answer", "outcome"),
    [
        ("535 wrong", Hold),
        ("534 too weak", Hold),
        ("504 unknown", Hold),
        ("454 later", Again),
        ("421 busy", Again),
        (HANG, Again),
    ],
)
def test_a_login_that_fails_is_tried_once_and_nothing_is_sent(answer: str, outcome: type, ca: Authority) -> None:
    stub = server("implicit", ca.server(), offers=("AUTH CRAM-MD5 PLAIN LOGIN",), script={"AUTH": [answer]})
    got = once(stub, security="implicit", ca_file=ca.ca_file, user="logbook", password="s3cret", timeout=0.3)
    assert type(got) is outcome
    assert stub.verbs().count("AUTH") == 1
    assert "MAIL" not in stub.verbs()
    assert not isinstance(got, Sent)
    assert "s3cret" not in got.reason


@pytest.mark.parametrize("offered", ["AUTH GSSAPI", "8BITMIME"])
def test_a_login_that_is_set_is_not_left_out(offered: str, ca: Authority) -> None:
    stub = server("implicit", ca.server(), offers=(offered,))
    got = once(stub, security="implicit", ca_file=ca.ca_file, user="logbook", password="s3cret")
    assert isinstance(got, Hold)
    assert "MAIL" not in stub.verbs()


def test_a_challenge_that_is_none_holds(ca: Authority) -> None:
    stub = server("implicit", ca.server(), offers=("AUTH CRAM-MD5",), script={"AUTH": ["334 %%% no base64"]})
    got = once(stub, security="implicit", ca_file=ca.ca_file, user="logbook", password="s3cret")
    assert isinstance(got, Again | Hold)


def test_a_changed_password_file_is_read_again(ca: Authority, tmp_path: Path) -> None:
    file = tmp_path / "password"
    file.write_text("old\n")
    right = base64.b64encode(b"\0logbook\0new").decode()
    stub = server("implicit", ca.server(), script={"AUTH": ["535 wrong", "235 welcome"]})

    async def run() -> list[Outcome]:
        async with stub.run():
            sending = route(stub.port, security="implicit", ca_file=ca.ca_file, user="logbook", password_file=file)
            first = await sending.send(outgoing())
            file.write_text("new\n")
            second = await sending.send(outgoing())
            file.unlink()
            await sending.rest()
            return [first, second, await sending.send(outgoing())]

    first, second, third = asyncio.run(run())
    assert isinstance(first, Hold)
    assert second == Sent("taken")
    assert isinstance(third, Hold)
    assert "password_file" in third.reason
    assert [line for line in stub.heard if line.startswith("AUTH")][1] == f"AUTH PLAIN {right}"


def test_a_missing_authority_file_holds(tmp_path: Path) -> None:
    stub = Stub()
    got = once(stub, security="implicit", ca_file=tmp_path / "none.pem")
    assert isinstance(got, Hold)
    assert stub.connections == 0
