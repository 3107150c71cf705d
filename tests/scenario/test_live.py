"""The made-up texts, sent to the running program night after night: it must raise what is true, and nothing else.

Here nothing is handed over ready-made: a text goes to the desk, is read there, its entries get the program's own
ids, and the alerts come from the clock and the database.
"""

from __future__ import annotations

import random
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from logbook.bootstrap import Program, program
from logbook.channels.desk import Message
from logbook.domain import instants
from logbook.domain.fleetfile import FleetFile
from logbook.evidence import form
from logbook.intake import By, Draft
from logbook.intake.fleet import apply
from logbook.store import log, migrate
from scenario.book import Entry, Text
from scenario.generate import Nights, make
from scenario.score import score

NIGHTS = 24


class Running:
    """A program that is sent one lot of nights; `ids` says which of its entries is which of the scenario's."""

    def __init__(self, folder: Path, made: Nights) -> None:
        self.made, self.now = made, max(instants.from_datetime(m.commissioned) for m in made.fleet.machines)
        rng = random.Random("live")
        url = f"sqlite:///{folder / 'live.sqlite'}"
        migrate.upgrade(url)
        self.rng = rng
        self.logbook: Program = program(url, now=lambda: self.now, draw=rng.randbytes, ids=self.new_id)
        apply(self.logbook.intake, FleetFile.model_validate(made.fleet.raw))
        self.ids: dict[str, str] = {}
        with self.logbook.store.read() as connection:
            self.register = self.logbook.registry.current(connection)

    def new_id(self) -> str:
        return str(uuid.UUID(int=self.rng.getrandbits(128), version=4))

    def wait(self, until: int) -> None:
        while (following := self.logbook.step(self.now).next_at) is not None and following < until:
            self.now = max(following, self.now + 1)
        self.now = until

    def hear(self, text: Text) -> None:
        answer = self.logbook.desk.take(Message(text.id, "text", text.sender, text.text, self.now))
        assert bool(answer.entries) == bool(text.made or text.undo), (text, answer)
        self.ids.update(zip((entry.id for entry in text.made), answer.entries, strict=False))

    def post(self, entry: Entry) -> None:
        data = {
            key: self.ids.get(value, value) if isinstance(value, str) else value for key, value in entry.data.items()
        }
        person = self.register.person_by_key(entry.reporter)
        assert person is not None
        self.ids[entry.id] = self.new_id()
        machine = self.register.by_code[entry.machine].uuid
        draft = Draft(self.ids[entry.id], machine, entry.kind, data)
        self.logbook.intake.record([draft], By(person.uuid, person.role, entry.channel))

    def lines(self) -> Iterator[dict[str, Any]]:
        """The alerts as the machines' logs hold them, in the form in which `logbook replay` prints them."""
        with self.logbook.store.read() as connection:
            for record in self.register.machines.values():
                for row in log.by_seq(connection, record.uuid):
                    if row.kind in ("alert_raised", "alert_cleared"):
                        data = form.read(row.bytes).data
                        line = {name: data.get(name) for name in ("duty", "opened_by", "number", "due_at", "outcome")}
                        yield {**line, "kind": row.kind, "machine": record.code, "at": instants.text(row.recorded_at)}


@pytest.mark.slow
def test_texts_to_the_running_program_raise_what_is_true(tmp_path: Path) -> None:
    made = make(7, NIGHTS)
    running = Running(tmp_path, made)
    posted = [e for e in made.book.entries if e.channel == "form" and e.kind != "commissioned"]
    happenings: list[tuple[int, Text | Entry]] = [(instants.from_datetime(e.recorded), e) for e in posted]
    happenings += [(instants.from_datetime(text.at), text) for text in made.book.texts]
    until = instants.from_datetime(made.until)
    for at, one in sorted(happenings, key=lambda pair: pair[0]):
        if at > until:
            break
        running.wait(at)
        if isinstance(one, Text):
            running.hear(one)
        else:
            running.post(one)
    running.wait(until + 1)
    found = score(made.truth, running.lines(), by_id=False)
    running.logbook.close()
    assert found.wrong == [], found.table()
