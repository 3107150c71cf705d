"""What only SQLite can get wrong: a full disk, a held lock, forgotten pragmas, groups in one commit."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection

from logbook.store import (
    BusyError,
    DamagedError,
    DiskFullError,
    OlderDatabaseError,
    ReadOnlyError,
    Store,
    StoreError,
    UnreachableError,
    cache,
    clock,
    dues,
    engine,
    log,
    migrate,
)
from tests.store.entries import append, begun, chain


@pytest.fixture
def path(tmp_path: Path) -> Path:
    made = tmp_path / "log.sqlite"
    migrate.upgrade(f"sqlite:///{made}")
    return made


@pytest.fixture
def store(path: Path) -> Iterator[Store]:
    with Store(f"sqlite:///{path}") as opened:
        yield opened


def _raw(connection: Connection) -> Any:
    return connection.connection.dbapi_connection


def _raw_of(store: Store) -> Any:
    return _raw(store._writer._connection)  # type: ignore[attr-defined]


def _hold(store: Store) -> tuple[threading.Event, threading.Thread]:
    """Keep the writer busy until the event is set, so that what is posted meanwhile makes a group."""
    inside, go = threading.Event(), threading.Event()

    def job(_: Connection) -> None:
        inside.set()
        go.wait(10)

    thread = threading.Thread(target=lambda: store.write(job))
    thread.start()
    assert inside.wait(10)
    return go, thread


def test_what_waits_together_is_committed_together_and_answered_after(store: Store) -> None:
    commits: list[str] = []
    store.write(lambda connection: _raw(connection).set_trace_callback(commits.append))
    go, thread = _hold(store)
    commits.clear()
    with ThreadPoolExecutor(10) as pool:
        posts = [
            pool.submit(store.write, lambda connection, at=number: dues.put(connection, f"m{at}", at))
            for number in range(10)
        ]
        while len(store._writer._waiting) < 10:  # type: ignore[attr-defined]
            assert not any(post.done() for post in posts)
        go.set()
        for post in posts:
            post.result(10)
    thread.join()
    assert commits.count("BEGIN IMMEDIATE") == 1
    assert commits.count("COMMIT") == 2  # the one that was held, and one for all ten
    assert commits.count("SAVEPOINT job") == 10


def test_a_job_that_fails_in_a_group_is_taken_back_alone(store: Store) -> None:
    go, thread = _hold(store)

    def failing(connection: Connection) -> None:
        dues.put(connection, "bad", 1)
        raise ValueError("mine")

    with ThreadPoolExecutor(3) as pool:
        before = pool.submit(store.write, lambda connection: dues.put(connection, "before", 1))
        bad = pool.submit(store.write, failing)
        after = pool.submit(store.write, lambda connection: dues.put(connection, "after", 1))
        while len(store._writer._waiting) < 3:  # type: ignore[attr-defined]
            pass
        go.set()
        before.result(10)
        after.result(10)
        with pytest.raises(ValueError, match="mine"):
            bad.result(10)
    thread.join()
    with store.read() as connection:
        assert dues.reached(connection, 1) == [("after", 1), ("before", 1)]


def test_a_full_disk_is_told_to_everyone_and_nothing_is_half_saved(store: Store) -> None:
    machine, rows = begun(store, 1)

    def no_more_room(connection: Connection) -> None:
        pages = _raw(connection).execute("PRAGMA page_count").fetchone()[0]
        _raw(connection).execute(f"PRAGMA max_page_count = {pages + 4}")

    store.write(no_more_room)
    go, thread = _hold(store)

    def large(connection: Connection) -> None:
        log.append(connection, machine, chain(machine, 1, 2, rows[-1].hash))
        cache.keep_snapshot(connection, machine, (1, 1), 1, bytes(100_000))

    with ThreadPoolExecutor(2) as pool:
        small = pool.submit(store.write, lambda connection: clock.put(connection, "step", 1))
        while len(store._writer._waiting) < 1:  # type: ignore[attr-defined]
            pass
        full = pool.submit(store.write, large)
        while len(store._writer._waiting) < 2:  # type: ignore[attr-defined]
            pass
        go.set()
        for post in (small, full):
            with pytest.raises(DiskFullError, match=r"disk is full\. Nothing of this was saved.*Free some space"):
                post.result(10)
    thread.join()
    with store.read() as connection:
        assert clock.of(connection, "step") is None
        assert log.head(connection, machine) == (1, rows[0].hash, rows[0].recorded_at)
        assert [row.seq for row in log.by_seq(connection, machine)] == [1]
        assert cache.latest_snapshot(connection, machine) is None
    store.write(lambda connection: _raw(connection).execute("PRAGMA max_page_count = 100000"))
    append(store, machine, chain(machine, 1, 2, rows[-1].hash))  # once there is room it goes on


def test_each_caller_of_a_failed_group_gets_an_exception_of_its_own(store: Store) -> None:
    go, thread = _hold(store)

    def ending(connection: Connection) -> None:
        _raw(connection).execute("COMMIT")

    with ThreadPoolExecutor(3) as pool:
        posts = [pool.submit(store.write, ending)]
        posts += [pool.submit(store.write, lambda connection: clock.put(connection, "step", 1)) for _ in range(2)]
        while len(store._writer._waiting) < 3:  # type: ignore[attr-defined]
            pass
        go.set()
        errors = [post.exception(10) for post in posts]
    thread.join()
    assert [type(error) for error in errors].count(RuntimeError) == 1
    told = [error for error in errors if isinstance(error, StoreError)]
    assert len(told) == 2
    assert told[0] is not told[1]
    assert "Nothing of this was saved" in str(told[0])
    store.write(lambda connection: clock.put(connection, "step", 1))


def test_whoever_writes_for_all_and_is_interrupted_leaves_nobody_waiting(store: Store) -> None:
    inside, go = threading.Event(), threading.Event()
    errors: list[BaseException] = []

    def pressed(connection: Connection) -> None:
        dues.put(connection, "half", 1)
        raise KeyboardInterrupt

    def leader() -> None:
        try:
            store.write(pressed)
        except BaseException as why:  # noqa: BLE001 - that is what is asked here
            errors.append(why)

    def holding(_: Connection) -> None:
        inside.set()
        go.wait(10)

    holder = threading.Thread(target=lambda: store.write(holding))
    holder.start()
    assert inside.wait(10)
    first = threading.Thread(target=leader)
    first.start()
    while len(store._writer._waiting) < 1:  # type: ignore[attr-defined]
        pass
    with ThreadPoolExecutor(1) as pool:
        post = pool.submit(store.write, lambda connection: dues.put(connection, "beside", 1))
        while len(store._writer._waiting) < 2:  # type: ignore[attr-defined]
            pass
        go.set()
        with pytest.raises(StoreError, match="Nothing of this was saved"):
            post.result(10)
    first.join(10)
    holder.join(10)
    assert [type(error) for error in errors] == [KeyboardInterrupt]
    store.write(lambda connection: dues.put(connection, "after", 1))
    with store.read() as connection:
        assert dues.reached(connection, 1) == [("after", 1)]


def test_closing_waits_for_what_is_being_written(store: Store, path: Path) -> None:
    go, thread = _hold(store)
    with ThreadPoolExecutor(2) as pool:
        post = pool.submit(store.write, lambda connection: dues.put(connection, "last", 1))
        while len(store._writer._waiting) < 1:  # type: ignore[attr-defined]
            pass
        closing = pool.submit(store.close)
        assert not closing.done()
        go.set()
        post.result(10)
        closing.result(10)
    thread.join()
    other = sqlite3.connect(path)
    assert other.execute("SELECT machine FROM due").fetchall() == [("last",)]
    other.close()


def test_a_database_held_by_another_program_is_told_after_waiting(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engine, "_PRAGMAS", ("PRAGMA busy_timeout = 50", *engine._PRAGMAS[1:]))
    other = sqlite3.connect(path, isolation_level=None)
    with Store(f"sqlite:///{path}") as store:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(BusyError, match=r"another program\. Nothing of this was saved; try again"):
            store.write(lambda connection: clock.put(connection, "step", 1))
        other.execute("ROLLBACK")
        store.write(lambda connection: clock.put(connection, "step", 1))
    other.close()


def test_every_connection_has_the_same_rules(store: Store) -> None:
    def rules(connection: Connection) -> list[Any]:
        names = ("journal_mode", "synchronous", "foreign_keys", "recursive_triggers", "secure_delete", "busy_timeout")
        return [_raw(connection).execute(f"PRAGMA {name}").fetchone()[0] for name in names]

    expected = ["wal", 2, 1, 1, 1, engine.BUSY_MS]
    assert store.write(rules) == expected
    with store.read() as one, store.read() as two:
        assert rules(one) == rules(two) == expected


def test_replacing_is_refused_even_to_a_program_that_knows_none_of_our_rules(store: Store, path: Path) -> None:
    begun(store, 2)
    other = sqlite3.connect(path)  # recursive_triggers is off here
    for table in ("entry", "entry_id"):
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            other.execute(f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}")
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            other.execute(f"REPLACE INTO {table} SELECT * FROM {table}")
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            other.execute(f"UPDATE OR IGNORE {table} SET seq = 9")
    other.close()


def test_what_is_erased_is_not_left_in_the_file(store: Store, path: Path) -> None:
    secret = b"an-unmistakable-remark"
    store.write(lambda connection: cache.keep_snapshot(connection, "m", (1, 1), 1, secret))
    store.write(lambda connection: cache.forget(connection, "m"))
    store.close()  # the write-ahead log is folded into the file
    assert secret not in path.read_bytes()
    assert not path.with_name(path.name + "-wal").exists()


def test_what_is_erased_can_be_scrubbed_from_the_write_ahead_log_while_all_goes_on(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engine, "_PRAGMAS", ("PRAGMA busy_timeout = 50", *engine._PRAGMAS[1:]))
    secret = b"an-unmistakable-remark"
    ahead = path.with_name(path.name + "-wal")
    with Store(f"sqlite:///{path}") as store:
        store.write(lambda connection: cache.keep_snapshot(connection, "m", (1, 1), 1, secret))
        store.write(lambda connection: cache.forget(connection, "m"))
        assert secret in ahead.read_bytes()
        assert store.scrub()
        assert secret not in ahead.read_bytes() + path.read_bytes()
        with store.read() as connection:
            assert cache.latest_snapshot(connection, "m") is None
            store.write(lambda connection: clock.put(connection, "step", 1))
            assert not store.scrub()  # somebody still looks at the moment before
        assert store.scrub()


@pytest.mark.parametrize("url", ["sqlite://", "sqlite:///:memory:", "sqlite:///file:x?mode=memory&uri=true"])
def test_a_logbook_in_memory_is_refused(url: str) -> None:
    with pytest.raises(StoreError, match="memory forgets"):
        Store(url)


def test_an_address_that_is_none_is_refused_without_repeating_it() -> None:
    with pytest.raises(StoreError, match="no database address") as told:
        Store("secret@nowhere")
    assert "secret" not in str(told.value)


def test_another_kind_of_database_is_refused() -> None:
    with pytest.raises(StoreError, match="Nothing was opened"):
        Store("mysql://x/y")


def test_a_file_that_is_no_database_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "photo.jpg"
    path.write_bytes(b"not a database" * 1000)
    before = path.read_bytes()
    for open_ in (Store, migrate.upgrade):
        with pytest.raises(DamagedError, match="not a database"):
            open_(f"sqlite:///{path}")
    assert path.read_bytes() == before


def test_a_file_in_a_folder_that_is_not_there_cannot_be_opened(tmp_path: Path) -> None:
    with pytest.raises(UnreachableError, match=r"cannot be opened\. Nothing was changed\. See that its folder"):
        Store(f"sqlite:///{tmp_path / 'nowhere' / 'log.sqlite'}")


def test_a_database_that_may_only_be_read_says_so(path: Path) -> None:
    with Store(f"sqlite:///{path}") as store:
        _raw_of(store).execute("PRAGMA query_only = ON")
        with pytest.raises(ReadOnlyError, match="may not be written by this account"):
            store.write(lambda connection: clock.put(connection, "step", 1))


def test_a_file_that_is_not_there_has_no_logbook_in_it(tmp_path: Path) -> None:
    with pytest.raises(OlderDatabaseError, match="Run: logbook init"):
        Store(f"sqlite:///{tmp_path / 'new.sqlite'}")
