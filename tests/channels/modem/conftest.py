"""Tables of the modem's daemon, in both of its databases; and the daemon itself where a test asks for it."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, create_engine, text
from sqlalchemy.pool import NullPool

from logbook.channels.desk import Message
from logbook.channels.modem import Incoming, ModemSettings, Receipts, TextRoute
from logbook.domain.instants import HOUR, Instant, parse
from logbook.watch.routes import Outgoing
from tests.channels.modem import tables
from tests.channels.modem.daemon import Daemon, NotInstalledError, find_program

ZONE = "America/Halifax"
NIGHT = parse("2026-11-25T09:12:00Z")
"""05:12 at the terminals, where the daemon's wall clock stands too."""
NOW: Instant = NIGHT + HOUR
ANA = "+19025550111"
UNDER_CI = os.environ.get("CI", "").lower() in {"1", "true"}


@dataclass
class Drawer:
    """Tables of a daemon, and our two ways to them."""

    url: str
    engine: Engine
    taken: list[Message] = field(default_factory=list)
    aside: list[tuple[Message, str]] = field(default_factory=list)
    said: list[tuple[str, bool, Instant, str]] = field(default_factory=list)

    def settings(self, **changes: Any) -> ModemSettings:
        return ModemSettings(**{"tables": self.url, "country": "CA", "zone": ZONE, "poll": 0.05, **changes})

    def incoming(self, take: Callable[[Message], object] | None = None, **changes: Any) -> Incoming:
        return Incoming(
            self.settings(**changes), take or self.taken.append, lambda: NOW,
            lambda message, reason: self.aside.append((message, reason)),
        )  # fmt: skip

    def route(self, **changes: Any) -> TextRoute:
        return TextRoute(self.settings(**changes))

    def receipts(self, settle: int = 0) -> Receipts:
        return Receipts(self.settings(), lambda *said: self.said.append(said), lambda: NOW, settle)

    # -- by hand ------------------------------------------------------------------------------------------------

    def put(self, table: str, **values: Any) -> None:
        with self.engine.begin() as connection:
            tables.put(connection, table, **values)

    def arrive(self, words: str, sender: str = ANA, *, header: str = "", age: int = 0, **more: Any) -> None:
        """A row as the daemon writes it; `age`: seconds ago."""
        octets = words.encode("utf-16-be", "surrogatepass").hex().upper()
        row = {"ReceivingDateTime": "2026-11-25 05:12:00", "Text": octets, "SenderNumber": sender, "UDH": header,
               "RecipientID": "", "Coding": "Unicode_No_Compression", "SMSCNumber": "+15555550100", **more}  # fmt: skip
        self.put("inbox", **row)
        if age:
            self.backdate("inbox", age)

    def backdate(self, table: str, age: int) -> None:
        """Let the last row have been written some seconds ago, past the trigger that would say now."""
        sqlite = self.engine.dialect.name == "sqlite"
        then = f"datetime('now', '{-age:+d} seconds')" if sqlite else f"LOCALTIMESTAMP(0) - interval '{age} seconds'"
        with self.engine.begin() as connection:
            drop = f"DROP TRIGGER touch_{table}" + ("" if sqlite else f" ON {table}")
            connection.exec_driver_sql(drop)
            key = "IMEI" if table == "phones" else "ID"
            connection.exec_driver_sql(
                f'UPDATE {table} SET "UpdatedInDB" = {then} WHERE "{key}" = (SELECT max("{key}") FROM {table})'
            )
            tables.watch(connection, table, key)

    def at_work(self, age: int = 0, sends: bool = True) -> None:
        """A daemon that has left its sign, so many seconds ago."""
        self.put("phones", ID="", IMEI="999999999999999", IMSI="", Client="by hand", Send="yes" if sends else "no")
        if age:
            self.backdate("phones", age)

    def rows(self, table: str, order: str = "ID") -> list[dict[str, Any]]:
        with self.engine.connect() as connection:
            found = connection.execute(text(f'SELECT * FROM {table} ORDER BY "{order}"')).mappings()
            return [dict(row) for row in found]

    def left(self) -> int:
        """How many rows of the inbox nobody has dealt with."""
        return sum(str(row["Processed"]).lower() == "false" for row in self.rows("inbox"))


def message(body: str, number: str = ANA, name: str = "m1") -> Outgoing:
    return Outgoing(f"<{name}@ferry.example>", number, "", body, NIGHT)


def _sqlite(folder: Path) -> str:
    path = folder / "smsd.sqlite"
    with sqlite3.connect(path) as made:
        made.execute("PRAGMA journal_mode = WAL")
    return f"sqlite:///{path}"


@pytest.fixture(scope="session")
def postgres_tables(postgres_database: Callable[[], str]) -> str:
    """A database with the daemon's tables, for all tests of the run: to make one takes longer than most of them."""
    url = postgres_database()
    engine = create_engine(url, poolclass=NullPool)
    with engine.begin() as connection:
        tables.make(connection)
    engine.dispose()
    return url


@pytest.fixture(params=["sqlite", "postgresql"])
def drawer(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Drawer]:
    """Empty tables, once in each database."""
    sqlite = request.param == "sqlite"
    url = _sqlite(tmp_path) if sqlite else request.getfixturevalue("postgres_tables")
    engine = create_engine(url, poolclass=NullPool)
    with engine.begin() as connection:
        if sqlite:
            tables.make(connection)
        else:
            tables.clear(connection)
    yield Drawer(url, engine)
    engine.dispose()


@pytest.fixture
def daemon(drawer: Drawer, tmp_path: Path) -> Iterator[Daemon]:
    """The real daemon at work on these tables. Skipped with a sentence where it is missing, but not where CI=true."""
    try:
        find_program(drawer.engine.dialect.name)
    except NotInstalledError as why:
        if UNDER_CI:
            pytest.fail(f"{why} (skipped elsewhere, but not where CI=true)", pytrace=False)
        pytest.skip(str(why))
    running = Daemon(tmp_path, drawer.url, drawer.engine, ZONE)
    try:
        running.start()
        yield running
    finally:
        running.stop()
