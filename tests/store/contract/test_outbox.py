"""The outbox, alike in both databases: leases, marks that touch one row, holds, and what comes too late."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import pytest
from sqlalchemy import Connection

from logbook.domain.instants import DAY, HOUR, MINUTE, SECOND, parse
from logbook.store import Store, outbox
from logbook.store import clock as signs
from logbook.store.outbox import Message, OutOfTurnError

NOW = parse("2026-03-09T09:30:00Z")


def message(number: int, **more: Any) -> Message:
    given: dict[str, Any] = {
        "id": f"m{number:03}", "message_id": f"<m{number:03}@log.ferries.example>", "person": "ann", "route": "mail",
        "address": "ann@ferries.example", "kind": "alert", "subject": "B7H", "body": "Not rinsed.\nñ",
        "queued_at": NOW, "ready_at": NOW,
    }  # fmt: skip
    return Message(**{**given, **more})


def put(store: Store, *messages: Message) -> None:
    store.write(lambda connection: [outbox.queue(connection, each) for each in messages])


def claim(store: Store, now: int = NOW, by: str = "one", limit: int = 10, until: int | None = None) -> list[Message]:
    end = now + MINUTE if until is None else until
    return store.write(lambda connection: outbox.claim(connection, now, by, limit, ["mail"], until=end))


def state(store: Store, id: str) -> Message:
    with store.read() as connection:
        found = outbox.find(connection, id)
    assert found is not None
    return found


def mark(store: Store, message: Message) -> None:
    store.write(lambda connection: outbox.sent(connection, message, NOW + SECOND))


def test_a_message_is_queued_once_under_its_id(store: Store) -> None:
    first = message(1, not_after=NOW + HOUR, follows="m000")
    assert store.write(lambda connection: outbox.queue(connection, first))
    assert not store.write(lambda connection: outbox.queue(connection, replace(first, body="other")))
    assert state(store, "m001") == replace(first, next_at=NOW)


def test_a_message_id_is_settled_at_queueing(store: Store) -> None:
    assert outbox.message_id("u", "log.ferries.example/fleet") == "<u@log.ferries.example>"
    assert outbox.message_id("u", "https://log.ferries.example") == "<u@log.ferries.example>"
    for odd in ("", "a b", "x\r\nBcc: eve", "é.example", "a..b", "-a"):
        assert outbox.message_id("u", odd) == "<u@logbook.invalid>"
    put(store, message(1, message_id="<m001@a b\r\nBcc: eve>"))
    assert state(store, "m001").message_id == "<m001@logbook.invalid>"


def test_what_is_due_is_claimed_the_longest_due_first(store: Store) -> None:
    put(
        store, message(1, ready_at=NOW), message(2, ready_at=NOW - HOUR), message(3, ready_at=NOW + 1),
        message(4, route="text"), message(5, state="sent"), message(6, state="failed"),
    )  # fmt: skip
    taken = claim(store)
    assert [each.id for each in taken] == ["m002", "m001"]
    assert taken[0] == state(store, "m002")
    assert (taken[0].lease_by, taken[0].lease_until) == ("one", NOW + MINUTE)
    assert claim(store, by="two") == []
    assert store.write(lambda connection: outbox.claim(connection, NOW, "one", 9, [], until=NOW + 1)) == []


def test_no_more_are_claimed_than_asked_for(store: Store) -> None:
    put(store, *(message(n) for n in range(5)))
    assert [each.id for each in claim(store, limit=2)] == ["m000", "m001"]
    assert [each.id for each in claim(store, limit=2, by="two")] == ["m002", "m003"]


def test_a_lease_that_has_ended_is_claimed_again(store: Store) -> None:
    put(store, message(1))
    (first,) = claim(store)
    assert claim(store, now=NOW + MINUTE - 1, by="two") == []
    (second,) = claim(store, now=NOW + MINUTE, by="two")
    assert second.lease_by == "two"
    # The first worker wakes up: what it has not sent is not its to change any more.
    for job in (
        lambda c: outbox.again(c, first, NOW, "later"),
        lambda c: outbox.failed(c, first, "no"),
        lambda c: outbox.let_go(c, first, NOW),
        lambda c: outbox.late(c, first),
    ):
        with pytest.raises(OutOfTurnError):
            store.write(job)
    assert state(store, "m001") == second


def test_what_was_sent_is_marked_even_after_the_lease_and_once_only(store: Store) -> None:
    put(store, message(1))
    (first,) = claim(store)
    (second,) = claim(store, now=NOW + MINUTE, by="two")
    store.write(lambda c: outbox.sent(c, first, NOW + MINUTE + 1))
    marked = state(store, "m001")
    assert (marked.state, marked.sent_at, marked.attempts, marked.lease_by) == ("sent", NOW + MINUTE + 1, 1, None)
    for job in (
        lambda c: outbox.sent(c, second, NOW + 2 * MINUTE),
        lambda c: outbox.again(c, second, NOW, "later"),
        lambda c: outbox.failed(c, second, "no"),
    ):
        with pytest.raises(OutOfTurnError, match="taken over"):
            store.write(job)
    assert state(store, "m001") == marked


def test_what_could_not_be_sent_waits_with_its_reason(store: Store) -> None:
    put(store, message(1))
    (taken,) = claim(store)
    store.write(lambda c: outbox.again(c, taken, NOW + HOUR, "450 later " + "x" * 900))
    kept = state(store, "m001")
    assert (kept.state, kept.next_at, kept.attempts, kept.lease_until) == ("waiting", NOW + HOUR, 1, None)
    assert kept.error is not None
    assert kept.error.startswith("450 later")
    assert len(kept.error) == outbox.ERROR_LENGTH
    assert kept.message_id == taken.message_id
    assert claim(store, now=NOW + HOUR - 1) == []
    (taken,) = claim(store, now=NOW + HOUR)
    store.write(lambda c: outbox.let_go(c, taken, NOW + HOUR + 1))
    assert state(store, "m001").attempts == 1
    (taken,) = claim(store, now=NOW + HOUR + 1)
    store.write(lambda c: outbox.failed(c, taken, "550 no"))
    assert (state(store, "m001").state, state(store, "m001").error) == ("failed", "550 no")
    assert claim(store, now=NOW + DAY) == []


def test_what_comes_too_late_is_given_up_and_says_why(store: Store) -> None:
    put(store, message(1, not_after=NOW), message(2, not_after=NOW - 1), message(3, not_after=NOW - 1, state="sent"))
    assert store.write(lambda c: outbox.expire(c, NOW)) == 1
    assert state(store, "m002").state == "expired"
    assert "too late" in (state(store, "m002").error or "")
    assert state(store, "m003").state == "sent"
    # At its last instant it may still go; a moment later it is neither claimed nor, while somebody has it, expired.
    (taken,) = claim(store)
    assert taken.id == "m001"
    assert store.write(lambda c: outbox.expire(c, NOW + 1)) == 0
    store.write(lambda c: outbox.late(c, taken))
    assert state(store, "m001").state == "expired"
    put(store, message(4, not_after=NOW - 1))
    assert claim(store) == []


def test_a_held_route_is_told_once_and_says_why(store: Store) -> None:
    with store.read() as connection:
        assert outbox.held(connection) == {}
    assert store.write(lambda c: outbox.hold(c, "mail", "bad login", NOW))
    assert not store.write(lambda c: outbox.hold(c, "mail", "bad certificate", NOW + HOUR))
    with store.read() as connection:
        assert outbox.held(connection) == {"mail": "bad certificate"}
        assert signs.of(connection, "hold:mail") == signs.Sign(NOW, "bad certificate")
    assert store.write(lambda c: outbox.release(c, "mail"))
    assert not store.write(lambda c: outbox.release(c, "mail"))
    with store.read() as connection:
        assert outbox.held(connection) == {}
        assert signs.every(connection) == {}


def test_a_held_route_is_tried_by_one_worker_every_so_often(store: Store) -> None:
    store.write(lambda c: outbox.hold(c, "mail", "bad login", NOW))

    def due(at: int) -> bool:
        return store.write(lambda c: outbox.trial_due(c, "mail", at, 5 * MINUTE))

    assert [n for n in range(12) if due(NOW + n * MINUTE)] == [5, 10]


def test_leases_of_a_former_life_end_on_demand(store: Store) -> None:
    put(store, message(1), message(2))
    claim(store, by="here", limit=1)
    claim(store, by="there")
    assert store.write(lambda c: outbox.free(c, "here")) == 1
    assert [each.id for each in claim(store, by="here")] == ["m001"]


def test_when_the_next_one_is_due(store: Store) -> None:
    def soonest(*routes: str) -> int | None:
        with store.read() as connection:
            return outbox.next_at(connection, routes)

    assert soonest("mail") is None
    put(store, message(1), message(2, ready_at=NOW + HOUR), message(3, route="text", ready_at=NOW - HOUR))
    assert (soonest("mail"), soonest("text", "mail"), soonest()) == (NOW, NOW - HOUR, None)
    claim(store, until=NOW + 2 * HOUR)
    assert soonest("mail") == NOW + HOUR
    claim(store, now=NOW + HOUR, until=NOW + 3 * HOUR)
    assert soonest("mail") == NOW + 2 * HOUR


def test_a_route_that_works_again_is_not_kept_waiting(store: Store) -> None:
    put(
        store,
        message(1, next_at=NOW + HOUR),
        message(2, next_at=NOW + HOUR, route="text"),
        message(3, ready_at=NOW + DAY),
    )
    assert store.write(lambda c: outbox.hurry(c, "mail", NOW)) == 1
    assert [each.id for each in claim(store)] == ["m001"]


def test_counts_for_whoever_looks(store: Store) -> None:
    put(store, message(1, queued_at=NOW - 5), message(2), message(3, state="sent", queued_at=NOW - 9))
    with store.read() as connection:
        assert outbox.counts(connection) == {("mail", "waiting"): 2, ("mail", "sent"): 1}
        assert outbox.oldest(connection) == NOW - 5
        assert [each.id for each in outbox.latest(connection, 2)] == ["m002", "m001"]


def test_workers_side_by_side_never_share_a_message(store: Store) -> None:
    put(store, *(message(n) for n in range(120)))
    taken: dict[str, list[str]] = {str(n): [] for n in range(4)}
    begin = threading.Barrier(4)

    def work(by: str) -> None:
        begin.wait()
        while True:
            some = claim(store, by=by, limit=7)
            if not some:
                return
            for each in some:
                mark(store, each)
                taken[by].append(each.id)

    workers = [threading.Thread(target=work, args=(by,)) for by in taken]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(30)
    everything = [id for ids in taken.values() for id in ids]
    # SKIP LOCKED may leave a worker empty-handed while others hold rows; what counts is that none was had twice.
    assert len(everything) == len(set(everything))
    while left := claim(store, by="last"):
        for each in left:
            mark(store, each)
            everything.append(each.id)
    assert sorted(everything) == [f"m{n:03}" for n in range(120)]


def test_a_worker_passes_over_what_another_is_claiming(store: Store) -> None:
    if store.is_sqlite:
        return  # one writer at a time: there nobody else is claiming
    put(store, *(message(n) for n in range(4)))
    with ThreadPoolExecutor(1) as pool:

        def job(connection: Connection) -> list[str]:
            mine = outbox.claim(connection, NOW, "one", 2, ["mail"], until=NOW + MINUTE)
            # Not committed yet, and so not to be waited for either.
            other = pool.submit(claim, store, by="two").result(timeout=10)
            assert [each.id for each in other] == ["m002", "m003"]
            return [each.id for each in mine]

        assert store.write(job) == ["m000", "m001"]
