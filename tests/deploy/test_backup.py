"""deploy/backup: a copy that can be put back, or one sentence and no copy."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

BACKUP = Path(__file__).parents[2] / "deploy" / "backup"


def run(*words: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, BACKUP, *words], capture_output=True, text=True, check=False)


def test_a_copy_is_taken_from_a_logbook_that_is_still_writing(tmp_path: Path) -> None:
    source = tmp_path / "a b.sqlite"
    writer = sqlite3.connect(source, isolation_level=None)
    writer.execute("PRAGMA journal_mode=WAL")
    writer.execute("CREATE TABLE entry (id INTEGER PRIMARY KEY, said TEXT)")
    writer.execute("INSERT INTO entry VALUES (1, 'charge on')")
    writer.execute("BEGIN IMMEDIATE")
    writer.execute("INSERT INTO entry VALUES (2, 'not yet committed')")

    done = run(tmp_path / "kept", "--db", f"sqlite:///{source}")

    writer.execute("ROLLBACK")
    writer.close()
    assert (done.returncode, done.stderr) == (0, "")
    [copy] = (tmp_path / "kept").iterdir()
    assert str(copy) in done.stdout
    assert copy.stat().st_mode & 0o077 == 0
    restored = sqlite3.connect(copy)
    assert restored.execute("SELECT * FROM entry").fetchall() == [(1, "charge on")]
    restored.close()


def test_the_list_of_erased_people_goes_along_and_only_grows(tmp_path: Path) -> None:
    source = tmp_path / "logbook.sqlite"
    sqlite3.connect(source).execute("CREATE TABLE entry (id INTEGER PRIMARY KEY)").connection.close()
    listed = tmp_path / "logbook.sqlite.erased"
    for lines in ("one\n", "one\ntwo\n", "two\nthree\n"):
        listed.write_text(lines)
        assert run(tmp_path / "kept", "--db", f"sqlite:///{source}").returncode == 0
    assert (tmp_path / "kept" / listed.name).read_text() == "one\ntwo\nthree\n"


def test_a_damaged_database_gives_no_backup(tmp_path: Path) -> None:
    source = tmp_path / "logbook.sqlite"
    writer = sqlite3.connect(source, isolation_level=None)
    writer.execute("CREATE TABLE entry (id INTEGER PRIMARY KEY, said TEXT)")
    writer.execute("INSERT INTO entry VALUES (1, 'charge on')")
    writer.close()
    damaged = bytearray(source.read_bytes())
    damaged[4096:8192] = b"\xff" * 4096
    source.write_bytes(damaged)

    done = run(tmp_path / "kept", "--db", f"sqlite:///{source}")

    assert done.returncode == 1
    assert done.stderr.startswith("No backup was made: ")
    assert list((tmp_path / "kept").iterdir()) == []


@pytest.mark.parametrize("url", ["sqlite:///nowhere.sqlite", "other://host/name"])
def test_a_database_that_is_not_there_is_refused_and_not_made(tmp_path: Path, url: str) -> None:
    done = run(tmp_path / "kept", "--db", url)

    assert done.returncode == 1
    assert done.stdout == ""
    assert not Path("nowhere.sqlite").exists()


def test_without_a_database_named_it_asks_which(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("LOGBOOK_DB", raising=False)

    assert run(tmp_path).returncode == 2


def test_a_postgres_dump_can_be_put_back(tmp_path: Path, postgres_database: Callable[[], str]) -> None:
    source, target = create_engine(postgres_database()), create_engine(postgres_database())
    with source.begin() as connection:
        connection.execute(text("CREATE TABLE entry (id int PRIMARY KEY, said text)"))
        connection.execute(text("INSERT INTO entry VALUES (1, 'charge on')"))

    done = run(tmp_path / "kept", "--db", source.url.render_as_string(hide_password=False))

    assert (done.returncode, done.stderr) == (0, "")
    [copy] = (tmp_path / "kept").iterdir()
    host = str(target.url.query["host"])
    subprocess.run(
        ["pg_restore", "--host", host, "--username", "postgres", "--dbname", target.url.database or "", copy],
        check=True,
    )
    with target.begin() as connection:
        assert connection.execute(text("SELECT said FROM entry")).scalars().all() == ["charge on"]
    source.dispose()
    target.dispose()
