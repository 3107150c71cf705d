"""Delivery as such: claim, send, mark, in that order, whatever a route does and whenever the process dies."""

from __future__ import annotations

import asyncio
import itertools
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection

from logbook.domain.instants import DAY, HOUR, MINUTE, SECOND
from logbook.store import DiskFullError, Store, migrate, outbox
from logbook.watch.backoff import GIVE_UP, MOST, MOST_DOWN, backoff
from logbook.watch.delivery import LEASE_SLACK, PULSE, TELL_AFTER, TRIAL_EVERY, Delivery
from logbook.watch.routes import Again, Hold, Outgoing, Refused, Sent
from tests.watch.delivering import NOW, Ear, Way, found, message, once, opened, put, sign, states, worker


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with opened(tmp_path) as store:
        yield store


def test_what_is_due_goes_out_in_order_and_is_marked(store: Store) -> None:
    put(store, message(2), message(1), message(3, ready_at=NOW + 1))
    way = Way()
    report = once(worker(store, way, language=lambda _connection, each: "es" if each.id == "m002" else None))
    assert [(each.message_id, each.language) for each in way.tried] == [
        ("<m001@log.ferries.example>", None), ("<m002@log.ferries.example>", "es"),
    ]  # fmt: skip
    assert (report.claimed, report.sent, way.rests) == (2, 2, 1)
    assert states(store) == {"m001": "sent", "m002": "sent", "m003": "waiting"}
    assert found(store, "m001").sent_at is not None
    assert sign(store, "delivery") is not None
    assert once(worker(store, way)).claimed == 0


def test_nothing_is_marked_before_it_was_sent(store: Store) -> None:
    put(store, message(1))
    seen = []

    async def look(_message: Outgoing) -> None:
        seen.append((found(store, "m001").state, found(store, "m001").lease_by))

    once(worker(store, Way(before=look)))
    assert seen == [("waiting", "one")]


class Killed(BaseException):
    """The process dies here: nothing after it is done."""


def test_a_death_between_sending_and_marking_sends_again_with_the_same_message_id(store: Store) -> None:
    put(store, message(1))
    way = Way()
    dying = worker(store, way)

    async def die(*_: Any, **__: Any) -> None:
        raise Killed

    dying._mark = die  # type: ignore[method-assign]
    with pytest.raises(Killed):
        once(dying)
    assert (len(way.tried), found(store, "m001").state) == (1, "waiting")
    # While the lease lasts nobody touches it; then it goes out once more.
    lease = int(way.longest * SECOND) + LEASE_SLACK
    assert once(worker(store, way, by="two"), NOW + lease - 1).claimed == 0
    assert once(worker(store, way, by="two"), NOW + lease).sent == 1
    assert len({each.message_id for each in way.tried}) == 1
    assert len(way.tried) == 2
    assert way.tried[0] == way.tried[1]


def test_a_death_before_sending_loses_nothing(store: Store) -> None:
    put(store, message(1), message(2))

    async def die(_message: Outgoing) -> None:
        raise Killed

    with pytest.raises(Killed):
        once(worker(store, Way(before=die)))
    after = NOW + int(10 * SECOND) + LEASE_SLACK
    assert once(worker(store, Way(), by="two"), after).sent == 2


def test_a_worker_that_was_thought_dead_harms_nothing(store: Store) -> None:
    put(store, message(1))
    other = Way()

    async def sleep_too_long(_message: Outgoing) -> None:
        # Meanwhile the lease ends, and another worker sends it and marks it.
        assert (await worker(store, other, by="two").once(NOW + HOUR)).sent == 1

    slow = Way(answers=[Again("timed out")], before=sleep_too_long)
    report = once(worker(store, slow))
    assert (report.again, report.doubled) == (0, 1)
    assert found(store, "m001").state == "sent"
    slow = Way(answers=[Sent()], before=sleep_too_long)
    put(store, message(2))
    assert once(worker(store, slow)).doubled == 1


