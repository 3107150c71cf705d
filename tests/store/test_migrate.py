"""Migrations: they make the tables that the program believes in, from a checkout and from an installed package,
and refuse what they do not know without touching it."""

from __future__ import annotations

import re
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import create_engine, inspect, text
from sqlalchemy.engine import Engine

from logbook.store import NewerDatabaseError, OlderDatabaseError, Store, StoreError, engine, migrate, tables


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The URL of an empty database."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'a folder' / 'log.sqlite'}"
    create: Callable[[], str] = request.getfixturevalue("postgres_database")
    return create()


@pytest.fixture
def plain(url: str) -> Iterator[Engine]:
    """The database without any of our manners."""
    made = create_engine(engine.parse(url))
    yield made
    made.dispose()


def test_the_migrations_make_the_tables_of_the_program(url: str, plain: Engine) -> None:
    migrate.upgrade(url)
    with plain.connect() as connection:
        # In SQLite alembic takes the serial's Identity for a default; there the words are compared, below.
        defaults = connection.dialect.name != "sqlite"
        context = MigrationContext.configure(connection, opts={"compare_server_default": defaults})
        assert compare_metadata(context, tables.metadata) == []
        found = inspect(connection)
        names = {table.name for table in tables.metadata.sorted_tables}
        assert set(found.get_table_names()) == names | {"alembic_version"}
        for table in tables.metadata.sorted_tables:
            assert found.get_pk_constraint(table.name)["constrained_columns"] == [c.name for c in table.primary_key]
            # compare_metadata passes over names it takes for generated ones
            unique = {u["name"] for u in found.get_unique_constraints(table.name)}
            assert unique == {u.name for u in table.constraints if str(u.name).startswith("uq_")}


def test_both_ways_to_the_tables_give_sqlite_the_same_words(tmp_path: Path) -> None:
    """WITHOUT ROWID, AUTOINCREMENT and the types' spelling are in no comparison of alembic's."""

    def words(path: Path) -> dict[str, str]:
        connection = sqlite3.connect(path)
        rows = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'table'").fetchall()
        connection.close()
        return {
            name: re.sub(r"\s+", " ", sql).strip()
            for name, sql in rows
            if name not in {"alembic_version", "sqlite_sequence", "sqlite_stat1"}
        }

    migrate.upgrade(f"sqlite:///{tmp_path / 'migrated'}")
    made = create_engine(f"sqlite:///{tmp_path / 'made'}")
    tables.metadata.create_all(made)
    made.dispose()
    assert words(tmp_path / "migrated") == words(tmp_path / "made")
    assert words(tmp_path / "made")["entry"].endswith("WITHOUT ROWID")


def test_upgrading_twice_changes_nothing(url: str) -> None:
    assert migrate.upgrade(url) == ""
    assert migrate.upgrade(url) == migrate.CURRENT
    Store(url).close()


def test_the_program_knows_its_own_newest_revision() -> None:
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", str(migrate.scripts()))
    assert ScriptDirectory.from_config(config).get_heads() == [migrate.CURRENT]


def _everything(plain: Engine) -> list[Any]:
    with plain.connect() as connection:
        found = inspect(connection)
        return [
            (name, sorted(map(tuple, connection.execute(text(f"SELECT * FROM {name}")))))
            for name in sorted(found.get_table_names())
        ]


def test_a_database_of_a_newer_program_is_refused_and_left_as_it_was(url: str, plain: Engine) -> None:
    migrate.upgrade(url)
    with plain.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '0999'"))
    before = _everything(plain)
    for open_ in (Store, migrate.upgrade):
        with pytest.raises(NewerDatabaseError, match=r"newer program.*'0999'.*Nothing was changed\. Install the newer"):
            open_(url)
    assert _everything(plain) == before


def test_a_database_of_an_older_program_is_refused_until_it_is_brought_up(
    url: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    migrate.upgrade(url)
    # What the next release will look like: one more migration, and a program that asks for it.
    later = tmp_path / "later"
    shutil.copytree(migrate.scripts(), later)
    (later / "versions" / "0003_later.py").write_text(
        "import sqlalchemy as sa\nfrom alembic import op\nrevision, down_revision = '0003', '0002'\n"
        "def upgrade():\n    op.add_column('clock', sa.Column('more', sa.Text))\n"
    )
    monkeypatch.setattr(migrate, "scripts", lambda: later)
    monkeypatch.setattr(migrate, "CURRENT", "0003")
    with pytest.raises(OlderDatabaseError, match=r"older program.*0002.*Nothing was changed.*run: logbook init"):
        Store(url)
    assert migrate.upgrade(url) == "0002"
    Store(url).close()


def test_a_migration_that_fails_leaves_the_database_as_it_was(
    url: str, plain: Engine, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    migrate.upgrade(url)
    before = _everything(plain)
    later = tmp_path / "later"
    shutil.copytree(migrate.scripts(), later)
    (later / "versions" / "0003_later.py").write_text(
        "import sqlalchemy as sa\nfrom alembic import op\nrevision, down_revision = '0003', '0002'\n"
        "def upgrade():\n    op.create_table('half', sa.Column('a', sa.Text))\n    raise ZeroDivisionError\n"
    )
    monkeypatch.setattr(migrate, "scripts", lambda: later)
    monkeypatch.setattr(migrate, "CURRENT", "0003")
    with pytest.raises(ZeroDivisionError):
        migrate.upgrade(url)
    assert _everything(plain) == before


def test_an_empty_database_has_no_logbook_yet(url: str, plain: Engine) -> None:
    if plain.dialect.name == "sqlite":
        assert plain.url.database is not None
        Path(plain.url.database).parent.mkdir()
    with pytest.raises(OlderDatabaseError, match=r"no logbook in this database yet.*Run: logbook init"):
        Store(url)


def test_an_installed_package_brings_its_own_migrations(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    package = tmp_path / "site-packages" / "logbook"
    shutil.copytree(migrate.scripts(), package / "_migrations")
    monkeypatch.setattr(migrate, "__file__", str(package / "store" / "migrate.py"))
    assert migrate.scripts() == package / "_migrations"
    migrate.upgrade(f"sqlite:///{tmp_path / 'log.sqlite'}")
    shutil.rmtree(package / "_migrations")
    with pytest.raises(StoreError, match="Install the program again"):
        migrate.scripts()
