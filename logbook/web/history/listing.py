"""The machines of a visitor's sites, one line each: where, since when, how many entries, the last, what is late.

Promises that a machine of another site is not in it. What is late is what the clock has raised and not cleared.
"""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection

from logbook.domain.instants import Instant
from logbook.store import alerts, log
from logbook.web.house import House
from logbook.web.who.visitor import Visitor

MOST = 300
"""Machines on one page; who has more searches."""


@dataclass(frozen=True, slots=True)
class Listed:
    """One machine. `late`: the duties whose alerts are live."""

    code: str
    site: str
    site_name: str
    zone: str
    since: Instant | None
    entries: int
    last: Instant
    late: tuple[str, ...]
    retired: bool


def listed(house: House, connection: Connection, visitor: Visitor, search: str) -> list[Listed]:
    """The machines whose plate or site holds what is searched for, in the order of their plates; MOST and one more."""
    register = house.register(connection)
    wanted = search.strip().casefold()
    live: dict[str, list[str]] = {}
    for alert in alerts.live(connection):
        live.setdefault(alert.machine, []).append(alert.duty)
    found: list[Listed] = []
    for code, machine in sorted(register.by_code.items()):
        if len(found) > MOST:
            break
        fold = house.intake.watchman(connection, register, machine.uuid).machine
        site = register.sites.get(fold.site)
        if site is None or not visitor.at(fold.site):
            continue
        if wanted and wanted not in f"{code}\n{site.code}\n{site.name}".casefold():
            continue
        head = log.head(connection, machine.uuid)
        if head is None:
            continue
        found.append(
            Listed(
                code, site.code, site.name, site.zone, fold.commissioned_at, head.seq, head.recorded_at,
                tuple(dict.fromkeys(live.get(machine.uuid, ()))), fold.retired_at is not None,
            )
        )  # fmt: skip
    return found
