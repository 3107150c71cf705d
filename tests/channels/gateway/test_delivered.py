"""Texts out through the queue, and what the gateway says of them afterwards: delivery, route and receipts together."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from functools import partial
from typing import Any

import pytest
from sqlalchemy import Connection

from logbook.channels.gateway.incoming import make_app
from logbook.channels.gateway.outgoing import TextRoute
from logbook.channels.gateway.request import Outward
from logbook.domain.instants import MINUTE, Instant
from logbook.store import confirmations, outbox
from logbook.watch.delivery import Delivery
from tests.channels.gateway.playing import HANG_UP, NOW, Carrier, answer, poster, receipt_of, serving, settings
from tests.whole.stage import Stage


@pytest.fixture
def stage(make: Any) -> Stage:
    made: Stage = make(routes=("mail", "text"))
    made.now = NOW
    return made


def _queue(stage: Stage, number: int) -> str:
    message = outbox.Message(
        id=f"q{number}", message_id=f"<q{number}@log.ferries.example>", person=stage.person("kim"), route="text",
        address="+17095550112", kind="answer", subject="", body=f"B8F 05:12 rinsed ({number}).", queued_at=NOW,
        ready_at=NOW,
    )  # fmt: skip
    assert stage.program.store.write(lambda connection: outbox.queue(connection, message))
    return message.id


def _delivered(stage: Stage, carrier: Carrier, at: Instant, then: Callable[[Delivery], None] | None = None) -> Any:
    async def main() -> Any:
        async with carrier.open() as port:
            outward = Outward(
                url=f"http://127.0.0.1:{port}/m", body={"to": "{to}", "text": "{text}", "key": "{id}"},
                reference="id", confirms=True, timeout=5,
            )  # fmt: skip
            route = TextRoute(outward, now=lambda: at)
            delivery = stage.program.delivery([route], by="tests")
            report = await delivery.once(at)
            if then is not None:
                await asyncio.to_thread(then, delivery)
            return report

    return asyncio.run(main())


def _known(stage: Stage, id: str) -> confirmations.Confirmation | None:
    def look(connection: Connection) -> confirmations.Confirmation | None:
        return confirmations.of(connection, id)

    found: confirmations.Confirmation | None = stage.read(look)
    return found


def test_receipts_find_the_messages_they_speak_of(stage):
    ids = [_queue(stage, number) for number in range(3)]
    carrier = Carrier([answer(201, b'{"id": "g-%d"}' % number) for number in range(3)])

    def then(delivery: Delivery) -> None:
        app = make_app(settings(), stage.program.desk.take, partial(delivery.receipt, "text"), now=lambda: NOW)
        with serving(app) as port, poster(port) as post:
            for reference, state in (("g-0", "delivered"), ("g-1", "failed"), ("g-2", "queued"), ("g-9", "delivered")):
                assert post(receipt_of(reference, state, why="why"), "/receipts").status_code == 200

    report = _delivered(stage, carrier, NOW, then)
    assert (report.sent, len(carrier.asked)) == (3, 3)
    by_reference = {known.reference: known for known in (_known(stage, id) for id in ids) if known is not None}
    assert {name: (known.arrived, known.detail) for name, known in by_reference.items()} == {
        "g-0": (1, "delivered why"), "g-1": (0, "failed why"), "g-2": (None, None),
    }  # fmt: skip
    assert by_reference["g-2"].confirm_by is not None


def test_a_gateway_that_is_away_costs_nobody_a_text(stage):
    id = _queue(stage, 1)
    carrier = Carrier([answer(503, b""), HANG_UP, answer(201, b'{"id": "g-1"}')])
    reports = [_delivered(stage, carrier, NOW + minutes * MINUTE) for minutes in (0, 60, 180)]
    assert [report.sent for report in reports] == [0, 0, 1]
    assert len({asked.json["key"] for asked in carrier.asked}) == 1
    found = stage.read(lambda connection: outbox.find(connection, id))
    assert found.state == "sent"


def test_a_bad_token_holds_the_queue_and_a_good_one_lets_it_go(stage):
    _queue(stage, 1)
    carrier = Carrier([answer(401, b""), answer(401, b""), answer(400, b"to is missing"), answer(201)])
    first = _delivered(stage, carrier, NOW)
    assert first.held == {"text": "the gateway answered 401"}
    second = _delivered(stage, carrier, NOW + 6 * MINUTE)
    assert (second.held, second.sent) == ({"text": "the gateway answered 401"}, 0)
    third = _delivered(stage, carrier, NOW + 12 * MINUTE)
    fourth = _delivered(stage, carrier, NOW + 13 * MINUTE)
    assert (third.released, third.sent + fourth.sent) == (["text"], 1)
    # Twice it was tried without a number: nobody got a text that was not theirs.
    assert [asked.json["to"] for asked in carrier.asked] == ["+17095550112", "", "", "+17095550112"]
