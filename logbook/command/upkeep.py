"""`logbook audit` and `logbook rebuild`: whether the log is whole, and making anew what is folded from it."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import typer

from logbook.command import show
from logbook.command.options import Db, Json, opened, register_of, there
from logbook.command.refusals import Refusal

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from logbook.evidence.form import Formed


def add(app: typer.Typer) -> None:
    """Hang this family's commands on the app."""
    app.command("audit")(audit)
    app.command("rebuild")(rebuild)


def audit(db: Db = None, json: Json = False) -> None:
    """Compute every chain of the log again from its stored bytes, and name the first entry at fault in each.

    It shows that what was recorded is unchanged since, not that the reporter told the truth. A log that was rewritten
    whole shows only against a seal that somebody else holds.
    """
    from logbook.store import Store

    with Store(there(db)) as store:
        said = audited(store)
    broken = said["faults"]
    if json:
        show.as_json(said)
    elif not broken:
        show.line(
            f"WHOLE: {said['entries']} entries in {said['logs']} logs and {said['words']} private words; nothing "
            "contradicts itself."
        )
    if broken:
        if not json:
            show.line(f"BROKEN: {len(broken)} of {said['logs']} logs.")
            rows = [(each["code"] or each["log"], each["seq"], each["sentence"]) for each in broken]
            show.table(("of", "entry", "why"), rows)
        raise Refusal(f"BROKEN: {broken[0]['sentence']}. Nothing was changed; keep this database as it is, and a copy.")


def audited(store: Any) -> dict[str, Any]:
    """The verdict over a whole store, for JSON."""
    from logbook.evidence.audit import audit as computed
    from logbook.evidence.roll import named, roll
    from logbook.store import log, words

    with store.read() as connection:
        origin = _origin(connection)
        verdict = computed(log.every(connection), log.logs(connection), words.every(connection), origin=origin)
        codes = {machine: code for kind in ("machine", "fleet") for machine, code in log.of_kind(connection, kind)}
        missing = roll(named(_fleet_entries(connection)), dict(log.of_kind(connection, "machine")))
        unlisted = log.unlisted(connection)
    faults = [
        {
            "log": fault.machine, "code": codes.get(fault.machine), "seq": fault.seq, "id": fault.id, "why": fault.why,
            "sentence": fault.sentence,
        }
        for fault in (*verdict.faults, *missing)
    ]  # fmt: skip
    at_fault = {fault["log"] for fault in faults}
    for machine, seq, id_ in unlisted:
        if machine not in at_fault:
            at_fault.add(machine)
            sentence = f"log {machine}, entry {seq} ({id_}): it is not in the list of ids"
            place = {"log": machine, "code": codes.get(machine), "seq": seq, "id": id_}
            faults.append({**place, "why": "column", "sentence": sentence})
    return {
        "verdict": "broken" if faults else "whole", "logs": verdict.logs, "entries": verdict.entries,
        "words": verdict.words, "faults": faults,
    }  # fmt: skip


def _fleet_entries(connection: Connection) -> Iterator[Formed]:
    """The fleet's log, as far as it can be read; what cannot is a fault that the audit names."""
    from logbook.evidence.canonical import NotCanonicalError
    from logbook.evidence.form import read
    from logbook.store import log

    for fleet, _code in log.of_kind(connection, "fleet"):
        for row in log.by_seq(connection, fleet):
            with contextlib.suppress(NotCanonicalError):
                yield read(row.bytes)


def _origin(connection: Connection) -> str | None:
    """By what name the fleet's log calls itself in its first entry; None if that cannot be read, which is found."""
    from logbook.evidence.canonical import NotCanonicalError
    from logbook.evidence.form import read
    from logbook.store import log

    for fleet, _code in log.of_kind(connection, "fleet"):
        for row in log.by_seq(connection, fleet):
            try:
                return read(row.bytes).log
            except NotCanonicalError:
                return None
    return None


def rebuild(db: Db = None, json: Json = False) -> None:
    """Make everything anew that is folded from the log: each machine's state, its copies, when the clock looks next.

    The log itself is not touched. Needed after a mended fold, never in ordinary running.
    """
    from logbook.store import folds, log

    with opened(db) as program:
        register = register_of(program)
        machines = sorted(register.machines.values(), key=lambda each: each.code)
        for machine in machines:

            def anew(connection: Connection, uuid: str = machine.uuid) -> None:
                head = log.head(connection, uuid, lock=True)
                if head is None:
                    return
                watchman = folds.rebuild(connection, uuid, program.intake.book(register, uuid))
                folds.save(connection, uuid, head.seq, watchman)
                program.intake.visit(connection, uuid).leave()

            program.store.write(anew)
    if json:
        show.as_json({"rebuilt": [machine.code for machine in machines]})
        return
    show.line(f"{len(machines)} machines were folded anew from their logs.")
