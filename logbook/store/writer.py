"""The store: one way to write, one way to read, whatever the database.

Promises that `write` answers only after COMMIT, that a job is kept wholly or not at all, that a job which fails
harms no other, and that `read` sees one moment, unchanged while it looks. Never decides what is written, and never
runs a job of its own.

SQLite has one writer at a time, and a commit waits for the disk. So one caller writes for all: what was queued
while the last commit waited is committed as one group (measured: two to three times the posts of a commit each).
PostgreSQL writes in parallel by itself; there each job is a transaction of its caller's, run again when the server
asks for it.
"""

from __future__ import annotations

import contextlib
import random
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from types import TracebackType
from typing import Any, Generic, Protocol, Self, TypeVar, cast

from sqlalchemy import Connection
from sqlalchemy.engine import Engine

from logbook.store import engine as engines
from logbook.store import migrate
from logbook.store.bell import Bell
from logbook.store.errors import RefusedError, StoreError, original, sqlstate, understood

T = TypeVar("T")

GROUP = 256
"""At most so many jobs share a commit: the first of a group waits for the last."""

_TRIES = 8
# SQLSTATE: serialization failure, deadlock; and unique violation, which a second process meets when both take the
# same seq or id at once. Run again, the job finds what the other has written; if it fails so again, it is a fault.
_AGAIN, _UNIQUE = {"40001", "40P01"}, "23505"


class _Writer(Protocol):
    def write(self, job: Callable[[Connection], T]) -> T: ...

    def close(self) -> None: ...


class Store:
    """An open database. Use it from any thread; close it, or use it as a context manager."""

    def __init__(self, url: str, *, check: bool = True) -> None:
        """Open a database that `logbook.store.migrate.upgrade` has made.

        Raises StoreError if it cannot be opened, OlderDatabaseError or NewerDatabaseError if its tables are not
        this program's (not asked with `check=False`).
        """
        self.url = engines.parse(url)
        self.is_sqlite = self.url.get_backend_name() == "sqlite"
        self.bell = Bell()
        self._writing = engines.writing(self.url)
        self._reading = engines.reading(self.url, self._writing)
        try:
            if check:
                with self.read() as connection:
                    migrate.check(connection)
            self._writer: _Writer = _GroupWriter(self._writing) if self.is_sqlite else _EachWriter(self._writing)
        except BaseException:
            self._dispose()
            raise

    def write(self, job: Callable[[Connection], T]) -> T:
        """Run a job in a transaction and answer with its result, once that is on the disk.

        The job gets a connection; it must not commit, roll back or keep it, nor call `write` again, and may be run
        more than once, so it has no effect but on the database. Whatever it raises comes up here, and then nothing
        that it did was kept. Raises StoreError if the database fails. When it has answered, the bell has rung.
        """
        result = self._writer.write(job)
        self.bell.ring()
        return result

    @contextlib.contextmanager
    def read(self) -> Iterator[Connection]:
        """A connection on which nothing can be written, and which sees one moment of the database throughout."""
        try:
            with self._reading.connect() as connection, connection.begin():
                yield connection
        except Exception as why:
            said = understood(why)
            if said is None:
                raise
            raise said from why

    def scrub(self) -> bool:
        """After an erasure: leave no copy of it in SQLite's write-ahead log either.

        Waits for those who are reading an older moment; False if they take too long: then call again later.
        PostgreSQL keeps dead rows until its own vacuum; there the answer is True at once.
        """
        if not self.is_sqlite:
            return True
        connection = self._reading.raw_connection()
        try:
            raw: Any = connection.driver_connection
            return bool(raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0] == 0)
        finally:
            connection.close()

    def close(self) -> None:
        """Finish what has been queued, then let go of the database."""
        self._writer.close()
        self._dispose()

    def _dispose(self) -> None:
        self._reading.dispose()
        self._writing.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, why: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


class _Turn(Generic[T]):
    """A job that waits for its turn, and then for its answer."""

    __slots__ = ("_called", "answered", "error", "job", "result")

    def __init__(self, job: Callable[[Connection], T]) -> None:
        self.job = job
        self.result: T | None = None
        self.error: BaseException | None = None
        self.answered = False
        # A bare lock, taken until somebody calls: a third of the cost of a Future.
        self._called = threading.Lock()
        self._called.acquire()

    def call(self) -> None:
        """Wake whoever waits: its answer is there, or it is to write for all who wait."""
        self._called.release()

    def wait(self) -> None:
        self._called.acquire()

    def answer(self) -> T:
        if self.error is not None:
            raise self.error
        return cast("T", self.result)


