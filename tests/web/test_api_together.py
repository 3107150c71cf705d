"""Posts that come at once share a commit; none harms another, and each is answered with its own."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

import httpx
import pytest

from logbook.command.upkeep import audited
from logbook.store import Store
from logbook.web.api import together
from tests.web.conftest import Pages
from tests.web.test_api import Asking, entry, posting


def at_once(one: Asking, token: str, bodies: list[dict[str, Any]]) -> list[httpx.Response]:
    """Post all of them at the same time, in one event loop, as a server does."""

    async def all_of_them() -> list[httpx.Response]:
        transport = httpx.ASGITransport(app=one.pages.app)
        async with httpx.AsyncClient(transport=transport, base_url="https://log.ferry.example") as client:
            headers = {"authorization": f"Bearer {token}"}
            return await asyncio.gather(
                *(client.post("/api/v1/entries", json=body, headers=headers) for body in bodies)
            )

    return asyncio.run(all_of_them())


@pytest.fixture
def groups(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many shared each commit."""
    seen: list[int] = []
    record = together._record

    def recorded(house: Any, turns: Any) -> None:
        seen.append(len(turns))
        record(house, turns)

    monkeypatch.setattr(together, "_record", recorded)
    return seen


def test_one_that_is_refused_harms_no_other(pages: Callable[..., Pages], groups: list[int]) -> None:
    one = Asking(pages())
    token = one.key("post")
    same = entry()
    bodies = [posting(entry()) for _ in range(12)]
    bodies[3] = posting(entry(), entry(kind="put_away", charge_pct=101))
    bodies[5] = posting(entry(machine="B8F"))
    bodies[7] = posting(entry(), reporter="nobody")
    bodies[8], bodies[9] = posting(same), posting(same)
    bodies[11] = posting(entry(), {**same, "kind": "start"})
    answers = at_once(one, token, bodies)
    assert [each.status_code for each in answers] == [
        201, 201, 201, 422, 201, 403, 201, 422, 201, 200, 201, 409,
    ]  # fmt: skip
    assert max(groups) > 1, "nothing was written together: nothing was shown"
    kept = {body["entries"][0]["id"] for body, answer in zip(bodies, answers, strict=True) if answer.status_code == 201}
    ids = one.pages.stage.read(lambda c: c.exec_driver_sql("select id from entry where kind = 'rinse'").all())
    assert sorted(id_ for (id_,) in ids) == sorted(kept)
    for body, answer in zip(bodies, answers, strict=True):
        if answer.status_code < 300:
            assert answer.json()["entries"][0]["id"] == body["entries"][0]["id"]
    assert audited(one.pages.house.store)["verdict"] == "whole"


def test_what_ends_a_commit_for_all_is_tried_for_each_alone(
    pages: Callable[..., Pages], monkeypatch: pytest.MonkeyPatch
) -> None:
    one = Asking(pages())
    token = one.key("post")
    write = Store.write
    failed: list[str] = []

    def sometimes(self: Store, job: Any) -> Any:
        if job.__qualname__.startswith("_record") and len(failed) < 2:
            failed.append("once")
            raise RuntimeError("a defect that one of them meets")
        return write(self, job)

    one.client.get("/api/v1/kinds", headers={"authorization": f"Bearer {token}"})
    monkeypatch.setattr(Store, "write", sometimes)
    answers = at_once(one, token, [posting(entry()) for _ in range(6)])
    assert [each.status_code for each in answers] == [201] * 6
    assert failed
    assert one.seqs("B7H") == 7
