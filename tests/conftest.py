"""What every test may ask for: a PostgreSQL, a browser, and how hard hypothesis looks.

Promises that a test which needs a program the machine lacks says so: it is skipped with a sentence on a
person's machine, and fails where CI=true, because there a skipped test would be a check that nobody made.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from typing import NoReturn

import pytest
from hypothesis import HealthCheck, settings

from tests import postgres

UNDER_CI = os.environ.get("CI", "").lower() in {"1", "true"}

# No deadlines: the machines that run this are shared, and a slow moment is no defect.
settings.register_profile("modest", max_examples=50, deadline=None)
# The same examples each time, so that a build fails for its change and not for its luck.
settings.register_profile(
    "ci",
    max_examples=100,
    deadline=None,
    derandomize=True,
    database=None,
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow],  # slow on a busy machine, not wrong
)
# For a night's search: LOGBOOK_HYPOTHESIS=long.
settings.register_profile(
    "long", max_examples=5_000, deadline=None, print_blob=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile(os.environ.get("LOGBOOK_HYPOTHESIS") or ("ci" if UNDER_CI else "modest"))

_MARKERS = {
    "postgres": "needs a PostgreSQL server program (set by itself on tests that ask for a postgres fixture)",
    "browser": "needs Chromium (set by itself on tests that ask for `chromium`)",
    "whole": "a night end to end, through the real command line",
    "slow": "takes more than a few seconds; leave out with -m 'not slow'",
}


def pytest_configure(config: pytest.Config) -> None:
    for name, meaning in _MARKERS.items():
        config.addinivalue_line("markers", f"{name}: {meaning}")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        names = getattr(item, "fixturenames", ())
        if "postgres_server" in names:
            item.add_marker("postgres")
        if "chromium" in names:
            item.add_marker("browser")


def _missing(sentence: str) -> NoReturn:
    if UNDER_CI:
        raise pytest.fail.Exception(f"{sentence} (skipped elsewhere, but not where CI=true)", pytrace=False) from None
    raise pytest.skip.Exception(sentence) from None


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[postgres.Server]:
    """The one PostgreSQL of this run, started for the first test that asks."""
    try:
        server = postgres.Server()
    except postgres.NotInstalledError as why:
        _missing(str(why))
    server.start()
    try:
        yield server
    finally:
        server.stop()


@pytest.fixture(scope="session")
def postgres_database(postgres_server: postgres.Server) -> Callable[[], str]:
    """Each call makes a new, empty database, kept to the run's end, and answers with its SQLAlchemy URL."""
    return postgres_server.create_database


@pytest.fixture
def postgres_url(postgres_server: postgres.Server) -> Iterator[str]:
    """The SQLAlchemy URL of a new, empty database, removed after the test."""
    url = postgres_server.create_database()
    yield url
    postgres_server.drop_database(url)


@pytest.fixture(scope="session")
def chromium() -> str:
    """The path of a Chromium to open pages with. Run it headless, and as root with --no-sandbox."""
    for name in ("chromium", "chromium-browser", "google-chrome"):
        path = shutil.which(name)
        if path:
            return path
    _missing("Chromium is not installed; on Debian: apt-get install chromium")
