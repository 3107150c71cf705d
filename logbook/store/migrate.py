"""Bringing a database to this program's tables, and refusing one that is not there.

Promises that a database is either brought all the way or left as it was, and that one written by a newer program
is never touched. Never goes back: entries are not taken out of a log to please an old program.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, create_engine, event, inspect, text
from sqlalchemy.exc import DBAPIError

from logbook.store import engine as engines
from logbook.store.errors import NewerDatabaseError, OlderDatabaseError, StoreError, original, understood

CURRENT = "0002"
"""The revision of the tables that this program reads and writes."""

_STRANGE = (
    "The tables could not be made: {why}. Nothing was changed. If this database belongs to another program, name one of "
    "its own for the logbook (--db, or LOGBOOK_DB)."
)

_LOCK = 0x6C6F67626F6F6B  # one number for all processes that migrate the same PostgreSQL database


def scripts() -> Path:
    """Where the migrations lie: inside an installed package, or at the top of a checkout.

    Raises StoreError if they are in neither place.
    """
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "_migrations", package.parent / "migrations"):
        if (folder / "env.py").exists():
            return folder
    raise StoreError("This installation is incomplete: its migrations are missing. Install the program again.")


def upgrade(url: str, *, writer: str | None = None) -> str:
    """Bring the database to this program's tables, creating it if need be; answers with the revision it came from.

    `writer`: on PostgreSQL, a role that is given what a running logbook needs and no more (it must exist).
    The answer is "" for a database that was empty. Raises NewerDatabaseError, or StoreError if it cannot be
    opened; then nothing was changed.
    """
    from alembic import command  # only `init` needs it, and it takes a moment to load
    from alembic.config import Config

    made = engines.parse(url)
    sqlite = made.get_backend_name() == "sqlite"
    if sqlite and made.database:
        Path(made.database.removeprefix("file:")).parent.mkdir(parents=True, exist_ok=True)
    engine = create_engine(made)
    if sqlite:
        event.listen(engine, "connect", engines.prepare)
        event.listen(engine, "begin", _begin)
    try:
        with engine.begin() as connection:
            if not sqlite:
                connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LOCK})
            before = revision(connection)
            if before != CURRENT:
                if before is not None and not _known(before):
                    raise NewerDatabaseError(_newer(before))
                config = Config()
                config.set_main_option("script_location", str(scripts()).replace("%", "%%"))
                config.attributes["connection"] = connection
                command.upgrade(config, "head")
            if writer is not None and not sqlite:
                connection.execute(text("SELECT logbook_grant_writer(:role)"), {"role": writer})
            return before or ""
    except DBAPIError as why:
        raise understood(why) or StoreError(_STRANGE.format(why=str(original(why)).splitlines()[0])) from why
    finally:
        engine.dispose()


def check(connection: Connection) -> None:
    """Refuse a database that is not at this program's revision.

    Raises NewerDatabaseError or OlderDatabaseError; each says that nothing was changed, and what to do.
    """
    found = revision(connection)
    if found == CURRENT:
        return
    if found is None:
        raise OlderDatabaseError("There is no logbook in this database yet. Nothing was changed. Run: logbook init")
    if _known(found):
        raise OlderDatabaseError(
            f"This database was made by an older program (its tables are at {found}, this program's at {CURRENT}). "
            "Nothing was changed. Make a backup, then run: logbook init"
        )
    raise NewerDatabaseError(_newer(found))


def revision(connection: Connection) -> str | None:
    """The revision a database is at, or None if it holds no logbook."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    found = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return None if found is None else str(found)


def _known(found: str) -> bool:
    """Whether one of our own migrations leads to this revision."""
    names = {path.name for path in (scripts() / "versions").glob("*.py")}
    return any(re.match(rf"{re.escape(found)}_", name) for name in names)


def _newer(found: str) -> str:
    return (
        f"This database was made by a newer program (its tables are at {found!r}, which this program, at {CURRENT}, "
        "does not know). Nothing was changed. Install the newer program again, or put back the backup made before "
        "the change."
    )


def _begin(connection: Any) -> None:
    connection.exec_driver_sql("BEGIN IMMEDIATE")
