"""One suite, two databases: every test in this folder runs on SQLite and on PostgreSQL.

A database a test module: what a test may leave behind is emptied before the next, and the log, which nobody can
empty, gets machines of its own for every test.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import delete

from logbook.store import Store, migrate, tables


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> str:
    """The URL of a migrated database."""
    if request.param == "sqlite":
        folder: Path = tmp_path_factory.mktemp("store")
        made = f"sqlite:///{folder / 'log.sqlite'}"
    else:
        create: Callable[[], str] = request.getfixturevalue("postgres_database")
        made = create()
    migrate.upgrade(made)
    return made


@pytest.fixture(scope="module")
def opened(url: str) -> Iterator[Store]:
    with Store(url) as store:
        yield store


@pytest.fixture
def store(opened: Store) -> Store:
    """The module's store, empty but for the logs of tests before."""
    opened.write(
        lambda connection: [
            connection.execute(delete(table))
            for table in reversed(tables.metadata.sorted_tables)
            if table.name not in {"entry", "entry_id", "log"}
        ]
    )
    return opened
