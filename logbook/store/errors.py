"""What can go wrong with the database, each with a sentence for whoever reads it: what happened, what was kept.

Everything that is not here (a mistake in a statement, a broken connection) comes up as the driver raised it.
"""

from __future__ import annotations

import sqlite3

from sqlalchemy.exc import DBAPIError


class StoreError(Exception):
    """The database could not do what was asked. Nothing of what was asked was kept."""


class DiskFullError(StoreError):
    """No room is left for the database."""


class BusyError(StoreError):
    """Another program held the database for too long."""


class ReadOnlyError(StoreError):
    """The database may not be written by this account."""


class DiskError(StoreError):
    """The disk under the database is full in a way that SQLite cannot tell, or fails."""


class DamagedError(StoreError):
    """The file is not a database, or is damaged."""


class UnreachableError(StoreError):
    """The database does not answer, has gone away, or its file cannot be opened."""


class RefusedError(StoreError):
    """The database itself refused an entry: out of turn, not chained to the last one, back-dated, or its id used."""


class OlderDatabaseError(StoreError):
    """The tables are those of an older program, or there are none yet."""


class NewerDatabaseError(StoreError):
    """The tables are those of a newer program."""


# Result codes of SQLite (sqlite.org/rescode.html): the low byte is the code, the rest tells more.
_FULL, _IOERR, _CORRUPT, _CANTOPEN, _NOTADB, _READONLY, _BUSY, _LOCKED = 13, 10, 11, 14, 26, 8, 5, 6

# SQLSTATEs that PostgreSQL raises for a full disk, a lost lock, a read-only session or role, a server going down.
_PG_FULL, _PG_LOCKS, _PG_READONLY, _PG_GONE = {"53100"}, {"55P03"}, {"25006", "42501"}, {"57P01", "57P02", "57P03"}

_FULL_SAYS = (
    "The disk is full. Nothing of this was saved; what was saved before is whole. Free some space, then try again."
)
_BUSY_SAYS = "The logbook is being written by another program. Nothing of this was saved; try again in a moment."
_READONLY_SAYS = (
    "The logbook may not be written by this account. Nothing of this was saved; give the account the right to "
    "write the database, and for SQLite its folder too."
)
_GONE_SAYS = (
    "The database server does not answer: {why}. Whatever was answered before is saved; whether this was, is not "
    "known: send it again with the same id, and it is kept once."
)
_UNOPENED_SAYS = (
    "The database file cannot be opened. Nothing was changed. See that its folder exists, and that this account "
    "may read and write both."
)
_DISK_SAYS = (
    "The disk could not be read or written: {why}. Nothing of this was saved; what was saved before is whole. If the "
    "disk is full, free some space and try again; if it is not, the disk may be failing: make a copy now, elsewhere."
)
_DAMAGED_SAYS = (
    "The database cannot be read or written: {why}. Nothing of this was saved. Do not try to mend the file: "
    "copy it away, put the last backup back, and run the audit over both."
)


def original(why: BaseException) -> BaseException:
    """The driver's own exception, whether or not SQLAlchemy has wrapped it."""
    return why.orig if isinstance(why, DBAPIError) and why.orig is not None else why


def sqlstate(why: BaseException) -> str | None:
    """The five characters by which PostgreSQL names an error (its manual, appendix A), or None."""
    state = getattr(original(why), "sqlstate", None)
    return state if isinstance(state, str) else None


def understood(why: BaseException) -> StoreError | None:
    """The error as a sentence, if it is one about the database as a whole and not about one statement."""
    driver = original(why)
    if isinstance(driver, sqlite3.Error):
        code = (getattr(driver, "sqlite_errorcode", None) or 0) & 0xFF
        if code == _FULL:
            return DiskFullError(_FULL_SAYS)
        if code in {_BUSY, _LOCKED}:
            return BusyError(_BUSY_SAYS)
        if code == _READONLY:
            return ReadOnlyError(_READONLY_SAYS)
        if code == _CANTOPEN:
            return UnreachableError(_UNOPENED_SAYS)
        if code == _IOERR:
            return DiskError(_DISK_SAYS.format(why=driver))
        if code in {_CORRUPT, _NOTADB}:
            return DamagedError(_DAMAGED_SAYS.format(why=driver))
        return None
    state = sqlstate(driver)
    if state in _PG_FULL:
        return DiskFullError(_FULL_SAYS)
    if state in _PG_LOCKS:
        return BusyError(_BUSY_SAYS)
    if state in _PG_READONLY:
        return ReadOnlyError(_READONLY_SAYS)
    # A connection that was refused or broke off has no SQLSTATE, or one of class 08.
    broken = state is None and type(driver).__name__ == "OperationalError" and type(driver).__module__[:7] == "psycopg"
    if broken or state in _PG_GONE or (state or "")[:2] == "08":
        return UnreachableError(_GONE_SAYS.format(why=str(driver).strip().splitlines()[0]))
    return None
