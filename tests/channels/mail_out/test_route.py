"""The mail route against servers that refuse, put off, hang, break off and talk nonsense."""

from __future__ import annotations

import asyncio
import socket
import time
from collections.abc import Awaitable, Callable
from email import message_from_bytes
from email.policy import default
from typing import Any

import pytest

from logbook.channels.mail_out import MailRoute
from logbook.watch.routes import Again, Hold, Outcome, Refused, Sent
from tests.channels.mail_out.sending import Keeper, outgoing, route, server
from tests.channels.mail_out.stub import DROP, HANG, KEEP_AND_DROP, Stub


def against(stub: Stub, act: Callable[[MailRoute], Awaitable[Any]], **more: Any) -> Any:
    """What `act` answers, with a route to the stub; the route rests afterwards."""

    async def run() -> Any:
        async with stub.run():
            sending = route(stub.port, **more)
            try:
                return await act(sending)
            finally:
                await sending.rest()

    return asyncio.run(run())


def once(stub: Stub, **more: Any) -> Outcome:
    outcome: Outcome = against(stub, lambda sending: sending.send(outgoing()), **more)
    return outcome


def test_a_real_server_takes_it_whole() -> None:
    keeper = Keeper()

    async def run(port: int) -> list[Outcome]:
        sending = route(port)
        answers = [await sending.send(outgoing(n, body=f"ñ {n}\n.\n" + "y" * 2_000)) for n in (1, 2)]
        await sending.rest()
        return answers

    with server(keeper) as port:
        assert asyncio.run(run(port)) == [Sent("taken"), Sent("taken")]
    assert [(e.mail_from, e.rcpt_tos) for e in keeper.envelopes] == [
        ("logbook@ferries.example", ["ann@ferries.example"])
    ] * 2
    mails = [message_from_bytes(e.content, policy=default) for e in keeper.envelopes]
    assert [mail["Message-ID"] for mail in mails] == ["<m1@log.ferries.example>", "<m2@log.ferries.example>"]
    assert mails[1].get_content().replace("\r\n", "\n") == "ñ 2\n.\n" + "y" * 2_000 + "\n"


def test_one_connection_serves_a_batch_and_takes_its_leave() -> None:
    stub = Stub()

    async def batch(sending: MailRoute) -> None:
        for n in range(20):
            assert await sending.send(outgoing(n)) == Sent("taken")

    against(stub, batch)
    assert stub.connections == 1
    assert len(stub.kept) == 20
    assert stub.verbs() == ["EHLO", *["MAIL", "RCPT", "DATA"] * 20, "QUIT"]


def test_every_transaction_has_one_recipient() -> None:
    stub = Stub()

    async def batch(sending: MailRoute) -> None:
        for name in ("ann", "bo", "cy"):
            await sending.send(outgoing(address=f"{name}@ferries.example"))

    against(stub, batch)
    assert [line for line in stub.heard if line.startswith("RCPT")] == [
        f"RCPT TO:<{name}@ferries.example>" for name in ("ann", "bo", "cy")
    ]


@pytest.mark.parametrize(
    ("verb", "answer", "outcome"),
    [
        ("banner", "421 busy", Again), ("banner", "450 later", Again), ("banner", "554 not you", Hold),
        ("EHLO", "451 later", Again), ("EHLO", "550 not you", Hold),
        ("MAIL", "451 later", Again), ("MAIL", "421 busy", Again), ("MAIL", "550 who are you", Hold),
        ("MAIL", "530 log in first", Hold), ("MAIL", "552 too large", Refused),
        ("RCPT", "450 greylisted", Again), ("RCPT", "421 busy", Again), ("RCPT", "452 full", Again),
        ("RCPT", "550 no such user", Refused), ("RCPT", "553 not here", Refused), ("RCPT", "530 log in first", Hold),
        ("DATA", "451 later", Again), ("DATA", "554 no", Refused), ("DATA", "250 what", Again),
        (".", "451 later", Again), (".", "452 full", Again), (".", "554 spam", Refused), (".", "552 too much", Refused),
        (".", "200", Again), ("MAIL", "hello there", Again), ("RCPT", "999 what", Again), (".", "nonsense", Again),
    ],
)  # fmt: skip
def test_what_an_answer_means(verb: str, answer: str, outcome: type) -> None:
    stub = Stub(script={verb: [answer]})
    got = once(stub)
    assert type(got) is outcome
    assert not isinstance(got, Sent)
    assert answer.split(" ")[-1] in got.reason
    assert stub.kept == []
    if isinstance(got, Again):
        assert got.route_down is (verb in ("banner", "EHLO"))