@pytest.mark.parametrize("database", ["sqlite", "postgresql"])
def test_two_workers_on_one_queue_send_each_message_once(
    database: str, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    url = f"sqlite:///{tmp_path / 'two.sqlite'}"
    if database == "postgresql":
        create: Callable[[], str] = request.getfixturevalue("postgres_database")
        url = create()
    migrate.upgrade(url)
    with Store(url) as one, Store(url) as two:
        put(one, *(message(n) for n in range(60)))
        ways = [Way(), Way()]

        async def breathe(_message: Outgoing) -> None:
            await asyncio.sleep(0.001)

        for way in ways:
            way.before = breathe
        workers = [
            worker(store, way, by=str(n), limit=4) for n, (store, way) in enumerate(zip((one, two), ways, strict=True))
        ]

        async def work(delivery: Delivery) -> int:
            sent = 0
            while (report := await delivery.once(NOW + MINUTE)).claimed or "waiting" in states(one).values():
                sent += report.sent
                assert report.doubled == 0
            return sent

        async def both() -> list[int]:
            return list(await asyncio.gather(*(work(delivery) for delivery in workers)))

        shares = asyncio.run(both())
        assert sum(shares) == 60
        assert min(shares) > 0
        tried = [each.message_id for way in ways for each in way.tried]
        assert sorted(tried) == [f"<m{n:03}@log.ferries.example>" for n in range(60)]


def test_what_is_put_off_waits_longer_each_time(store: Store) -> None:
    put(store, message(1))
    way = Way(answers=[Again("450 greylisted")])
    delivery, now, waits = worker(store, way), NOW, []
    for attempt in range(1, 12):
        assert once(delivery, now).again == 1
        kept = found(store, "m001")
        assert (kept.attempts, kept.error) == (attempt, "450 greylisted")
        waits.append(kept.next_at - now)
        assert once(delivery, kept.next_at - SECOND).claimed == 0
        now = kept.next_at + SECOND
    assert 20 * SECOND < waits[0] < 40 * SECOND
    assert all(later > sooner for sooner, later in itertools.pairwise(waits[:7]))
    assert max(waits) <= MOST * 5 // 4 + SECOND
    way.answers = [Sent()]
    assert once(delivery, now).sent == 1
    assert len({each.message_id for each in way.tried}) == 1


def test_a_named_time_is_kept_to(store: Store) -> None:
    put(store, message(1))
    once(worker(store, Way(answers=[Again("busy", after=77)])))
    assert 77 * SECOND <= found(store, "m001").next_at - NOW < 78 * SECOND


def test_what_failed_together_does_not_come_back_together() -> None:
    waits = {backoff(f"m{n}", 4) for n in range(200)}
    assert len(waits) > 190
    assert max(waits) - min(waits) > 60 * SECOND
    assert all(backoff("m", n) == backoff("m", n) for n in range(100))
    assert all(backoff("m", n) <= MOST * 5 // 4 for n in range(100))


def test_one_message_that_is_put_off_keeps_no_other(store: Store) -> None:
    put(store, message(1), message(2))
    assert once(worker(store, Way(answers=[Again("450 later"), Sent()]))).sent == 1
    assert states(store) == {"m001": "waiting", "m002": "sent"}


def test_put_off_for_five_days_is_refused(store: Store) -> None:
    put(store, message(1))
    ear, way = Ear(), Way(answers=[Again("450 later")])
    once(worker(store, way, ear=ear), NOW + GIVE_UP - MINUTE)
    assert ear.heard == []
    once(worker(store, way, ear=ear), NOW + GIVE_UP + HOUR)
    assert found(store, "m001").state == "failed"
    assert [trouble.what for trouble in ear.heard] == ["failed"]


def test_a_route_that_cannot_be_reached_is_never_given_up(store: Store) -> None:
    put(store, message(1))
    once(worker(store, Way(answers=[Again("refused", route_down=True)])), NOW + 2 * GIVE_UP)
    assert states(store)["m001"] == "waiting"


def test_an_idle_pass_leaves_a_sign_of_life_but_not_each_time(store: Store) -> None:
    delivery = worker(store, Way())
    seen = []
    for at in (NOW, NOW + PULSE - 1, NOW + PULSE):
        once(delivery, at)
        last = sign(store, "delivery")
        seen.append(last and last.at)
    assert seen == [NOW, NOW, NOW + PULSE]


def test_a_fault_of_ours_in_one_message_keeps_no_other(store: Store) -> None:
    put(store, message(1), message(2))
    report = once(worker(store, Way(answers=[KeyError("oh"), Sent()])))
    assert (report.again, report.sent) == (1, 1)
    assert "KeyError" in (found(store, "m001").error or "")


def test_a_server_away_for_a_day_loses_nothing_and_is_asked_by_one_message(store: Store) -> None:
    put(store, *(message(n) for n in range(30)))
    ear, way = Ear(), Way(answers=[Again("connection refused", route_down=True)])
    delivery, now = worker(store, way, ear=ear), NOW
    while now < NOW + DAY:
        once(delivery, now)
        now += 3 * MINUTE
    assert set(states(store).values()) == {"waiting"}
    # Thirty messages ask no more often than one would.
    assert DAY // (2 * MOST_DOWN) <= len(way.tried) <= DAY // (MOST_DOWN // 2)
    assert {each.message_id for each in way.tried} == {"<m000@log.ferries.example>"}
    assert [(trouble.what, trouble.route) for trouble in ear.heard] == [("unreachable", "mail")]
    assert ear.heard[0].at < NOW + MINUTE
    way.answers = [Sent()]
    way.tried.clear()
    put(store, message(31, ready_at=now))
    sent = 0
    for _ in range(8):
        sent += once(delivery, now).sent
        now += MINUTE
    assert sent == len({each.message_id for each in way.tried}) == 31
    assert sign(store, "down:mail") is None


def test_an_outage_is_told_to_the_owner_after_an_hour_and_once(store: Store) -> None:
    put(store, message(1))
    ear, way = Ear(), Way(answers=[Again("no route to host", route_down=True)])
    delivery = worker(store, way, ear=ear)
    once(delivery, NOW)
    once(delivery, NOW + TELL_AFTER - MINUTE)
    assert ear.heard == []
    once(delivery, NOW + TELL_AFTER + MINUTE)
    once(delivery, NOW + 3 * TELL_AFTER)
    assert len(ear.heard) == 1
    assert found(store, "m901").route == "text"
    # Back, and away again: that is another outage.
    way.answers = [Sent()]
    once(delivery, NOW + 5 * HOUR)
    put(store, message(2))
    way.answers = [Again("no route to host", route_down=True)]
    once(delivery, NOW + 6 * HOUR)
    once(delivery, NOW + 8 * HOUR)
    assert len(ear.heard) == 2


def test_one_success_frees_what_the_outage_had_put_off(store: Store) -> None:
    put(store, message(1), message(2, next_at=NOW + 30 * MINUTE))
    way = Way(answers=[Again("refused", route_down=True), Sent()])
    delivery = worker(store, way)
    once(delivery, NOW)
    assert once(delivery, NOW + MINUTE).sent == 1
    assert once(delivery, NOW + MINUTE + 2 * SECOND).sent == 1


def test_a_refusal_takes_the_next_way(store: Store) -> None:
    put(store, message(1))
    ear = Ear(others={"p001@ferries.example": message(2, route="text", address="+15555550101")})
    text = Way("text")
    report = once(worker(store, Way(answers=[Refused("550 no such user")]), text, ear=ear))
    assert (report.failed, report.other_way) == (1, 1)
    old, new = found(store, "m001"), found(store, "m002")
    assert (old.state, old.error) == ("failed", "550 no such user")
    assert (new.state, new.follows, new.message_id) == ("waiting", "m001", "<m002@log.ferries.example>")
    assert ear.heard == []
    assert once(worker(store, Way(), text, ear=ear), NOW + SECOND).sent == 1
    assert [each.address for each in text.tried] == ["+15555550101"]


def test_ways_do_not_go_round_in_circles(store: Store) -> None:
    put(store, message(1, address="a"))
    ear = Ear(others={"a": message(2, address="b"), "b": message(3, address="a")})
    delivery = worker(store, Way(answers=[Refused("550 no")]), ear=ear)
    for n in range(4):
        once(delivery, NOW + n * SECOND)
    assert states(store) == {"m001": "failed", "m002": "failed", "m901": "waiting"}
    assert [(trouble.what, trouble.message and trouble.message.id) for trouble in ear.heard] == [("failed", "m002")]


def test_a_refusal_without_another_way_is_told_to_the_owner(store: Store) -> None:
    put(store, message(1))
    ear = Ear()
    once(worker(store, Way(answers=[Refused("550 no such user")]), ear=ear))
    (trouble,) = ear.heard
    assert (trouble.what, trouble.route, trouble.reason) == ("failed", "mail", "550 no such user")
    assert found(store, "m901").kind == "trouble"


def test_trouble_with_telling_of_trouble_is_not_told(store: Store) -> None:
    put(store, message(1))
    ear = Ear(owner_route="mail")
    delivery = worker(store, Way(answers=[Refused("550 no")]), ear=ear)
    for n in range(5):
        once(delivery, NOW + n * MINUTE)
    assert len(ear.heard) == 1
    assert states(store) == {"m001": "failed", "m901": "failed"}


def test_a_bad_login_holds_the_route_keeps_the_queue_and_is_told_once(store: Store) -> None:
    put(store, *(message(n) for n in range(5)), message(7, route="text"))
    ear, text = Ear(), Way("text")
    mail = Way(answers=[Hold("535 wrong password")], trials=[Hold("535 still"), Again("busy"), None])
    delivery = worker(store, mail, text, ear=ear)
    report = once(delivery)
    assert report.held == {"mail": "535 wrong password"}
    assert len(mail.tried) == 1
    assert [each.address for each in text.tried] == ["p007@ferries.example"]
    assert [(found(store, f"m{n:03}").state, found(store, f"m{n:03}").attempts) for n in range(5)] == [
        ("waiting", 0)
    ] * 5
    assert [trouble.what for trouble in ear.heard] == ["held"]
    put(store, message(6))
    # Told by the other route, while mail waits: not one more attempt, not one more word to the owner.
    assert once(delivery, NOW + MINUTE).sent == 1
    assert text.tried[-1].address == "owner"
    assert (len(mail.tried), mail.tried_out) == (1, 0)
    now, tries = NOW, []
    while "mail" in (report := once(delivery, now)).held:
        tries.append(mail.tried_out)
        now += MINUTE
    assert report.released == ["mail"]
    assert mail.tried_out == 3
    assert now - NOW in range(3 * TRIAL_EVERY, 3 * TRIAL_EVERY + 2 * MINUTE)
    assert len(ear.heard) == 1
    mail.answers = [Sent()]
    assert once(delivery, now + SECOND).sent == 6


def test_of_a_held_route_the_owner_is_not_told_by_that_route(store: Store) -> None:
    put(store, message(1))
    ear = Ear(owner_route="mail")
    once(worker(store, Way(answers=[Hold("bad certificate")]), ear=ear))
    assert len(ear.heard) == 1
    assert states(store) == {"m001": "waiting"}


def test_nothing_is_sent_late(store: Store) -> None:
    put(store, message(1, not_after=NOW + MINUTE), message(2, not_after=NOW - 1), message(3))
    ear, way = Ear(), Way(answers=[Again("450 later")])
    report = once(worker(store, way, ear=ear))
    assert report.expired == 1
    assert {each.message_id for each in way.tried} == {"<m001@log.ferries.example>", "<m003@log.ferries.example>"}
    way.answers = [Sent()]
    assert once(worker(store, way, ear=ear), NOW + MINUTE + 1).expired == 1
    assert states(store) == {"m001": "expired", "m002": "expired", "m003": "sent"}
    assert ear.heard == []


def test_what_becomes_late_while_others_are_sent_is_not_sent(store: Store) -> None:
    put(store, message(1), message(2, not_after=NOW + 3 * SECOND), message(3))
    seconds = iter(range(0, 1_000, 2))
    way = Way()
    report = once(worker(store, way, elapsed=lambda: float(next(seconds))))
    assert report.expired == 1
    assert "<m002@log.ferries.example>" not in {each.message_id for each in way.tried}
    assert "too late" in (found(store, "m002").error or "")


def test_what_a_lease_does_not_suffice_for_is_let_go(store: Store) -> None:
    put(store, *(message(n) for n in range(4)))
    passed = [0.0]

    async def slow(_message: Outgoing) -> None:
        passed[0] += LEASE_SLACK / SECOND - 5

    way = Way(before=slow)
    report = once(worker(store, way, elapsed=lambda: passed[0]))
    assert (report.sent, report.let_go) == (2, 2)
    assert [found(store, f"m{n:03}").lease_by for n in range(4)] == [None] * 4
    assert once(worker(store, Way(), by="two"), NOW + 3 * MINUTE).sent == 2


def test_a_route_that_hangs_keeps_no_other_route(store: Store) -> None:
    put(store, message(1), message(2, route="text"))
    order = []

    async def hang(_message: Outgoing) -> None:
        await asyncio.sleep(0.2)
        order.append("mail")

    async def note(_message: Outgoing) -> None:
        order.append("text")

    once(worker(store, Way(before=hang), Way("text", before=note)))
    assert order == ["text", "mail"]


def test_a_database_that_fails_stops_the_sending(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    put(store, *(message(n) for n in range(5)))

    def full(_connection: Connection, _message: Any, _now: int) -> None:
        raise DiskFullError("The disk is full.")

    monkeypatch.setattr(outbox, "sent", full)
    way = Way()
    with pytest.raises(DiskFullError):
        once(worker(store, way))
    assert (len(way.tried), way.rests) == (1, 1)
    monkeypatch.undo()
    assert once(worker(store, way, by="two"), NOW + HOUR).sent == 5


def test_a_server_that_is_there_and_takes_nothing_over_is_told_to_the_owner_after_an_hour_and_once(
    store: Store,
) -> None:
    put(store, message(1))
    ear, way = Ear(), Way(answers=[Again("500 internal error")])
    delivery = worker(store, way, ear=ear)
    now = NOW
    while now < NOW + 4 * TELL_AFTER:
        once(delivery, now)
        now += MINUTE
    assert [trouble.what for trouble in ear.heard] == ["failing"]
    assert ear.heard[0].at < NOW + SECOND
    assert sign(store, "failing:mail") is not None
    # It takes one over: what comes after that is another matter.
    way.answers = [Sent()]
    once(delivery, now + 5 * HOUR)
    assert sign(store, "failing:mail") is None


def test_one_address_that_is_put_off_while_others_are_served_is_no_matter_for_the_owner(store: Store) -> None:
    put(store, message(1), *(message(n, ready_at=NOW + n * 10 * MINUTE) for n in range(2, 30)))
    ear = Ear()
    way = Way(answers=[Sent()], by_id={"<m001@log.ferries.example>": Again("450 come again later")})
    delivery, now = worker(store, way, ear=ear), NOW
    while now < NOW + 4 * TELL_AFTER:
        once(delivery, now)
        now += MINUTE
    assert ear.heard == []