class _GroupWriter:
    """One connection, and one commit for all that queued while the last one waited for the disk.

    Whoever finds nobody writing writes, for itself and then for all who have queued; the next of them takes over.
    A thread kept for writing would do the same, at two changes of thread for every lone entry (measured: 20 us).
    """

    def __init__(self, engine: Engine) -> None:
        # Opened here and not by the first job: a database that cannot be opened is told to whoever opens it.
        self._connection = engine.connect()
        self._door = threading.Condition(threading.Lock())
        self._waiting: deque[_Turn[Any]] = deque()
        self._busy = False
        self._closed = False
        self._who: int | None = None

    def write(self, job: Callable[[Connection], T]) -> T:
        if self._who == threading.get_ident():
            raise RuntimeError("a job must not call Store.write: it would wait for itself")
        turn = _Turn(job)
        with self._door:
            if self._closed:
                raise StoreError("The logbook has been closed. Nothing of this was saved.")
            queued = self._busy
            if queued:
                self._waiting.append(turn)
            else:
                self._busy = True
        if queued:
            turn.wait()
            if not turn.answered:
                self._lead(self._next_group())
        else:
            self._lead([turn])
        return turn.answer()

    def close(self) -> None:
        """Wait until all who have queued are answered."""
        with self._door:
            closed, self._closed = self._closed, True
            while self._busy:
                self._door.wait()
        if not closed:
            self._connection.close()

    def _next_group(self) -> list[_Turn[Any]]:
        with self._door:
            return [self._waiting.popleft() for _ in range(min(GROUP, len(self._waiting)))]

    def _lead(self, group: list[_Turn[Any]]) -> None:
        """Write for a group, the first of which is our own, answer the others, and hand over."""
        self._who = threading.get_ident()
        try:
            self._commit(group)
        except BaseException as why:  # noqa: BLE001 - told to every caller, ourselves included
            self._abandon(group, why)
        finally:
            self._who = None
            for turn in group[1:]:
                turn.answered = True
                turn.call()
            with self._door:
                if self._waiting:
                    self._waiting[0].call()
                else:
                    self._busy = False
                    self._door.notify_all()

    def _commit(self, group: list[_Turn[Any]]) -> None:
        """Run the group in one transaction. Raises what ended the transaction as a whole; nothing is kept then."""
        raw: Any = self._connection.connection.dbapi_connection
        execute = raw.execute
        execute("BEGIN IMMEDIATE")
        alone = len(group) == 1
        kept = 0
        for turn in group:
            if not alone:
                execute("SAVEPOINT job")
            try:
                turn.result = turn.job(self._connection)
            except Exception as why:
                if not raw.in_transaction or understood(why) is not None:
                    # The disk is full or failing: SQLite may have rolled back everything by itself.
                    raise
                turn.error = why
                if not alone:
                    execute("ROLLBACK TO job")
            else:
                if not raw.in_transaction:
                    turn.error = RuntimeError("a job ended the transaction it was run in; nothing of it counts")
                    raise turn.error
                kept += 1
            if not alone:
                execute("RELEASE job")
        execute("COMMIT" if kept else "ROLLBACK")

    def _abandon(self, group: list[_Turn[Any]], why: BaseException) -> None:
        raw: Any = self._connection.connection.dbapi_connection
        with contextlib.suppress(Exception):
            if raw.in_transaction:
                raw.execute("ROLLBACK")
        said = understood(why) or StoreError(
            f"What was written together with this has failed ({why}). Nothing of this was saved; try again."
        )
        if not isinstance(why, Exception):
            group[0].error = why  # Ctrl-C is for the thread it was pressed on, which is ours
        for turn in group:
            turn.result = None
            if turn.error is None:  # a job that has failed on its own keeps its own error
                # One exception a caller: each of them adds its own traceback.
                turn.error = type(said)(*said.args)
                turn.error.__cause__ = why


class _EachWriter:
    """PostgreSQL: each job in a transaction of its own, in its caller's thread."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._inside = threading.local()

    def write(self, job: Callable[[Connection], T]) -> T:
        if getattr(self._inside, "job", False):
            raise RuntimeError("a job must not call Store.write: it could wait for itself")
        self._inside.job = True
        try:
            return self._tried(job)
        finally:
            self._inside.job = False

    def _tried(self, job: Callable[[Connection], T]) -> T:
        unique = 0
        for attempt in range(1, _TRIES + 1):
            try:
                with self._engine.begin() as connection:
                    return job(connection)
            except Exception as why:
                state = sqlstate(_refused(why))
                unique += state == _UNIQUE
                if attempt == _TRIES or unique > 1 or not (state in _AGAIN or state == _UNIQUE):
                    said = understood(why)
                    if said is None:
                        raise
                    raise said from why
            # Two that failed over each other must not meet again at once.
            time.sleep(random.random() * 0.005 * 2**attempt)  # noqa: S311 - no secret
        raise AssertionError("the last attempt returns or raises")

    def close(self) -> None:
        """Nothing is queued here."""


def _refused(why: BaseException) -> BaseException:
    """The driver's error behind a refusal that `logbook.store.log` has put into words."""
    if isinstance(why, RefusedError) and why.__cause__ is not None:
        return original(why.__cause__)
    return why
