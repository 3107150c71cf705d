"""Opening a database: an SQLite file for one machine of ours, PostgreSQL for many processes.

Promises the same rules on every connection: SQLite answers only after the disk has the commit, checks foreign
keys, fires the delete trigger for REPLACE too, and overwrites what is deleted. Never creates tables, and never
opens a database that lives in memory only: a logbook outlives its process.
"""

from __future__ import annotations

import sqlite3
from typing import Any

from sqlalchemy import create_engine, event
from sqlalchemy.engine import URL, Engine, make_url
from sqlalchemy.exc import ArgumentError

from logbook.store.errors import StoreError

BUSY_MS = 10_000
"""How long to wait for another process that is writing, ms."""

# Every connection gets these (sqlite.org/pragma.html). FULL: a commit survives a power cut, also in WAL.
# recursive_triggers: without it INSERT OR REPLACE deletes a row behind the delete trigger's back (measured).
# secure_delete: what a person had erased is overwritten with zeros, not merely unlinked.
_PRAGMAS = (
    f"PRAGMA busy_timeout = {BUSY_MS}",
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = FULL",
    "PRAGMA foreign_keys = ON",
    "PRAGMA recursive_triggers = ON",
    "PRAGMA secure_delete = ON",
    "PRAGMA temp_store = MEMORY",
    # Pages in the write-ahead log before they are folded into the file: 16 MB, a pause for every thousand posts.
    "PRAGMA wal_autocheckpoint = 4000",
    "PRAGMA cache_size = -16000",
)


def parse(url: str) -> URL:
    """The database's URL, `sqlite:///path` or `postgresql://...`, with the driver that is used for it.

    Raises StoreError for another kind of database and for SQLite in memory.
    """
    try:
        made = make_url(url)
    except ArgumentError:
        raise StoreError(  # without repeating it: it may hold a password
            "That is no database address. It looks like sqlite:///logbook.sqlite or postgresql://user@host/name."
        ) from None
    kind = made.get_backend_name()
    if kind == "sqlite":
        if made.database in {None, "", ":memory:"} or made.query.get("mode") == "memory":
            raise StoreError("A logbook needs a file to live in, such as sqlite:///logbook.sqlite; memory forgets.")
        return made.set(drivername="sqlite+pysqlite")
    if kind == "postgresql":
        return made.set(drivername="postgresql+psycopg")
    raise StoreError(f"A logbook is kept in SQLite or PostgreSQL; {kind} is neither. Nothing was opened.")


def writing(url: URL) -> Engine:
    """The engine by which a logbook is written.

    SQLite: one connection, whose transactions are begun and ended by hand (logbook.store.writer): left to
    itself the driver would begin a deferred one, which fails "database is locked" where IMMEDIATE waits.
    PostgreSQL: a pool, READ COMMITTED; a log's head is locked by the job (logbook.store.log.head).
    """
    if url.get_backend_name() == "sqlite":
        engine = create_engine(
            url,
            isolation_level="AUTOCOMMIT",
            pool_size=1,
            max_overflow=0,
            connect_args={"check_same_thread": False, "cached_statements": 512},
        )
        event.listen(engine, "connect", prepare)
        return engine
    try:
        return create_engine(url, pool_size=8, max_overflow=24, pool_pre_ping=True)
    except ModuleNotFoundError:
        raise StoreError("PostgreSQL needs one package more: pip install 'machine-logbook[postgres]'") from None


def reading(url: URL, writing_engine: Engine) -> Engine:
    """The engine by which a logbook is read: every transaction is one unchanging view, and can write nothing."""
    if url.get_backend_name() == "sqlite":
        engine = create_engine(
            url,
            pool_size=8,
            max_overflow=56,
            connect_args={"check_same_thread": False, "cached_statements": 512},
        )
        event.listen(engine, "connect", prepare)
        event.listen(engine, "connect", _read_only)
        event.listen(engine, "begin", _begin)
        return engine
    return writing_engine.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)


def prepare(connection: sqlite3.Connection, _: Any) -> None:
    """Give a new SQLite connection the rules that all of ours have."""
    # No transaction of the driver's own making: where one begins is said in so many words.
    connection.isolation_level = None
    for pragma in _PRAGMAS:
        connection.execute(pragma)


def _read_only(connection: sqlite3.Connection, _: Any) -> None:
    connection.execute("PRAGMA query_only = ON")


def _begin(connection: Any) -> None:
    connection.exec_driver_sql("BEGIN")
