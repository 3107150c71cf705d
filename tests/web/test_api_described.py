"""The interface answers as its description says, whatever it is asked: requests made from the description, right and wrong.

The seed is fixed and the number of examples bounded, so that a run is the same each time.
LOGBOOK_HYPOTHESIS=long looks further.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, seed, settings
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    ignored_auth,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
    unsupported_method,
)

from logbook.command.upkeep import audited
from logbook.domain.instants import HOUR
from logbook.web.api.app import make_api
from tests.web.conftest import Pages
from tests.web.test_api import ALL, Asking

EXAMPLES = 400 if os.environ.get("LOGBOOK_HYPOTHESIS") == "long" else 30
CHECKS: list[Any] = [
    not_a_server_error, status_code_conformance, content_type_conformance, response_headers_conformance,
    response_schema_conformance, unsupported_method, ignored_auth,
]  # fmt: skip
PEOPLE, MACHINES = ["own", "lee", "ana"], ["B7H", "B8F"]


def _described() -> dict[str, Any]:
    """The description, with what only a fleet knows: its plates, its people, the serials of its alerts."""
    document = make_api().openapi()
    for path in document["paths"].values():
        for operation in path.values():
            for parameter in operation.get("parameters", []):
                if parameter["name"] == "machine" and parameter["in"] == "path":
                    parameter["schema"] = {"type": "string", "enum": [*MACHINES, "ZZZ"]}
                elif parameter["name"] == "serial":
                    parameter["schema"] = {"type": "integer", "enum": list(range(1, 11))}
    schemas = document["components"]["schemas"]
    for name, schema in schemas.items():
        if name.startswith("Posted_"):
            fields = schema["properties"]
            fields["machine"] = {"enum": MACHINES}
            fields["occurred_at"] = {"enum": [None, "2026-03-02T12:00:00Z", "2027-03-02T12:00:00Z"]}
            fields["data"]["properties"]["corrects"] = {"enum": [None]}
    for name in ("Posting", "Taking"):
        schemas[name]["properties"]["reporter"] = {"enum": PEOPLE}
        schemas[name]["required"].append("reporter")
    schemas["Posting"]["properties"]["entries"]["maxItems"] = 4
    return document


class _Present:
    """The app of the test that runs."""

    app: Any = None

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        await self.app(scope, receive, send)


PRESENT = _Present()
SCHEMA = schemathesis.openapi.from_dict(_described())
SCHEMA.app = PRESENT
OPERATIONS = {each.ok().label: each.ok() for each in SCHEMA.get_all_operations()}
ASKED = [
    (label, mode)
    for label in OPERATIONS
    for mode in GenerationMode
    if (label, mode.value) != ("GET /problems", "negative")
]
"""Nothing can be asked wrongly of an operation that takes nothing, not even a key."""


def _played(pages: Callable[..., Pages]) -> Asking:
    """A logbook in the morning: two machines were put away, and most was left undone."""
    one = Asking(pages())
    stage = one.pages.stage
    stage.tell("B7H", "put_away", charge_pct=64)
    stage.tell("B7H", "fault", note="hose leaks")
    stage.tell("B8F", "put_away", who="kim")
    stage.until(stage.now + 5 * HOUR)
    one.pages.app.state.house = one.pages.house
    one.pages.app.state.api.state.limits.most = 10**9  # how often a key may ask is another test's business
    return one


@dataclass
class Seen:
    """What was answered: how often each status came, and the ids of what is said to be on the disk."""

    statuses: Counter[int] = field(default_factory=Counter)
    kept: set[str] = field(default_factory=set)


def _ask(one: Asking, label: str, mode: GenerationMode, token: str | None) -> Seen:
    """Ask one operation many things, and hold every answer against the description."""
    seen = Seen()
    PRESENT.app = one.pages.app
    headers = {} if token is None else {"Authorization": f"Bearer {token}"}

    @seed(20261125)
    @settings(
        max_examples=EXAMPLES * (3 if label == "POST /entries" else 1) if token else EXAMPLES // 3, deadline=None, database=None,
        phases=[Phase.explicit, Phase.generate], suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(case=OPERATIONS[label].as_strategy(generation_mode=mode))
    def asked(case: Any) -> None:
        answer = case.call(base_url="https://log.ferry.example/api/v1", headers=headers)
        case.validate_response(answer, checks=CHECKS, headers=headers, transport_kwargs={"headers": headers})
        assert answer.headers["content-type"][0].startswith("application/")
        seen.statuses[answer.status_code] += 1
        if answer.status_code in {200, 201} and label.startswith("POST"):
            told = answer.json()
            seen.kept |= {each["id"] for each in told.get("entries", [told])}

    asked()
    return seen


@pytest.mark.parametrize(("label", "mode"), ASKED, ids=lambda each: getattr(each, "value", each))
def test_whatever_is_asked_is_answered_as_described(
    pages: Callable[..., Pages], label: str, mode: GenerationMode
) -> None:  # fmt: skip
    one = _played(pages)
    before = _ids(one)
    seen = _ask(one, label, mode, one.key(*ALL))
    if mode is GenerationMode.POSITIVE:
        assert seen.statuses[201 if label.startswith("POST") else 200], "nothing came through: nothing was shown"
    # What was answered as kept stands there once, and nothing else was added.
    assert Counter(_ids(one)) - Counter(before) == Counter(seen.kept)
    assert audited(one.pages.house.store)["verdict"] == "whole"


@pytest.mark.parametrize(("label", "mode"), ASKED, ids=lambda each: getattr(each, "value", each))
def test_without_a_key_everything_but_the_problems_is_closed(
    pages: Callable[..., Pages], label: str, mode: GenerationMode
) -> None:  # fmt: skip
    one = _played(pages)
    before = _ids(one)
    seen = _ask(one, label, mode, None)
    if mode is GenerationMode.POSITIVE and "/problems" not in label:
        assert set(seen.statuses) == {401}
    assert seen.kept == set()
    assert _ids(one) == before


def _ids(one: Asking) -> list[str]:
    return [row[0] for row in one.pages.stage.read(lambda c: c.exec_driver_sql("select id from entry").all())]
