"""`logbook import`: past records out of a file, through the same door as everything else."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any
from zoneinfo import ZoneInfo

import typer

from logbook.command import show
from logbook.command.import_file import Bad, Record, Unreadable, records
from logbook.command.options import By, Db, Json, content, opened, person_of, register_of
from logbook.command.refusals import Refusal, say

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from logbook.bootstrap import Program
    from logbook.domain.people import Person
    from logbook.domain.register import Register

CHANNEL = "import"
AT_ONCE = 500
"""Lines in one transaction: others who write wait no longer than these take."""


def add(app: typer.Typer) -> None:
    """Hang this family's commands on the app."""
    app.command("import")(import_)


@dataclass(slots=True)
class Imported:
    """What became of the lines: recorded now, there already, refused (by number)."""

    recorded: int = 0
    repeated: int = 0
    late: int = 0
    refused: list[Bad] = field(default_factory=list)

    def take_in(self, other: Imported) -> None:
        """Add what became of further lines."""
        self.recorded += other.recorded
        self.repeated += other.repeated
        self.late += other.late
        self.refused += other.refused


class _TakenBack(Exception):
    def __init__(self, done: Imported) -> None:
        self.done = done


def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="CSV with a first line of names, or one object a line.")],
    by: By,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only say what would be recorded.")] = False,
    all_or_nothing: Annotated[
        bool, typer.Option("--all-or-nothing", help="Record nothing if one line is refused.")
    ] = False,
    db: Db = None,
    json: Json = False,
) -> None:
    """Record what is known from before: columns machine, kind, occurred_at, maybe id, and the entry's data.

    A time without an offset is the site's wall clock. A file may come again: lines recorded once are not doubled.
    """
    text = content(file, "The file")
    with opened(db) as program:
        register = register_of(program)
        person = person_of(register, by)
        try:
            lines = list(records(text, file.name, _zones(program, register)))
        except Unreadable as why:
            raise Refusal(f"The file {file.name!r} cannot be imported: {why}. Nothing was recorded.") from None
        done = imported(program, register, person, lines, dry_run=dry_run, whole=all_or_nothing)
    kept = not dry_run and not (all_or_nothing and done.refused)
    _tell(done, len(lines), kept=kept, dry_run=dry_run, json=json)


def imported(
    program: Program, register: Register, person: Person, lines: Sequence[Record | Bad], *, dry_run: bool, whole: bool
) -> Imported:
    """Record what can be. `dry_run`: and take it back; `whole`: take it back if a line was refused."""
    done = Imported(refused=[line for line in lines if isinstance(line, Bad)])
    # In the order of happening: what comes in order need not be folded again.
    good = sorted(
        (line for line in lines if isinstance(line, Record)), key=lambda line: (line.occurred_at, line.number)
    )
    at_once = max(len(good), 1) if dry_run or whole else AT_ONCE
    spoilt = bool(done.refused)
    for start in range(0, len(good), at_once):
        some = good[start : start + at_once]

        def job(connection: Connection, some: Sequence[Record] = some) -> Imported:
            said = _recorded(program, register, person, connection, some)
            if dry_run or (whole and (said.refused or spoilt)):
                raise _TakenBack(said)
            return said

        try:
            done.take_in(program.store.write(job))
        except _TakenBack as taken_back:
            done.take_in(taken_back.done)
    done.refused.sort()
    return done


def _recorded(
    program: Program, register: Register, person: Person, connection: Connection, some: Sequence[Record]
) -> Imported:
    """Record each line by itself within one transaction, so that a refused one takes no other with it."""
    from logbook.domain.door import Refused
    from logbook.intake import By as Reporter
    from logbook.intake import Draft

    said = Imported()
    reporter = Reporter(person.uuid, person.role, CHANNEL)
    for line in some:
        draft = Draft(line.id, register.by_code[line.machine].uuid, line.kind, line.data, line.occurred_at)
        connection.exec_driver_sql("SAVEPOINT line")
        try:
            written = program.intake.write(connection, [draft], reporter).entries[0]
        except Refused as why:
            connection.exec_driver_sql("ROLLBACK TO SAVEPOINT line")
            said.refused.append(Bad(line.number, str(why)))
        else:
            said.recorded += not written.repeated
            said.repeated += written.repeated
            said.late += written.late
        connection.exec_driver_sql("RELEASE SAVEPOINT line")
    return said


def _zones(program: Program, register: Register) -> Any:

    zones: dict[str, ZoneInfo | None] = {}

    def zone_of(code: str) -> ZoneInfo | None:
        if code not in zones:
            known = register.by_code.get(code)
            zones[code] = None
            if known is not None:
                with program.store.read() as connection:
                    fold = program.intake.watchman(connection, register, known.uuid).machine
                zones[code] = register.zone(fold.site, program.now())
        return zones[code]

    return zone_of


def _tell(done: Imported, lines: int, *, kept: bool, dry_run: bool, json: bool) -> None:
    if json:
        show.as_json({
            "dry_run": dry_run, "kept": kept, "lines": lines, "recorded": done.recorded, "repeated": done.repeated,
            "recorded_late": done.late,
            "refused": [{"line": bad.number, "why": bad.sentence} for bad in done.refused],
        })  # fmt: skip
    else:
        for bad in done.refused:
            say(f"line {bad.number}: {bad.sentence}")
        would = "" if kept else "would be " if dry_run else "would have been "
        show.line(
            f"{lines} lines: {done.recorded} {would}recorded ({done.late} of them late), {done.repeated} there "
            f"already, {len(done.refused)} refused."
        )
    if done.refused:
        rest = "the others were recorded" if kept else "nothing was recorded"
        raise Refusal(
            f"{len(done.refused)} of {lines} lines were refused, first line {done.refused[0].number}; {rest}."
        )
