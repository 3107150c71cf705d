"""Machines, what is owed on them, and the alerts that are out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Query
from starlette.responses import Response

from logbook.domain.owed import Owed, owed_now
from logbook.domain.register import MachineRecord
from logbook.domain.standing import standing_of
from logbook.intake import answering
from logbook.store import alerts, log
from logbook.web.api import shapes
from logbook.web.api.answers import READ, Time, following, instant, read
from logbook.web.api.asking import Looking, WithKey
from logbook.web.api.problems import Problem, shown
from logbook.web.api.shapes import at, at_or_none

router = APIRouter()

Most = Annotated[int, Query(alias="limit", ge=1, le=500, description="At most so many.")]
After = Annotated[str, Query(alias="after", max_length=40, description="The machine behind which to go on.")]
AtSite = Annotated[str | None, Query(alias="site", max_length=40, description="Of one site only.")]
READ_PROBLEMS = {**READ, **shown(401, 403, 404, 422, 429, 503)}


@router.get("/machines", response_model=shapes.Machines, responses=READ_PROBLEMS, operation_id="list_machines",
            summary="Machines", tags=["machines"])  # fmt: skip
def machines(asked: WithKey, most: Most = 100, after: After = "", site: AtSite = None) -> Response:
    """Every machine of the key's sites, by code: where it stands, and whether it may be run."""
    with asked.looking("read") as sight:
        found, more = sight.machines(site, after.upper(), most)
        items = [_line(sight, each) for each in found if sight.fold(each.uuid).machine.commissioned_at is not None]
    link = following(asked.request, after=found[-1].code) if more else None
    return read(asked.request, shapes.Machines(items=items, next=link))


@router.get("/machines/{machine}", response_model=shapes.MachineNow, responses=READ_PROBLEMS,
            operation_id="read_machine", summary="A machine, with what is owed", tags=["machines"])  # fmt: skip
def machine(asked: WithKey, machine: str) -> Response:
    """Where a machine stands, what is owed on it now, and which of its alerts are live."""
    with asked.looking("read") as sight:
        known = sight.machine(machine)
        head = log.head(sight.connection, known.uuid)
        watchman = sight.fold(known.uuid)
        fold = watchman.machine
        if head is None or fold.commissioned_at is None:
            raise Problem("not_there", "The machine has no log yet. Nothing was done.")
        now = max(sight.now, watchman.now)
        live = alerts_of(sight, alerts.live(sight.connection, known.uuid))
        made = shapes.MachineNow(
            **_line(sight, known).model_dump(), zone=sight.register.zone(fold.site, sight.now).key,
            commissioned_at=at(fold.commissioned_at), seq=head.seq, head=head.head, recorded_at=at(head.recorded_at),
            owed=[duty_of(each) for each in owed_now(fold, now)], alerts=live,
        )  # fmt: skip
    return read(asked.request, made)


@router.get("/due", response_model=shapes.Due, responses=READ_PROBLEMS, operation_id="list_due",
            summary="What is owed, by machine", tags=["machines"])  # fmt: skip
def due(
    asked: WithKey, most: Most = 100, after: After = "", site: AtSite = None,
    until: Annotated[Time, Query(description="Only what is due by then.")] = None,
) -> Response:  # fmt: skip
    """What is owed now on the machines of the key's sites. `limit` counts machines, not duties."""
    by = instant("until", until)
    with asked.looking("read") as sight:
        found, more = sight.machines(site, after.upper(), most)
        items: list[shapes.DueDuty] = []
        for each in found:
            watchman = sight.fold(each.uuid)
            place = watchman.machine.site
            items += [
                shapes.DueDuty(machine=each.code, site=place, **duty_of(owed).model_dump())
                for owed in owed_now(watchman.machine, max(sight.now, watchman.now))
                if by is None or (owed.due is not None and owed.due <= by)
            ]
    link = following(asked.request, after=found[-1].code) if more else None
    return read(asked.request, shapes.Due(items=items, next=link))


def duty_of(owed: Owed) -> shapes.Duty:
    """A duty as it is answered."""
    return shapes.Duty(
        duty=owed.duty, opened_by=owed.opened_by or None, due_at=at_or_none(owed.due), late=owed.late
    )  # fmt: skip


def alerts_of(sight: Looking, found: Sequence[alerts.Alert]) -> list[shapes.Alert]:
    """Alerts as they are answered, each at the site where its machine stands now."""
    answers = answering.until(sight.connection, found)
    return [_alert(sight, each, answers.get(each.serial, answering.NOBODY)) for each in found]


def _alert(sight: Looking, alert: alerts.Alert, held: answering.Until) -> shapes.Alert:
    return shapes.Alert(
        serial=alert.serial, machine=sight.register.machines[alert.machine].code, site=sight.site(alert.machine),
        duty=alert.duty, opened_by=alert.opened_by, number=alert.number, due_at=at(alert.due_at),
        raised_at=at(alert.raised_at), acknowledged_until=at_or_none(held.in_hand), asked_until=at_or_none(held.asked),
        cleared_at=at_or_none(alert.cleared_at), outcome=alert.outcome,
    )  # fmt: skip


def _line(sight: Looking, machine: MachineRecord) -> shapes.Machine:
    watchman = sight.fold(machine.uuid)
    fold = watchman.machine
    return shapes.Machine.model_validate(
        {
            "code": machine.code, "site": fold.site, "battery": fold.battery,
            "state": standing_of(fold, max(sight.now, watchman.now)),
        }
    )  # fmt: skip