@pytest.mark.parametrize("verb", ["banner", "EHLO", "MAIL", "RCPT", "DATA", "."])
@pytest.mark.parametrize("how", [HANG, DROP])
def test_a_server_that_hangs_or_hangs_up_is_tried_again(verb: str, how: str) -> None:
    stub = Stub(script={verb: [how]})
    began = time.monotonic()
    got = once(stub, timeout=0.1, final_timeout=0.1)
    assert isinstance(got, Again)
    assert got.route_down is (verb in ("banner", "EHLO"))
    assert stub.kept == []
    assert time.monotonic() - began < 5


def test_a_connection_that_breaks_after_the_last_dot_delivers_twice_with_one_message_id() -> None:
    stub = Stub(script={".": [KEEP_AND_DROP, "250 taken"]})

    async def twice(sending: MailRoute) -> list[Outcome]:
        return [await sending.send(outgoing()) for _ in range(2)]

    first, second = against(stub, twice)
    assert isinstance(first, Again)
    assert second == Sent("taken")
    assert len(stub.kept) == 2
    assert stub.kept[0] == stub.kept[1]


@pytest.mark.parametrize(
    ("verb", "answer"), [("RCPT", "550 no"), ("RCPT", "450 later"), ("DATA", "554 no"), (".", "554 spam")]
)
def test_after_a_refusal_the_next_message_has_a_clean_envelope(verb: str, answer: str) -> None:
    usual = {"RCPT": "250 ok", "DATA": "354 go on", ".": "250 taken"}
    stub = Stub(script={verb: [answer, usual[verb]]})

    async def both(sending: MailRoute) -> list[Outcome]:
        return [await sending.send(outgoing(1, address="bo@ferries.example")), await sending.send(outgoing(2))]

    first, second = against(stub, both)
    assert not isinstance(first, Sent)
    assert second == Sent("taken")
    assert stub.connections == 1
    assert "RSET" in stub.verbs()
    assert [recipient for recipient, _ in stub.kept] == ["RCPT TO:<ann@ferries.example>"]


@pytest.mark.parametrize("broken", ["250-half\r\nnonsense\r\n250 left over", "999 what\r\n250 left over"])
def test_after_a_broken_answer_no_later_one_can_be_mistaken_for_it(broken: str) -> None:
    stub = Stub(script={"RCPT": [broken, "250 ok"]})

    async def both(sending: MailRoute) -> list[Outcome]:
        return [await sending.send(outgoing(n)) for n in (1, 2)]

    first, second = against(stub, both)
    assert isinstance(first, Again)
    assert second == Sent("taken")
    assert stub.connections == 2


@pytest.mark.parametrize("tired", ["421 that was enough", DROP])
def test_a_server_tired_of_the_connection_gets_a_new_one_at_once(tired: str) -> None:
    stub = Stub(script={"MAIL": ["250 ok", tired, "250 ok", tired, "250 ok"]})

    async def batch(sending: MailRoute) -> list[Outcome]:
        return [await sending.send(outgoing(n)) for n in range(3)]

    assert against(stub, batch) == [Sent("taken")] * 3
    assert stub.connections == 3
    assert len(stub.kept) == 3


def test_a_server_that_closed_between_messages_gets_a_new_connection() -> None:
    stub = Stub(script={".": ["250 taken"], "RSET": [DROP]})

    async def both(sending: MailRoute) -> list[Outcome]:
        first = await sending.send(outgoing(1))
        for task in list(stub._tasks):
            task.cancel()
        await asyncio.sleep(0.05)
        return [first, await sending.send(outgoing(2))]

    assert against(stub, both) == [Sent("taken")] * 2
    assert stub.connections == 2


