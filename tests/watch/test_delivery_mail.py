"""Delivery by real mail: from the outbox through SMTP to a server's hands, and what comes of it if that goes wrong."""

from __future__ import annotations

import asyncio
import contextlib
from collections import Counter
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from email import message_from_bytes
from email.policy import default
from pathlib import Path
from typing import Any

import pytest

from logbook.channels.mail_out import MailRoute
from logbook.domain.instants import DAY, HOUR, MINUTE, SECOND
from logbook.store import Store
from logbook.watch.delivery import LEASE_SLACK, TRIAL_EVERY, Delivery
from tests.channels.mail_out.certificates import authority
from tests.channels.mail_out.sending import Keeper, free_port, route, server
from tests.channels.mail_out.stub import DROP, HANG, KEEP_AND_DROP, Stub
from tests.watch.delivering import NOW, Ear, Way, found, message, opened, put, sign, states, worker


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with opened(tmp_path) as store:
        yield store


def against(stub: Stub, act: Callable[[MailRoute], Awaitable[Any]], **more: Any) -> Any:
    async def run() -> Any:
        async with stub.run():
            return await act(route(stub.port, **more))

    return asyncio.run(run())


def ids(stub: Stub) -> Counter[str]:
    """How often each Message-ID has arrived."""
    return Counter(str(message_from_bytes(octets, policy=default)["Message-ID"]) for _to, octets in stub.kept)


def passes(
    store: Store, *times: int, ear: Ear | None = None, others: tuple[Any, ...] = ()
) -> Callable[..., Awaitable[Any]]:
    """One pass at each of these instants."""

    async def act(mail: MailRoute) -> list[Any]:
        delivery = worker(store, mail, *others, ear=ear)
        return [await delivery.once(at) for at in times]

    return act


def test_a_batch_reaches_a_whole_server_over_one_connection(store: Store) -> None:
    put(store, *(message(n, body=f"¡Señal {n}!\n" + "x" * 1_200) for n in range(25)))
    keeper = Keeper()
    with server(keeper) as port:

        async def run() -> Any:
            return await worker(store, route(port, timeout=5, final_timeout=5)).once(NOW)

        assert asyncio.run(run()).sent == 25
    assert len({id(envelope) for envelope in keeper.envelopes}) == 25
    assert [envelope.rcpt_tos for envelope in keeper.envelopes] == [[f"p{n:03}@ferries.example"] for n in range(25)]
    mails = [message_from_bytes(envelope.content, policy=default) for envelope in keeper.envelopes]
    assert [mail["Message-ID"] for mail in mails] == [f"<m{n:03}@log.ferries.example>" for n in range(25)]
    assert set(states(store).values()) == {"sent"}


def test_a_greylisting_server_gets_the_same_message_later(store: Store) -> None:
    put(store, message(1))
    stub = Stub(script={"RCPT": ["451 greylisted, come back", "250 ok"]})
    first, early, later = against(stub, passes(store, NOW, NOW + 5 * SECOND, NOW + MINUTE))
    assert (first.again, early.claimed, later.sent) == (1, 0, 1)
    assert ids(stub) == {"<m001@log.ferries.example>": 1}
    assert found(store, "m001").attempts == 2


@pytest.mark.parametrize(
    ("verb", "answer"), [("MAIL", "451 no"), ("RCPT", "450 no"), ("DATA", "451 no"), (".", "452 no")]
)
def test_whatever_is_put_off_arrives_once_in_the_end(verb: str, answer: str, store: Store) -> None:
    put(store, message(1), message(2))
    usual = {"MAIL": "250 ok", "RCPT": "250 ok", "DATA": "354 go on", ".": "250 taken"}[verb]
    stub = Stub(script={verb: [answer, answer, answer, usual]})
    against(stub, passes(store, NOW, NOW + MINUTE, NOW + 5 * MINUTE))
    assert ids(stub) == {"<m001@log.ferries.example>": 1, "<m002@log.ferries.example>": 1}


def test_an_address_that_refuses_costs_the_others_nothing(store: Store) -> None:
    put(
        store,
        message(1),
        message(2, address="gone@ferries.example"),
        message(3, address="p\r\nDATA@x.example"),
        message(4),
    )
    ear = Ear(others={"gone@ferries.example": message(5, route="text", address="+15555550101")})
    text = Way("text")
    keeper = Keeper(refuse={"gone@ferries.example": "550 no such user"})
    with server(keeper) as port:

        async def run() -> None:
            delivery = worker(store, route(port, timeout=5, final_timeout=5), text, ear=ear)
            await delivery.once(NOW)
            await delivery.once(NOW + SECOND)

        asyncio.run(run())
    assert [e.rcpt_tos for e in keeper.envelopes] == [["p001@ferries.example"], ["p004@ferries.example"]]
    assert [each.address for each in text.tried] == ["+15555550101", "owner"]
    assert [trouble.message and trouble.message.id for trouble in ear.heard] == ["m003"]
    assert states(store)["m002"] == states(store)["m003"] == "failed"


def test_a_connection_lost_after_the_last_dot_delivers_twice_and_both_times_the_same(store: Store) -> None:
    put(store, message(1), message(2))
    stub = Stub(script={".": [KEEP_AND_DROP, "250 taken"]})
    first, second = against(stub, passes(store, NOW, NOW + MINUTE))
    assert (first.again, first.sent, second.sent) == (1, 1, 1)
    assert ids(stub) == {"<m001@log.ferries.example>": 2, "<m002@log.ferries.example>": 1}
    copies = [octets for _to, octets in stub.kept if b"<m001@" in octets]
    assert copies[0] == copies[1]


