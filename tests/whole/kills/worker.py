"""The child that is killed: the real service on a real database, and several people telling it things at once.

`python -m tests.whole.kills.worker` reads one JSON object a line and writes one a line: what it is about to tell the
logbook, the answer it got, each step that its clock has finished. It keeps nothing of its own. In a small shared
file it marks what it is in the middle of, so that whoever kills it knows what was cut off.
"""

from __future__ import annotations

import asyncio
import json
import mmap
import os
import random
import sys
import threading
import time
from collections import deque
from typing import Any

from logbook.bootstrap import Program, program, real_now
from logbook.channels.desk import Message
from logbook.channels.mail_out import MailRoute, MailSettings
from logbook.domain.instants import Instant
from logbook.intake import By, Draft
from logbook.store import StoreError
from logbook.watch.delivery import Delivery
from logbook.watch.routes import Outcome, Outgoing
from logbook.watch.service import Service
from logbook.watch.step import Stepped
from tests.whole.kills.plan import said

POSTERS = 4
STEP, SENDING, SIZE = POSTERS, POSTERS + 1, 16
"""Places in the file of marks: one a poster, then the clock's and delivery's."""


class _Pipe:
    """Lines to whoever started us. A line is one write, so that it is there wholly or not at all."""

    def __init__(self) -> None:
        self._fd = os.dup(1)
        os.dup2(2, 1)  # whatever else prints, does not print between our lines

    def say(self, **what: Any) -> None:
        line = json.dumps(what, separators=(",", ":")).encode() + b"\n"
        assert len(line) <= 4096, "longer than a pipe takes at once"
        os.write(self._fd, line)


class _Marked(MailRoute):
    """Mail, with a mark from before a message is sent until it has been marked as sent."""

    def __init__(self, settings: MailSettings, marks: mmap.mmap) -> None:
        super().__init__(settings)
        self._marks = marks

    async def send(self, message: Outgoing) -> Outcome:
        self._marks[SENDING] = 1
        return await super().send(message)


class Worker:
    """One life."""

    def __init__(self, pipe: _Pipe, orders: dict[str, Any]) -> None:
        self.pipe = pipe
        self.orders = orders
        with open(orders["marks"], "r+b") as file:  # noqa: PTH123
            self.marks = mmap.mmap(file.fileno(), SIZE)
        self.program: Program = program(orders["url"])
        self.again: deque[dict[str, Any]] = deque(orders["again"])
        self.posting = bool(orders["post"])
        settings = MailSettings(
            host="127.0.0.1", port=orders["port"], security="none", from_address="logbook@kittiwake.example"
        )
        route = _Marked(settings, self.marks)
        self.delivery: Delivery = self.program.delivery([route], by=orders["name"], alone=True)
        settle = self.delivery._settle

        async def settled(*arguments: Any) -> Any:
            try:
                return await settle(*arguments)
            finally:
                self.marks[SENDING] = 0

        self.delivery._settle = settled  # type: ignore[method-assign,assignment]
        self.service = Service(
            self.program.store, self.program.intake, self._step, self.delivery, real_now, pulse=5_000_000
        )
        self.loop: asyncio.AbstractEventLoop | None = None

    # -- the clock ----------------------------------------------------------------------------------------------

    def _step(self, now: Instant) -> Stepped:
        self.marks[STEP] = 1
        try:
            done = self.program.step(now)
        finally:
            self.marks[STEP] = 0
        self.pipe.say(step=now, ended=real_now(), raised=done.raised, cleared=done.cleared, queued=done.messages)
        return done

    # -- people -------------------------------------------------------------------------------------------------

    def post(self, number: int) -> None:
        """Tell one thing after another; first what nobody had an answer to in a former life."""
        rng = random.Random(f"{self.orders['seed']} {number}")
        while True:
            try:
                what = self.again.popleft()
            except IndexError:
                if not self.posting:
                    return
                what = said(rng, real_now())
            self.pipe.say(ask=what)
            self.marks[number] = 1
            try:
                outcome, entries = self._tell(what)
            except StoreError as why:
                self.pipe.say(trouble=str(why), id=what["id"])
            else:
                self.pipe.say(answer=what["id"], outcome=outcome, entries=entries)
            self.marks[number] = 0
            time.sleep(rng.random() * self.orders["rest"])

    def _tell(self, what: dict[str, Any]) -> tuple[str, list[str]]:
        if what["way"] == "text":
            answer = self.program.desk.take(Message(what["id"], "text", what["who"], what["text"], what["at"]))
            return answer.outcome, list(answer.entries)
        with self.program.store.read() as connection:
            register = self.program.registry.current(connection)
        person = register.person_by_key(what["who"])
        assert person is not None
        draft = Draft(what["id"], register.by_code[what["machine"]].uuid, what["kind"], {}, what["at"])
        receipt = self.program.intake.record([draft], By(person.uuid, person.role, "form"))
        return "saved", [entry.id for entry in receipt.entries]

    # -- a life -------------------------------------------------------------------------------------------------

    def live(self) -> None:
        posters = [threading.Thread(target=self.post, args=(number,), daemon=True) for number in range(POSTERS)]

        def ready() -> None:
            self.loop = asyncio.get_running_loop()
            self.pipe.say(ready=real_now())
            for poster in posters:
                poster.start()
            threading.Thread(target=listen, daemon=True).start()

        def listen() -> None:
            for line in sys.stdin:
                if json.loads(line) == "quiet":
                    self.posting = False
                    for poster in posters:
                        poster.join()
                    self.pipe.say(quiet=real_now())
            assert self.loop is not None
            self.loop.call_soon_threadsafe(self.service.stop)

        asyncio.run(self.service.run(signals=False, ready=ready))
        self.program.close()
        clock, mail = self.service._clock.failures, self.delivery.failures
        self.pipe.say(ended=real_now(), clock_failures=clock, mail_failures=mail)


def main() -> None:
    """Be ready, wait for the orders, live."""
    pipe = _Pipe()
    pipe.say(imported=True)
    line = sys.stdin.readline()
    if line:
        Worker(pipe, json.loads(line)).live()


if __name__ == "__main__":
    main()
