"""Options that many commands share, and what they are read into."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from logbook.command.refusals import Refusal
from logbook.domain import instants
from logbook.domain.instants import Instant

if TYPE_CHECKING:
    from logbook.bootstrap import Program
    from logbook.domain.people import Person
    from logbook.domain.register import MachineRecord, Register

before_command: ContextVar[str | None] = ContextVar("before_command", default=None)
"""The database as it was given to `logbook` itself, in front of the command."""

Db = Annotated[
    str | None,
    typer.Option("--db", metavar="URL", help="The database; else as the settings have it."),
]
Json = Annotated[bool, typer.Option("--json", help="Answer in JSON, times in UTC.")]
By = Annotated[str, typer.Option("--by", metavar="KEY", help="Who reports: a person's key in the fleet file.")]


def address(db: str | None) -> str:
    """The database's URL: as given to the command, else to `logbook`, else as the settings have it.

    Raises ConfigError if it is for the settings to say, and they cannot be used.
    """
    given = db or before_command.get()
    if given:
        return given
    from logbook.config import read

    return read(None, os.environ).db


def missing(url: str) -> bool:
    """Whether the database is a file that does not exist: opening it would leave an empty one behind."""
    from logbook.store import engine

    made = engine.parse(url)
    return made.get_backend_name() == "sqlite" and not Path((made.database or "").removeprefix("file:")).exists()


def shown(url: str) -> str:
    """The URL without its password."""
    from sqlalchemy.engine import make_url

    return make_url(url).render_as_string(hide_password=True)


def there(db: str | None) -> str:
    """The URL of a database that can be opened. Raises Refusal if its file does not exist."""
    url = address(db)
    if missing(url):
        raise Refusal(f"There is no logbook in {shown(url)} yet. Nothing was changed. Run: logbook init")
    return url


@contextmanager
def opened(db: str | None, routes: frozenset[str] | None = None) -> Iterator[Program]:
    """The program, wired to the database; closed again behind the command. Raises Refusal or StoreError.

    `routes`: the ways that can be sent by, where the command sends.
    """
    from logbook.bootstrap import ROUTES, program

    running = program(there(db), routes=ROUTES if routes is None else routes)
    try:
        yield running
    finally:
        running.close()


def register_of(program: Program) -> Register:
    """The register as it is now. Raises LookupError with a sentence if no fleet was founded."""
    with program.store.read() as connection:
        return program.registry.current(connection)


def machine_of(register: Register, code: str) -> MachineRecord:
    """The machine with this code, in whatever case it was typed. Raises Refusal."""
    known = register.by_code.get(code) or register.by_code.get(code.strip().upper())
    if known is None:
        raise Refusal(f"There is no machine {code!r} in this fleet. Nothing was changed; see: logbook fleet show")
    return known


def person_of(register: Register, key: str) -> Person:
    """The person with this key in the fleet file. Raises Refusal."""
    known = register.person_by_key(key)
    if known is None or known.state != "member":
        raise Refusal(f"Nobody in this fleet has the key {key!r}. Nothing was changed; see: logbook fleet show")
    return known


def instant(text: str, name: str, now: Instant | None = None) -> Instant:
    """Read an instant that was typed for an option; `now` is what the word "now" means, if it means anything."""
    if text == "now" and now is not None:
        return now
    try:
        return instants.parse(text)
    except ValueError as why:
        raise Refusal(f"{name}: {why}. Nothing was done.") from None


def content(path: Path, name: str) -> str:
    """The text of a file. Raises Refusal if it cannot be read."""
    try:
        return path.read_text(encoding="utf-8-sig")
    except OSError as why:
        raise Refusal(f"{name} {str(path)!r} cannot be read: {why.strerror or why}. Nothing was changed.") from None
    except UnicodeDecodeError:
        raise Refusal(f"{name} {str(path)!r} is not UTF-8 text. Nothing was changed.") from None