def test_a_refused_connection_and_an_unknown_host() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]  # bound, and not listening

        async def run() -> list[Outcome]:
            return [
                await route(port).send(outgoing()),
                await route(port, host="no-such-host.invalid").send(outgoing()),
            ]

        for got in asyncio.run(run()):
            assert isinstance(got, Again)
            assert got.route_down


@pytest.mark.parametrize(
    "address",
    ["ann@ferries.example\r\nRCPT TO:<eve@ferries.example>", "ann@ferries.example\n", "señora@ferries.example", "ann"],
)
def test_an_address_that_is_none_is_refused_before_anything_is_said(address: str) -> None:
    stub = Stub()
    got = against(stub, lambda sending: sending.send(outgoing(address=address)))
    assert isinstance(got, Refused)
    assert "\n" not in got.reason
    assert stub.connections == 0


def test_a_message_larger_than_the_server_takes_is_refused_without_being_sent() -> None:
    stub = Stub(offers=("SIZE 1000",))
    got = against(stub, lambda sending: sending.send(outgoing(body="x" * 2_000)))
    assert isinstance(got, Refused)
    assert "MAIL" not in stub.verbs()
    assert once(Stub(offers=("SIZE",))) == once(Stub(offers=("SIZE 0",))) == Sent("taken")


def test_the_size_is_announced_where_it_is_asked_for() -> None:
    stub = Stub(offers=("SIZE 100000",))
    assert once(stub) == Sent("taken")
    mail = next(line for line in stub.heard if line.startswith("MAIL"))
    assert mail == f"MAIL FROM:<logbook@ferries.example> SIZE={len(stub.kept[0][1])}"


def test_octets_that_are_no_text_do_no_harm_in_a_reason() -> None:
    got = once(Stub(script={"RCPT": ["550 \udcff\udcfe \x1b[31mno\x07 " + "z" * 900]}))
    assert isinstance(got, Refused)
    got.reason.encode("utf-8")
    assert got.reason.isprintable()
    assert len(got.reason) < 450


def test_an_answer_without_end_is_cut_off() -> None:
    got = once(Stub(script={"EHLO": ["250-" + "x" * 200_000]}), timeout=1)
    assert isinstance(got, Again)


def test_one_message_never_takes_longer_than_it_says() -> None:
    # Each answer comes just in time; six of them are more than `longest`.
    stub = Stub(delay=0.28)

    async def slow(sending: MailRoute) -> tuple[Outcome, float, float]:
        began = time.monotonic()
        return await sending.send(outgoing()), time.monotonic() - began, sending.longest

    got, took, longest = against(stub, slow, timeout=0.3, final_timeout=0.3)
    assert isinstance(got, Again)
    assert took <= longest + 0.5


def test_two_answers_to_one_question_never_pass_for_a_message_taken() -> None:
    got = once(Stub(script={"MAIL": ["250 ok\r\n250 ok"], ".": ["554 spam"]}))
    assert isinstance(got, Again | Refused)


def test_a_trial_says_what_a_message_would_meet_and_sends_none() -> None:
    well = Stub()
    assert against(well, lambda sending: sending.trial()) is None
    assert well.verbs() == ["EHLO", "MAIL", "RSET", "QUIT"]
    assert isinstance(against(Stub(script={"MAIL": ["530 log in"]}), lambda s: s.trial()), Hold)
    assert isinstance(against(Stub(script={"banner": ["421 busy"]}), lambda s: s.trial()), Again)
    assert isinstance(against(Stub(script={"MAIL": [HANG]}), lambda s: s.trial(), timeout=0.1), Again)


def test_taking_leave_of_a_server_that_hangs_takes_no_time() -> None:
    stub = Stub(script={"QUIT": [HANG]})
    began = time.monotonic()
    assert once(stub, timeout=0.1) == Sent("taken")
    assert time.monotonic() - began < 2


def test_a_server_without_ehlo_is_greeted_the_old_way() -> None:
    stub = Stub(script={"EHLO": ["502 what"]})
    assert once(stub) == Sent("taken")
    assert stub.verbs()[:2] == ["EHLO", "HELO"]
