"""What a program must know to talk to a logbook: the kinds of entry, the numbers in force, the clock, the problems."""

from __future__ import annotations

from functools import cache
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from starlette.responses import Response

from logbook.domain.entries import catalogue
from logbook.domain.policy import KEYS
from logbook.watch.health import health as asked_health
from logbook.web.api import shapes
from logbook.web.api.answers import READ, read
from logbook.web.api.asking import WithKey
from logbook.web.api.machines import READ_PROBLEMS
from logbook.web.api.problems import SORTS, TYPES, Problem, shown
from logbook.web.api.reporting import can_be_posted

router = APIRouter()
_PROBLEMS = {**READ, **shown(401, 429, 503)}


@router.get("/kinds", response_model=shapes.Kinds, responses=_PROBLEMS, operation_id="list_kinds",
            summary="What can be recorded", tags=["about"])  # fmt: skip
def kinds(asked: WithKey) -> Response:
    """Every kind of entry of a machine's log, with the JSON Schema of its data and an example."""
    with asked.looking():
        return read(asked.request, _kinds())


@cache
def _kinds() -> shapes.Kinds:
    return shapes.Kinds(
        items=[
            shapes.KindForm(
                kind=kind.kind, version=kind.version, meaning=kind.meaning, by=sorted(kind.by),
                can_be_posted=can_be_posted(kind), can_be_struck=kind.strikable, private=sorted(kind.private_fields()),
                data_schema=kind.model_json_schema(), example=kind.example,
            )
            for kind in catalogue if kind.log == "machine"
        ]
    )  # fmt: skip


@router.get("/policy", response_model=shapes.Numbers, responses=READ_PROBLEMS, operation_id="read_policy",
            summary="The numbers in force", tags=["about"])  # fmt: skip
def policy(
    asked: WithKey,
    machine: Annotated[str | None, Query(max_length=40, description="As in force for this machine.")] = None,
    site: Annotated[str | None, Query(max_length=40, description="As in force at this site.")] = None,
) -> Response:
    """Every number of policy: as in force for the fleet, a site or a machine, by default, and what it means."""
    with asked.looking("read") as sight:
        uuid, place = "", site or ""
        if machine is not None:
            uuid = sight.machine(machine).uuid
            place = sight.site(uuid)
        elif site is not None and (site not in sight.register.sites or not sight.key.covers(site)):
            raise Problem("not_there", "There is no such site for this key. Look at its sites.")
        force = sight.register.policy(uuid, place, sight.now)
    items = []
    for name, key in KEYS.items():
        value, default = force.values.get(name), key.default
        if key.follows is not None:
            value, default = force.values[key.follows] if value is None else value, KEYS[key.follows].default
        items.append(shapes.Number(key=name, in_force=value, default=default, unit=key.unit, meaning=key.meaning))
    return read(asked.request, shapes.Numbers(items=items))


@router.get("/health", response_model=shapes.Health, responses=_PROBLEMS, operation_id="read_health",
            summary="How the clock is", tags=["about"])  # fmt: skip
def health(asked: WithKey) -> Response:
    """Whether alerts are being raised and sent. A clock that has fallen silent is an alert too."""
    with asked.looking() as sight:
        now = sight.now
    found = asked_health(asked.house.store, now)
    # Which way of sending is held, and why, may name servers and people: that is for the owner's eyes.
    why = "sending is held" if found.held and found.why.startswith("sending") else found.why
    return read(
        asked.request,
        shapes.Health(
            well=found.well, why=why, last_step=found.last_step, step_age_s=found.step_age_s,
            delivery_age_s=found.delivery_age_s, overdue_s=found.overdue_s, waiting=found.waiting,
        ),
    )  # fmt: skip


@router.get("/problems", response_model=shapes.Sorts, responses={**READ}, operation_id="list_problems",
            summary="What can go wrong", tags=["about"])  # fmt: skip
def problems(request: Request) -> Response:
    """Every sort of problem: the answers' `type` points here. Needs no key."""
    return read(request, shapes.Sorts(items=[_explained(name) for name in SORTS]))


@router.get("/problems/{name}", response_model=shapes.Explained, responses={**READ, **shown(404)},
            operation_id="read_problem", summary="One sort of problem", tags=["about"])  # fmt: skip
def problem(request: Request, name: Annotated[str, Path(json_schema_extra={"enum": list(SORTS)})]) -> Response:
    """What a problem's `type` means, and what a program does about it. Needs no key."""
    if name not in SORTS:
        raise Problem("not_there", "There is no such sort of problem; /api/v1/problems lists them.")
    return read(request, _explained(name))


def _explained(name: str) -> shapes.Explained:
    sort = SORTS[name]
    return shapes.Explained(type=TYPES + name, title=sort.title, status=sort.status, do=sort.do)