def test_a_crash_between_the_servers_yes_and_ours_delivers_again(store: Store) -> None:
    put(store, message(1))
    stub = Stub()

    class Killed(BaseException):
        pass

    async def die(*_: Any) -> None:
        raise Killed

    async def act(mail: MailRoute) -> None:
        dying = worker(store, mail)
        dying._settle = die  # type: ignore[assignment]
        with contextlib.suppress(Killed):
            await dying.once(NOW)
        lease = int(mail.longest * SECOND) + LEASE_SLACK
        assert (await worker(store, mail, by="two").once(NOW + lease - 1)).claimed == 0
        assert (await worker(store, mail, by="two").once(NOW + lease)).sent == 1

    against(stub, act)
    assert ids(stub) == {"<m001@log.ferries.example>": 2}


@pytest.mark.parametrize("how", [HANG, DROP])
def test_a_server_that_hangs_loses_nothing_and_asks_one_wait_a_pass(how: str, store: Store) -> None:
    put(store, *(message(n) for n in range(10)))
    stub = Stub(script={"banner": [how, "220 back"]})
    first, second = against(stub, passes(store, NOW, NOW + MINUTE), timeout=0.1)
    assert (first.again, first.let_go, second.sent) == (1, 9, 10)
    assert set(ids(stub).values()) == {1}


def test_a_mail_server_away_for_a_day_loses_nothing(store: Store) -> None:
    put(store, *(message(n) for n in range(12)), message(50, not_after=NOW + HOUR))
    ear, port, now = Ear(), free_port(), NOW

    async def away() -> int:
        nonlocal now
        delivery, mail = None, route(port)
        delivery = worker(store, mail, ear=ear)
        while now < NOW + DAY:
            await delivery.once(now)
            now += 10 * MINUTE
        return now

    asyncio.run(away())
    assert Counter(states(store).values()) == {"waiting": 13, "expired": 1}  # the owner's message waits for texts
    assert [trouble.what for trouble in ear.heard] == ["unreachable"]
    stub = Stub(port=port)
    against(stub, passes(store, *(now + n * MINUTE for n in range(8))))
    assert ids(stub) == {f"<m{n:03}@log.ferries.example>": 1 for n in range(12)}
    assert stub.connections <= 3


def test_a_wrong_password_holds_mail_until_it_is_mended_and_then_everything_goes(store: Store, tmp_path: Path) -> None:
    put(store, message(1), message(2))
    ca, secret, ear, text = authority(tmp_path), tmp_path / "password", Ear(), Way("text")
    secret.write_text("wrong")
    stub = Stub(
        tls=ca.server(), implicit=True, offers=("AUTH PLAIN",), script={"AUTH": ["535 no", "535 no", "235 welcome"]}
    )
    first, second = NOW + TRIAL_EVERY + SECOND, NOW + 2 * TRIAL_EVERY + 2 * SECOND
    times = (NOW, NOW + SECOND, NOW + MINUTE, first, second, second + SECOND)
    reports = against(
        stub, passes(store, *times, ear=ear, others=(text,)),
        security="implicit", ca_file=ca.ca_file, user="logbook", password_file=secret,
    )  # fmt: skip
    assert stub.verbs().count("AUTH") == 4  # first, two trials, and then the batch
    assert [bool(report.held) for report in reports] == [True, True, True, True, False, False]
    assert [trouble.what for trouble in ear.heard] == ["held"]
    assert [each.address for each in text.tried] == ["owner"]
    assert set(ids(stub)) == {"<m001@log.ferries.example>", "<m002@log.ferries.example>"}
    assert sign(store, "hold:mail") is None


def test_a_bad_certificate_holds_mail_and_nothing_is_handed_over(store: Store, tmp_path: Path) -> None:
    put(store, message(1))
    ca, ear = authority(tmp_path), Ear()
    stub = Stub(tls=ca.server("mail.elsewhere.example"), implicit=True)
    (report,) = against(stub, passes(store, NOW, ear=ear), security="implicit", ca_file=ca.ca_file)
    assert "certificate" in report.held["mail"]
    held = sign(store, "hold:mail")
    assert held is not None
    assert "mismatch" in (held.detail or "")
    assert stub.heard == []
    assert states(store)["m001"] == "waiting"


def test_two_workers_with_a_connection_each_deliver_each_message_once(store: Store) -> None:
    put(store, *(message(n) for n in range(40)))
    stub = Stub()

    @contextlib.asynccontextmanager
    async def both() -> AsyncIterator[list[Delivery]]:
        async with stub.run():
            yield [worker(store, route(stub.port), by=str(n), limit=5) for n in range(2)]

    async def drain(delivery: Delivery) -> int:
        sent = 0
        while (report := await delivery.once(NOW)).claimed:
            sent += report.sent
        return sent

    async def run() -> list[int]:
        async with both() as workers:
            return list(await asyncio.gather(*map(drain, workers)))

    shares = asyncio.run(run())
    assert sum(shares) == 40
    assert min(shares) > 0
    assert ids(stub) == {f"<m{n:03}@log.ferries.example>": 1 for n in range(40)}
