"""Alerts: those that are live, those a machine has had, and taking one in hand. Only the log clears one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Path, Query
from starlette.responses import Response

from logbook.domain.instants import parse
from logbook.evidence.form import read as read_form
from logbook.intake import By, Draft, answering
from logbook.store import alerts as table
from logbook.store import log
from logbook.web.api import shapes
from logbook.web.api.answers import following, read, written
from logbook.web.api.asking import Asked, Looking, WithKey
from logbook.web.api.bodies import Sent, contents
from logbook.web.api.machines import READ_PROBLEMS, Most, alerts_of
from logbook.web.api.problems import Problem, shown
from logbook.web.api.reporting import CHANNEL, record
from logbook.web.api.shapes import at

router = APIRouter()
_BIG = 2**53 - 1
_After = Annotated[int, Query(alias="after", ge=0, le=_BIG, description="The serial behind which to go on.")]


@router.get("/alerts", response_model=shapes.Alerts, responses=READ_PROBLEMS, operation_id="list_alerts",
            summary="Live alerts", tags=["alerts"])  # fmt: skip
def live(asked: WithKey, most: Most = 100, after: _After = 0) -> Response:
    """The alerts that are live at the key's sites, the oldest first."""
    with asked.looking("read") as sight:
        found = [
            each for each in table.live(sight.connection)
            if each.serial > after and sight.key.covers(sight.site(each.machine))
        ]  # fmt: skip
        return _page(asked, sight, found, most)


@router.get("/machines/{machine}/alerts", response_model=shapes.Alerts, responses=READ_PROBLEMS,
            operation_id="list_alerts_of_machine", summary="A machine's alerts", tags=["alerts"])  # fmt: skip
def of_machine(asked: WithKey, machine: str, most: Most = 100, after: _After = 0) -> Response:
    """Every alert that a machine ever had, the oldest first."""
    with asked.looking("read") as sight:
        known = sight.machine(machine)
        found = [each for each in table.of_machine(sight.connection, known.uuid) if each.serial > after]
        return _page(asked, sight, found, most)


def _page(asked: Asked, sight: Looking, found: Sequence[table.Alert], most: int) -> Response:
    items = alerts_of(sight, found[:most])
    link = following(asked.request, after=items[-1].serial) if len(found) > most else None
    return read(asked.request, shapes.Alerts(items=items, next=link))


@router.post("/alerts/{serial}/acknowledge", response_model=shapes.Taken, status_code=201,
             responses={200: {"model": shapes.Taken, "description": "It was taken in hand before, with this id."},
                        **shown(400, 401, 403, 404, 409, 413, 415, 422, 429, 503)},
             openapi_extra=contents(shapes.Taking), operation_id="acknowledge_alert",
             summary="Take an alert in hand", tags=["alerts"])  # fmt: skip
def acknowledge(asked: WithKey, sent: Sent, serial: Annotated[int, Path(ge=1, le=_BIG)]) -> Response:
    """Nobody further is told of it for as long as policy lets it wait; the alert stays live until the log clears it."""
    with asked.looking("alerts") as sight:
        taking = sent.read(shapes.Taking)
        found = table.by_serial(sight.connection, serial)
        if found is None or not sight.key.covers(sight.site(found.machine)):
            raise Problem("not_there", f"There is no alert {serial} for this key. Nothing was saved.")
        before = _before(sight, taking.id, found)
        if before is not None:
            return written(before, new=False)
        person = sight.reporter(taking.reporter, leaders=True)
        site = sight.site(found.machine)
        if not person.leads or not person.at(site):
            raise Problem(
                "not_allowed", "An alert is taken in hand by a supervisor of its site, or an owner. Nothing was saved.",
                code="not_allowed",
            )  # fmt: skip
        if found.cleared_at is not None:
            raise Problem("alert_over", f"Alert {serial} is over ({found.outcome}). Nothing was saved.")
        data = answering.taken(found, sight.fold(found.machine).machine, sight.now)
        draft, by = Draft(taking.id, found.machine, "acknowledged", data), By(person.uuid, person.role, CHANNEL)
    (entry,) = record(sight.house, [draft], by).entries
    taken = shapes.Taken(
        id=entry.id, serial=serial, until=str(data["until"]), recorded_at=at(entry.recorded_at), repeated=entry.repeated
    )
    return written(taken, new=not entry.repeated)


def _before(sight: Looking, id: str, alert: table.Alert) -> shapes.Taken | None:
    """What was answered when this was sent before. The instant until which it is held was worked out then."""
    known = log.find(sight.connection, id)
    if known is None or known.machine != alert.machine or known.kind != "acknowledged":
        return None
    said = read_form(known.bytes).data
    if (said["duty"], said["opened_by"], said["number"]) != (alert.duty, alert.opened_by, alert.number):
        return None
    return shapes.Taken(
        id=id, serial=alert.serial, until=at(parse(said["until"])), recorded_at=at(known.recorded_at), repeated=True
    )
