"""`logbook owed`, `logbook alerts`, `logbook history`: what the log says, and what follows from it now."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any
from zoneinfo import ZoneInfo

import typer

from logbook.command import show
from logbook.command.options import Db, Json, instant, machine_of, opened, register_of
from logbook.domain.history_rows import Row, rows
from logbook.domain.wallclock import zone

if TYPE_CHECKING:
    from logbook.bootstrap import Program

_Machine = Annotated[str, typer.Argument(metavar="MACHINE", help="The code on its plate.")]


def add(app: typer.Typer) -> None:
    """Hang this family's commands on the app."""
    app.command("owed")(owed)
    app.command("alerts")(alerts)
    app.command("history")(history)


def owed(
    machine: Annotated[str | None, typer.Argument(metavar="[MACHINE]", help="One machine; else all.")] = None,
    db: Db = None,
    json: Json = False,
) -> None:
    """Show what is owed now: the open duties, and those that putting the machine away now would open."""
    with opened(db) as program:
        found = what_is_owed(program, machine)
    if json:
        show.as_json([{name: value for name, value in each.items() if name[0] != "_"} for each in found])
        return
    if not found:
        show.line("Nothing is owed.")
        return
    show.table(
        ("machine", "site", "duty", "due", ""),
        [
            (each["machine"], each["site"], each["_label"], each["_due"], "late" if each["late"] else "")
            for each in found
        ],
    )


def what_is_owed(program: Program, code: str | None) -> list[dict[str, Any]]:
    """One object a duty that is owed, by machine, the oldest due instant first."""
    from logbook.domain.owed import owed_now
    from logbook.domain.wording.duties import duty_label

    register = register_of(program)
    machines = sorted(register.machines.values(), key=lambda each: each.code)
    if code is not None:
        machines = [machine_of(register, code)]
    now = program.now()
    found = []
    with program.store.read() as connection:
        for machine in machines:
            watchman = program.intake.watchman(connection, register, machine.uuid)
            # Nights that have begun since the last entry are opened in memory; nothing is written.
            watchman.advance(max(now, watchman.now))
            fold = watchman.machine
            for each in owed_now(fold, max(now, watchman.now)):
                due = show.wall_clock(each.due, register.zone(fold.site, now)) if each.due else "after it is put away"
                found.append({
                    "machine": machine.code, "site": fold.site, "duty": each.duty, "opened_by": each.opened_by or None,
                    "due_at": show.utc(each.due), "late": each.late,
                    "_label": duty_label(each.duty, "en"), "_due": due,
                })  # fmt: skip
    return found


def alerts(db: Db = None, json: Json = False) -> None:
    """Show the alerts that are live: raised, and not over."""
    from logbook.domain.wording.duties import duty_label
    from logbook.intake import answering
    from logbook.store import alerts as table

    with opened(db) as program:
        register = register_of(program)
        found, shown = [], []
        with program.store.read() as connection:
            live = table.live(connection)
            answers = answering.until(connection, live)
            for each in live:
                held = answers.get(each.serial, answering.NOBODY)
                machine = register.machines[each.machine]
                site = program.intake.watchman(connection, register, each.machine).machine.site
                place = register.zone(site, program.now())
                found.append({
                    "serial": each.serial, "machine": machine.code, "site": site, "duty": each.duty,
                    "opened_by": each.opened_by, "number": each.number, "due_at": show.utc(each.due_at),
                    "raised_at": show.utc(each.raised_at), "acknowledged_until": show.utc(held.in_hand),
                    "asked_until": show.utc(held.asked),
                })  # fmt: skip
                shown.append((
                    each.serial, machine.code, site, duty_label(each.duty, "en"), show.wall_clock(each.due_at, place),
                    show.wall_clock(each.raised_at, place), show.wall_clock(held.in_hand, place),
                    show.wall_clock(held.asked, place),
                ))  # fmt: skip
    if json:
        show.as_json(found)
    elif not found:
        show.line("No alert is live.")
    else:
        columns = ("alert", "machine", "site", "duty", "due", "raised", "in hand until", "asked of another until")
        show.table(columns, shown)


def history(
    machine: _Machine,
    since: Annotated[str | None, typer.Option("--from", metavar="INSTANT", help="What happened from here on.")] = None,
    until: Annotated[str | None, typer.Option("--until", metavar="INSTANT", help="What happened up to here.")] = None,
    known_at: Annotated[
        str | None, typer.Option("--known-at", metavar="INSTANT", help="The effective history as it was known then.")
    ] = None,
    db: Db = None,
    json: Json = False,
) -> None:
    """Show a machine's log: every entry with when it happened, when it was recorded, by which role, and if struck.

    With --known-at: what counted at that instant, in the order in which it happened.
    """
    from logbook.intake.reading import told_of

    with opened(db) as program:
        now = program.now()
        since_, until_, known_at_ = (
            None if text is None else instant(text, option, now)
            for text, option in ((since, "--from"), (until, "--until"), (known_at, "--known-at"))
        )
        register = register_of(program)
        known = machine_of(register, machine)
        with program.store.read() as connection:
            entries = told_of(connection, known.uuid, register)
        found = rows(
            entries,
            lambda site, at: register.policy(known.uuid, site, at).late_after,
            known_at=known_at_,
            since=since_,
            until=until_,
        )
        zones = {site.code: zone(site.zone) for site in register.sites.values()}
    if json:
        show.as_json([row.as_json() for row in found])
        return
    columns = ("seq", "happened", "recorded", "what", "by", "", "data")
    show.table(columns, [_cells(row, zones.get(row.site, zone("UTC"))) for row in found])


def _cells(row: Row, place: ZoneInfo) -> tuple[object, ...]:
    """A row as people read it, by the wall clock of the site where the machine stood."""
    from logbook.domain.wording.labels import entry_label

    told = row.told
    said = (
        ("recorded late", row.late), ("struck", row.struck_by is not None), ("unconfirmed", told.unconfirmed),
    )  # fmt: skip
    marks = [word for word, is_so in said if is_so]
    data = {**told.data, **{item: "(erased)" if text is None else text for item, text in told.private.items()}}
    return (
        told.seq,
        show.wall_clock(told.occurred_at, place),
        show.wall_clock(told.recorded_at, place),
        entry_label(told.kind, "en"),
        told.role,
        ", ".join(marks),
        ", ".join(f"{name}={value}" for name, value in data.items()),
    )
