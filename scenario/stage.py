"""Plays scripts on the real program: intake, text grammar, clock and messages, on a scratch database.

The one file of the scenario's stories that knows the program. Its clock is the script's: nothing waits, and what the
clock writes carries the instant at which it acted. Machines enter the log at noon of the script's first day, so that
nothing is owed from before.
"""

from __future__ import annotations

import random
import tomllib
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, time
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from logbook.bootstrap import Program, program
from logbook.channels.desk import Message
from logbook.domain import instants
from logbook.domain.fleetfile import FleetFile
from logbook.intake import By, Draft
from logbook.intake.fleet import apply
from logbook.store import alerts, migrate, outbox
from logbook.store import notices as shelf
from scenario.play import Happened, Reply, Told
from scenario.script import Script


class LiveStage:
    """A program on a database of its own. `ids` and chance come from the script's name, so a play is repeatable."""

    def __init__(self, url: str, script: Script, folder: Path) -> None:
        raw = tomllib.loads((folder / script.fleet).read_text(encoding="utf-8"))
        fleet = chosen(raw, script)
        self.zone = ZoneInfo(next(site["zone"] for site in fleet["site"] if site["code"] == script.sites[0]))
        noon = datetime.combine(script.day, time(12), self.zone)
        for machine in fleet["machine"]:
            machine["commissioned_at"] = noon.isoformat()
        self._rng = random.Random(script.file)
        self._now = instants.from_datetime(noon)
        migrate.upgrade(url)
        self.program: Program = program(url, now=lambda: self._now, draw=self._rng.randbytes, ids=self._new_id)
        self._ordered: dict[str, str] = {}
        apply(self.program.intake, FleetFile.model_validate(fleet))

    def _new_id(self) -> str:
        return str(uuid.UUID(int=self._rng.getrandbits(128), version=4))

    def close(self) -> None:
        """Let go of the database."""
        self.program.close()

    # ------------------------------------------------------------ acting

    def text(self, sender: str, text: str, at: datetime) -> Reply:
        """A text arrives."""
        self._now = instants.from_datetime(at)
        answer = self.program.desk.take(Message(self._new_id(), "text", sender, text, self._now))
        self.program.step(self._now)
        return Reply(bool(answer.entries), answer.reply)

    def enter(self, person: str, kind: str, machine: str, data: dict[str, str], at: datetime) -> None:
        """Somebody enters something. An excuse finds the duty that stands; a delivery, the latest order."""
        self._now = instants.from_datetime(at)
        with self.program.store.read() as connection:
            register = self.program.registry.current(connection)
            who = register.person_by_key(person)
            log_of = register.by_code[machine].uuid
            live = alerts.live(connection, log_of)
        if who is None:
            raise LookupError(f"there is no person {person!r} in this fleet file")
        given: dict[str, Any] = {key: int(value) if value.isdigit() else value for key, value in data.items()}
        if kind == "excused" and "opened_by" not in given:
            given["opened_by"] = next(alert.opened_by for alert in live if alert.duty == given["duty"])
        if kind == "received" and "order" not in given:
            given["order"] = self._ordered[machine]
        entry = self._new_id()
        if kind == "ordered":
            self._ordered[machine] = entry
        self.program.intake.record([Draft(entry, log_of, kind, given)], By(who.uuid, who.role, "form"))
        self.program.step(self._now)

    def wait(self, until: datetime) -> None:
        """A clock that never sleeps: it acts whenever it asked to be woken, up to but not at the end."""
        end = instants.from_datetime(until)
        while (following := self.program.step(self._now).next_at) is not None and following < end:
            self._now = max(following, self._now + 1)
        self._now = end

    # ------------------------------------------------------------ looking

    def alerts(self) -> list[Happened]:
        """Raised and cleared alerts, from the machines' logs."""
        found: list[tuple[int, Happened]] = []
        with self.program.store.read() as connection:
            register = self.program.registry.current(connection)
            for record in register.machines.values():
                for alert in alerts.of_machine(connection, record.uuid):
                    found.append((alert.raised_at, _happened(record.code, alert.duty, alert.raised_at, None)))
                    if alert.cleared_at is not None:
                        found.append(
                            (alert.cleared_at, _happened(record.code, alert.duty, alert.cleared_at, alert.outcome))
                        )
        return [one for _at, one in sorted(found, key=lambda pair: pair[0])]

    def messages(self) -> list[Told]:
        """What was queued for people, with what it is about."""
        with self.program.store.read() as connection:
            register = self.program.registry.current(connection)
            people = {uuid_: person.key for uuid_, person in register.people.items()}
            codes = {record.uuid: record.code for record in register.machines.values()}
            found = [
                Told(
                    instants.to_datetime(one.queued_at), people[one.person or ""] or "", one.kind,
                    frozenset((codes[n.machine], n.duty) for n in shelf.in_message(connection, one.id)),
                    one.subject, one.body,
                )
                for one in outbox.latest(connection, 10_000)
            ]  # fmt: skip
        return sorted(found, key=lambda told: told.at)


def _happened(code: str, duty: str, at: int, outcome: str | None) -> Happened:
    return Happened(instants.to_datetime(at), code, duty, outcome)


@contextmanager
def stage(script: Script, folder: Path, scratch: Path) -> Iterator[LiveStage]:
    """A stage for one script, its fleet file looked for in `folder` and its database made in `scratch`."""
    made = LiveStage(f"sqlite:///{scratch / 'stage.sqlite'}", script, folder)
    try:
        yield made
    finally:
        made.close()


def chosen(raw: dict[str, Any], script: Script) -> dict[str, Any]:
    """The fleet file, less the sites and machines that the script does not speak of. Raises LookupError."""
    sites = [site for site in raw["site"] if site["code"] in script.sites]
    machines = [
        dict(machine)
        for machine in raw["machine"]
        if machine["site"] in script.sites and (not script.machines or machine["code"] in script.machines)
    ]
    missing = set(script.sites) - {site["code"] for site in sites}
    missing |= set(script.machines) - {machine["code"] for machine in machines}
    if missing:
        raise LookupError(f"{script.file}: {script.fleet} has no {', '.join(sorted(missing))} to play this on")
    people = []
    for person in raw["person"]:
        here = [site for site in person.get("sites", script.sites) if site in script.sites]
        if here:
            people.append({**person, "sites": here} if "sites" in person else dict(person))
    return {**raw, "site": sites, "machine": machines, "person": people}
