"""Writing: answered after COMMIT, wholly or not at all, one failing job harms no other, and nobody waits for ever."""

from __future__ import annotations

import threading
import uuid
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import pytest
from sqlalchemy import Connection, text

from logbook.store import Store, StoreError, clock, dues, log
from tests.store.entries import append, begun, chain


def test_what_write_has_answered_another_connection_sees(store: Store, url: str) -> None:
    with Store(url) as other:
        for number in range(20):
            store.write(lambda connection, at=number: clock.put(connection, "step", at))  # type: ignore[misc]
            with other.read() as connection:
                assert clock.of(connection, "step") == (number, None)


def test_a_job_answers_with_its_result(store: Store) -> None:
    assert store.write(lambda _: {"a": 1}) == {"a": 1}
    assert store.write(lambda _: None) is None


def test_a_job_that_fails_leaves_nothing_and_its_error_comes_up(store: Store) -> None:
    class OwnError(Exception):
        pass

    def job(connection: Connection) -> None:
        clock.put(connection, "step", 1)
        raise OwnError("mine")

    with pytest.raises(OwnError, match="mine"):
        store.write(job)
    with store.read() as connection:
        assert clock.of(connection, "step") is None


def test_many_at_once_are_all_kept_and_none_twice(store: Store) -> None:
    machines = [begun(store)[0] for _ in range(8)]

    def nights(machine: str) -> None:
        prev = log.NO_FORERUNNER
        for seq in range(1, 26):
            rows = chain(machine, 1, seq, prev)
            prev = rows[-1].hash
            append(store, machine, rows)
            with store.read() as connection:
                found = log.find(connection, rows[0].id)
            assert found is not None, "answered before it was there"
            assert found.seq == seq

    with ThreadPoolExecutor(len(machines)) as pool:
        list(pool.map(nights, machines))
    with store.read() as connection:
        for machine in machines:
            assert [row.seq for row in log.by_seq(connection, machine)] == list(range(1, 26))


def test_a_failing_job_does_not_harm_those_beside_it(store: Store) -> None:
    ready = threading.Barrier(16)

    def post(number: int) -> str:
        def job(connection: Connection) -> str:
            dues.put(connection, f"m{number}", number)
            if number % 4 == 0:
                raise ValueError(f"number {number}")
            if number % 4 == 1:
                connection.execute(text("INSERT INTO nowhere VALUES (1)"))
            return f"kept {number}"

        ready.wait()
        try:
            return store.write(job)
        except Exception as why:  # noqa: BLE001 - each caller must get its own
            return "failed " + str(number) if str(number) in str(why) or "nowhere" in str(why) else f"wrong: {why}"

    with ThreadPoolExecutor(16) as pool:
        answers = list(pool.map(post, range(16)))
    kept = [number for number in range(16) if number % 4 > 1]
    assert answers == [f"kept {number}" if number in kept else f"failed {number}" for number in range(16)]
    with store.read() as connection:
        assert dues.reached(connection, 99) == [(f"m{number}", number) for number in kept]


def test_racing_for_the_same_seq_one_comes_after_the_other(store: Store) -> None:
    """Each job looks for the log's end and appends behind it, as the door does."""
    machine, _ = begun(store)

    def job(connection: Connection) -> None:
        head = log.head(connection, machine, lock=True)
        assert head is not None
        log.append(connection, machine, chain(machine, 1, head.seq + 1, head.head))

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda _: store.write(job), range(64)))
    with store.read() as connection:
        assert [row.seq for row in log.by_seq(connection, machine)] == list(range(1, 65))


def test_the_same_id_from_two_sides_at_once_is_kept_once_and_found_by_the_other(store: Store) -> None:
    machines = [begun(store)[0] for _ in range(4)]
    id = str(uuid.uuid4())
    ready = threading.Barrier(4)

    def job(connection: Connection, machine: str) -> str:
        found = log.find(connection, id)
        if found is not None:
            return found.machine
        log.append(connection, machine, chain(machine, 1, id=id))
        return machine

    def post(machine: str) -> str:
        ready.wait()
        return store.write(lambda connection: job(connection, machine))

    with ThreadPoolExecutor(4) as pool:
        assert len(set(pool.map(post, machines))) == 1


def test_a_view_does_not_change_while_one_looks(store: Store) -> None:
    store.write(lambda connection: clock.put(connection, "step", 1))
    with store.read() as connection:
        assert clock.of(connection, "step") == (1, None)
        store.write(lambda other: clock.put(other, "step", 2))
        assert clock.of(connection, "step") == (1, None)
    with store.read() as connection:
        assert clock.of(connection, "step") == (2, None)


def test_nothing_is_written_while_reading(store: Store) -> None:
    with pytest.raises(StoreError, match="Nothing of this was saved"), store.read() as connection:
        clock.put(connection, "step", 1)
    with store.read() as connection:
        assert clock.of(connection, "step") is None


def test_a_job_that_would_wait_for_itself_is_told_so(store: Store) -> None:
    with pytest.raises(RuntimeError, match="must not call"):
        store.write(lambda _: store.write(lambda _: None))
    store.write(lambda connection: clock.put(connection, "step", 1))  # and the store goes on


def test_two_programs_share_a_database(store: Store, url: str) -> None:
    machine, _ = begun(store)

    def job(connection: Connection) -> None:
        head = log.head(connection, machine, lock=True)
        assert head is not None
        log.append(connection, machine, chain(machine, 1, head.seq + 1, head.head))

    with Store(url) as other, ThreadPoolExecutor(4) as pool:
        writes: list[Callable[[Callable[[Connection], None]], None]] = [store.write, other.write] * 20
        list(pool.map(lambda write: write(job), writes))
    with store.read() as connection:
        head = log.head(connection, machine)
        assert head is not None
        assert head.seq == 40


def test_a_closed_store_says_so(url: str) -> None:
    store = Store(url)
    store.close()
    store.close()
    if store.is_sqlite:
        with pytest.raises(StoreError, match="closed"):
            store.write(lambda _: None)
