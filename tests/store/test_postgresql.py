"""What only PostgreSQL has: roles, triggers that can sleep, jobs run again, rows passed over while held."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import psycopg
import pytest
from sqlalchemy import Connection, create_engine, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError

from logbook.store import Store, UnreachableError, clock, dues, log, migrate
from tests.store.entries import begun, chain


@pytest.fixture(scope="module")
def url(postgres_database: Callable[[], str]) -> str:
    made = postgres_database()
    migrate.upgrade(made)
    return made


@pytest.fixture
def store(url: str) -> Iterator[Store]:
    with Store(url) as opened:
        yield opened


def test_the_writing_role_can_add_to_the_log_and_nothing_else(store: Store, url: str) -> None:
    machine, rows = begun(store, 1)
    engine = create_engine(url)
    with engine.begin() as connection:
        connection.execute(text("CREATE ROLE night_writer LOGIN"))
    engine.dispose()
    migrate.upgrade(url, writer="night_writer")
    migrate.upgrade(url, writer="night_writer")  # as often as one likes
    theirs = make_url(url).set(username="night_writer")
    with Store(theirs.render_as_string(hide_password=False)) as writer:
        writer.write(lambda connection: log.append(connection, machine, chain(machine, 1, 2, rows[-1].hash)))
        writer.write(lambda connection: clock.put(connection, "step", 1))
        writer.write(lambda connection: clock.drop(connection, "step"))
    with psycopg.connect(theirs.set(drivername="postgresql").render_as_string()) as bare:
        for deed in (
            "UPDATE entry SET kind = 'x'",
            "DELETE FROM entry",
            "TRUNCATE entry",
            "DELETE FROM entry_id",
            "TRUNCATE entry_id",
            "ALTER TABLE entry DISABLE TRIGGER ALL",
            "DROP TRIGGER entry_no_change ON entry",
            "SET session_replication_role = replica",
            "UPDATE alembic_version SET version_num = '1'",
            "SELECT logbook_grant_writer('night_writer')",
        ):
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                bare.execute(deed)
            bare.rollback()


def test_the_triggers_do_not_sleep_in_a_session_that_plays_replica(store: Store) -> None:
    begun(store, 2)

    def job(connection: Connection) -> None:
        connection.execute(text("SET LOCAL session_replication_role = replica"))
        connection.execute(text("DELETE FROM entry"))

    with pytest.raises(DBAPIError, match="append-only"):
        store.write(job)


def test_a_job_that_met_a_deadlock_is_run_again(store: Store) -> None:
    first, second = begun(store)[0], begun(store)[0]
    both = threading.Barrier(2)
    runs: list[str] = []

    def job(connection: Connection, one: str, other: str) -> str:
        runs.append(one)
        log.head(connection, one, lock=True)
        if len(runs) <= 2:
            both.wait(10)
        log.head(connection, other, lock=True)
        return one

    thread = threading.Thread(target=lambda: store.write(lambda connection: job(connection, first, second)))
    thread.start()
    assert store.write(lambda connection: job(connection, second, first)) == second
    thread.join(20)
    assert len(runs) == 3


def test_a_job_that_fails_for_its_own_fault_is_not_run_for_ever(store: Store) -> None:
    runs = 0

    def job(connection: Connection) -> None:
        nonlocal runs
        runs += 1
        connection.execute(text("INSERT INTO clock VALUES ('twice', 1, NULL), ('twice', 2, NULL)"))

    with pytest.raises(DBAPIError, match="unique"):
        store.write(job)
    assert runs == 2


def test_a_server_that_does_not_answer_is_told_in_words(tmp_path: Path) -> None:
    nowhere = f"postgresql://postgres@/x?host={tmp_path}"
    for open_ in (Store, migrate.upgrade):
        with pytest.raises(UnreachableError, match=r"does not answer.*send it again with the same id"):
            open_(nowhere)


def test_a_connection_that_breaks_off_is_told_and_the_next_one_works(store: Store) -> None:
    def job(connection: Connection) -> None:
        me = connection.execute(text("SELECT pg_backend_pid()")).scalar_one()
        with store.read() as other:
            other.execute(text("SELECT pg_terminate_backend(:pid)"), {"pid": me})
        clock.put(connection, "step", 1)

    with pytest.raises(UnreachableError, match="does not answer"):
        store.write(job)
    store.write(lambda connection: clock.put(connection, "step", 2))
    with store.read() as connection:
        assert clock.of(connection, "step") == (2, None)
    assert store.scrub()


def test_two_clocks_do_not_look_at_the_same_machine(store: Store, url: str) -> None:
    for name in ("a", "b"):
        store.write(lambda connection, name=name: dues.put(connection, name, 1))  # type: ignore[misc]

    def first(connection: Connection) -> list[tuple[str, int]]:
        mine = dues.reached(connection, 1, most=1, lock=True)
        with Store(url) as other:
            theirs = other.write(lambda connection: dues.reached(connection, 1, lock=True))
        return [*mine, *theirs]

    assert store.write(first) == [("a", 1), ("b", 1)]
