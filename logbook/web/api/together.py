"""Posts that came while the last ones were being written, written as one: the disk is waited for once.

Promises that each is answered only when it is on the disk, that one which is refused harms no other, and that whatever
ends a commit for all is tried once more for each alone. Only with SQLite, which has one writer; PostgreSQL writes in
parallel by itself.

The store gathers what many threads bring; here one thread brings what many connections have. (Measured with 16
clients: a thread a request spent more time on waiting for the interpreter than on the work.)
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from weakref import WeakKeyDictionary

from sqlalchemy import Connection
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from logbook.domain import door
from logbook.intake import Receipt
from logbook.store.apart import apart
from logbook.web.api.asking import Asked, Moment
from logbook.web.api.bodies import Body
from logbook.web.api.problems import Problem
from logbook.web.api.reporting import Prepared, answer, prepared, record, refusal
from logbook.web.house import House

MOST = 64
"""At most so many requests share a commit: the first of them waits for the last."""


@dataclass(slots=True)
class _Turn:
    """One request: what it brings, and then what it is answered."""

    asked: Asked
    sent: Body
    made: Prepared | None = None
    outcome: Response | Exception | None = None


@dataclass
class _Queue:
    """What waits in one event loop. `writing`: the task that writes, while there is one."""

    waiting: deque[tuple[_Turn, asyncio.Future[Response]]] = field(default_factory=deque)
    writing: asyncio.Task[None] | None = None


@dataclass
class Together:
    """Takes posts from any event loop. `most`: so many may share a commit."""

    most: int = MOST
    _queues: WeakKeyDictionary[asyncio.AbstractEventLoop, _Queue] = field(default_factory=WeakKeyDictionary)

    async def post(self, asked: Asked, sent: Body) -> Response:
        """Record what was sent; answers when it is on the disk. Raises Problem, or StoreError."""
        if not asked.house.store.is_sqlite:
            return await run_in_threadpool(_counted, asked, sent)
        loop = asyncio.get_running_loop()
        queue = self._queues.setdefault(loop, _Queue())
        future: asyncio.Future[Response] = loop.create_future()
        queue.waiting.append((_Turn(asked, sent), future))
        if queue.writing is None:
            queue.writing = loop.create_task(self._write(queue))
        return await future

    async def _write(self, queue: _Queue) -> None:
        try:
            while queue.waiting:
                some = [queue.waiting.popleft() for _ in range(min(self.most, len(queue.waiting)))]
                await run_in_threadpool(_all, [turn for turn, _future in some])
                for turn, future in some:
                    if future.done():
                        continue  # whoever asked has gone; what they sent is kept
                    if isinstance(turn.outcome, Response):
                        future.set_result(turn.outcome)
                    else:
                        future.set_exception(turn.outcome or RuntimeError("a post was passed over"))
        finally:
            queue.writing = None


def _all(turns: Sequence[_Turn]) -> None:
    """Record what several requests bring, in one commit, and give each its outcome. Raises nothing."""
    house = turns[0].asked.house
    try:
        _prepare(house, turns)
        _record(house, [turn for turn in turns if turn.outcome is None])
    except Exception:  # noqa: BLE001 - whatever it was is found again, by whom it concerns
        for turn in turns:
            if turn.outcome is None:
                _try_alone(turn)


def _prepare(house: House, turns: Sequence[_Turn]) -> None:
    """Look through what each brings."""
    for turn in turns:
        try:
            turn.asked.admit()
        except Problem as why:
            turn.outcome = why
    with house.store.read() as connection:
        moment = Moment(house, connection)
        for turn in turns:
            if turn.outcome is None:
                try:
                    turn.made = prepared(turn.asked.sight(moment, "post"), turn.sent)
                except Problem as why:
                    turn.outcome = why


def _record(house: House, turns: Sequence[_Turn]) -> None:
    """Through the door, each apart from the others, all in one transaction."""
    made = [turn.made for turn in turns if turn.made is not None]

    def job(connection: Connection) -> list[Receipt | door.Refused]:
        results: list[Receipt | door.Refused] = []
        for each in made:
            try:
                with apart(connection):
                    results.append(house.intake.write(connection, each.drafts, each.by))
            except door.Refused as why:
                results.append(why)
        return results

    if not made:
        return
    results = house.store.write(job)
    wakes = [each.next_at for each in results if isinstance(each, Receipt) and each.next_at is not None]
    if wakes:
        house.intake.woken(min(wakes))
    for turn, each, result in zip(turns, made, results, strict=True):
        if isinstance(result, Receipt):
            turn.outcome = answer(result, each.codes)
        else:
            turn.outcome = refusal(result, each.drafts)


def _try_alone(turn: _Turn) -> None:
    try:
        with turn.asked.house.store.read() as connection:
            made = prepared(turn.asked.sight(Moment(turn.asked.house, connection), "post"), turn.sent)
        turn.outcome = answer(record(turn.asked.house, made.drafts, made.by), made.codes)
    except Exception as why:  # noqa: BLE001 - told to whoever asked
        turn.outcome = why


def _counted(asked: Asked, sent: Body) -> Response:
    """One request in a transaction of its own."""
    with asked.looking("post") as sight:
        made = prepared(sight, sent)
    return answer(record(asked.house, made.drafts, made.by), made.codes)
