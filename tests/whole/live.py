"""Random histories told to a running logbook, each entry when it was recorded, the clock in the test's hand."""

from __future__ import annotations

import random
from itertools import groupby
from typing import Any

from sqlalchemy import Connection

from logbook.domain.fleetentries import differences, identify
from logbook.domain.fleetfile import FleetFile
from logbook.domain.instants import DAY, Instant, parse, text
from logbook.intake import PROGRAM, By, Draft
from logbook.store import log, meta
from logbook.store.registry import FLEET
from tests.whole.histories import History, Line
from tests.whole.stage import Stage


def found(stage: Stage, file: dict[str, Any]) -> None:
    """The fleet, without any machine commissioned: the history says when each was."""
    intake = stage.program.intake

    def job(connection: Connection) -> None:
        fleet = intake.new_id()
        log.create(connection, fleet, "fleet", None)
        meta.put(connection, FLEET, fleet)
        register = intake.registry.current(connection)
        wanted = identify(differences(FleetFile.model_validate(file), register), intake.new_id)
        for each in wanted:
            intake.write(connection, [Draft(intake.new_id(), fleet, each.kind, each.data)], PROGRAM)
        for code, machine in intake.registry.current(connection).by_code.items():
            log.create(connection, machine.uuid, "machine", code)

    stage.program.store.write(job)


def started(stage: Stage, told: History) -> None:
    """Found the fleet a day before the first entry."""
    stage.now = min(parse(line["recorded_at"]) for line in told.entries) - DAY
    found(stage, told.fleet)


def draft(stage: Stage, line: Line) -> Draft:
    return Draft(line["id"], stage.machine(line["machine"]), line["kind"], line["data"], parse(line["occurred_at"]))


def say(stage: Stage, lines: list[Line], together: bool) -> None:
    """Record lines of one instant and reporter: in one append, or one after the other."""
    by: By = stage.by(lines[0]["reporter"])
    drafts = [draft(stage, line) for line in lines]
    if together:
        stage.program.intake.record(drafts, by)
    else:
        for each in drafts:
            stage.program.intake.record([each], by)


def instants(told: History) -> list[tuple[Instant, list[list[Line]]]]:
    """The instants of recording in order, each with its lines, one list a reporter's run."""
    rows = []
    for at, lines in groupby(told.entries, key=lambda line: parse(line["recorded_at"])):
        rows.append((at, [list(run) for _who, run in groupby(lines, key=lambda line: line["reporter"])]))
    return rows


def live(stage: Stage, told: History, rng: random.Random) -> None:
    """A clock that never sleeps, and entries told together or one by one."""
    started(stage, told)
    for at, runs in instants(told):
        wait(stage, at - 1)
        stage.now = at
        for run in runs:
            say(stage, run, together=rng.random() < 0.5)
        stage.step()
    wait(stage, parse(told.until))


def wait(stage: Stage, end: Instant) -> None:
    """Step at every instant that was asked for, up to and at `end`; after every append there was a step."""
    following = stage.steps[-1].next_at if stage.steps else stage.now
    while following is not None and following <= end:
        following = stage.step(max(following, stage.now)).next_at


def drowsy(stage: Stage, told: History, rng: random.Random) -> None:
    """A clock that sleeps through random spans, however long; it wakes at the history's end."""
    started(stage, told)
    for at, runs in instants(told):
        stage.now = at
        for run in runs:
            say(stage, run, together=rng.random() < 0.5)
        if rng.random() < 0.1:
            stage.step()
    stage.step(parse(told.until))


def alerts_in_log(stage: Stage) -> list[dict[str, Any]]:
    """What the machines' logs say of alerts, as `logbook replay` prints it."""
    found = []
    for code in stage.register.by_code:
        for kind, at, data in stage.entries(code, "alert_raised", "alert_cleared"):
            found.append({
                "at": text(at), "kind": kind, "machine": code, "duty": data["duty"], "opened_by": data["opened_by"],
                "number": data["number"], "due_at": data["due_at"], "outcome": data.get("outcome"),
            })  # fmt: skip
    return sorted(found, key=_order)


def _order(line: dict[str, Any]) -> tuple[Any, ...]:
    raised = line["kind"] == "alert_raised"
    return parse(line["at"]), line["machine"], line["duty"], line["opened_by"], not raised, line["number"]
