"""Founding a fleet, and applying a fleet file: only what differs becomes entries.

Promises that applying a file twice adds nothing the second time, and that a new machine's plate and its own log
begin in one transaction.
"""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection

from logbook.domain import fleetentries
from logbook.domain.fleetfile import FleetFile
from logbook.intake.drafts import PROGRAM, By, Draft
from logbook.intake.record import Intake
from logbook.store import log, meta
from logbook.store.registry import FLEET


@dataclass(frozen=True, slots=True)
class Applied:
    """What applying a file did: entries added to the fleet's log by kind and subject, machines commissioned."""

    entries: tuple[tuple[str, str], ...]
    commissioned: tuple[str, ...]


def apply(intake: Intake, file: FleetFile, by: By = PROGRAM) -> Applied:
    """Append what the file says and the log does not. Raises FleetFileError or door.Refused; nothing was saved then."""

    def job(connection: Connection) -> Applied:
        if meta.of(connection, FLEET) is None:
            fleet = intake.new_id()
            log.create(connection, fleet, "fleet", None)
            meta.put(connection, FLEET, fleet)
        fleet = intake.registry.fleet(connection)
        register = intake.registry.current(connection)
        wanted = fleetentries.identify(fleetentries.differences(file, register), intake.new_id)
        starts = fleetentries.commissionings(file, register)
        # The founding names the origin, which every entry's bytes carry: it goes first, by itself.
        founding = [each for each in wanted if each.kind == "fleet_founded"]
        rest = [each for each in wanted if each.kind != "fleet_founded"]
        for some in (founding, rest):
            if some:
                intake.write(connection, [Draft(intake.new_id(), fleet, each.kind, each.data) for each in some], by)
        register = intake.registry.current(connection)
        for start in starts:
            uuid = register.by_code[start.code].uuid
            log.create(connection, uuid, "machine", start.code)
            data = {**start.data, "code": start.code}
            intake.write(connection, [Draft(intake.new_id(), uuid, "commissioned", data, start.occurred_at)], by)
        for machine in register.machines.values():
            log.set_code(connection, machine.uuid, machine.code)
        return Applied(tuple((each.kind, each.key) for each in wanted), tuple(start.code for start in starts))

    try:
        done = intake.store.write(job)
    except BaseException:
        # What the job had told the register was not kept.
        intake.registry.forget()
        raise
    intake.woken(intake.clock())
    return done
