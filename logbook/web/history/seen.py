"""A machine's history as one visitor sees it at one moment: everything that its page, its exports and its print show.

Promises that all of it is the effective history known at that moment, and that it holds nobody's name. It reads, and
leaves the drawing to the template.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import Connection

from logbook.domain.history_rows import Row, Told, rows
from logbook.domain.instants import Instant
from logbook.domain.register import MachineRecord, Register
from logbook.domain.reporting import Folded, Judged, alarms, ended_by, fold, judged
from logbook.domain.wallclock import zone
from logbook.intake.reading import told_of
from logbook.store import log, words
from logbook.web import ground
from logbook.web.history import nights as nightly
from logbook.web.history.asked import Asked, chosen
from logbook.web.history.weeks import Year, year
from logbook.web.house import House
from logbook.web.who.visitor import Visitor


@dataclass(frozen=True, slots=True)
class Seen:
    """`now`: the moment known. `past`: whether somebody asked for it. `rows`: what was recorded by then, marked.

    `head`: the hash of the last entry known, which stands for all before it. `mine`: ids of the visitor's own entries.
    """

    machine: MachineRecord
    register: Register
    now: Instant
    past: bool
    site: str
    folded: Folded
    judged: tuple[Judged, ...]
    rows: tuple[Row, ...]
    head: str
    mine: frozenset[str]

    @property
    def zone(self) -> str:
        """The name of the zone where the machine stands."""
        return self.zone_of(self.folded.machine.site or self.site)

    def zone_of(self, site: str) -> str:
        """The name of a site's zone."""
        known = self.register.sites.get(site)
        return known.zone if known is not None else "UTC"

    def place(self, at: Instant) -> str:
        """The zone of the site where the machine stood at an instant; before it was commissioned, of its first."""
        site = ""
        for entry in self.folded.entries:
            if entry.kind in ("commissioned", "moved"):
                if site and entry.occurred_at > at:
                    break
                site = entry.data["site"]
        return self.zone_of(site or self.site)

    @property
    def gap(self) -> int | None:
        """The first number that is missing from the log, or None."""
        for number, row in enumerate(self.rows, 1):
            if row.told.seq != number:
                return number
        return None

    @property
    def meter(self) -> int | None:
        """The hour meter's last reading, in seconds, or None."""
        for entry in reversed(self.folded.entries):
            reading = entry.data.get("meter_s") if entry.data else None
            if reading is not None:
                return int(reading)
        return None

    def nights(self, wanted: Asked) -> list[nightly.Night]:
        """The nights that were asked for."""
        last = nightly.night_of(self.now, zone(self.zone))
        if wanted.until:
            last = min(last, date.fromisoformat(wanted.until))
        return nightly.nights(self.folded, self.judged, self.place, zone, self.now, last, wanted.nights)

    def year(self) -> Year:
        """The duties by weeks."""
        return year(self.judged, zone(self.zone), self.now)

    def departed(self) -> frozenset[str]:
        """Ids of the entries that ended a duty late."""
        late = {(each.duty.duty, each.duty.ended_at) for each in self.judged if each.word == "late"}
        kinds: dict[tuple[str, Instant], bool] = {}
        for duty, at in late:
            if at is not None:
                kinds.update(((kind, at), True) for kind in ended_by(duty))
        return frozenset(row.told.id for row in self.rows if (row.told.kind, row.told.occurred_at) in kinds)

    def exported(self, wanted: Asked) -> list[Row]:
        """What an export holds: all that was recorded, or the effective history where a moment was asked for."""
        return chosen(self.effective() if self.past else list(self.rows), wanted, zone(self.zone), self.departed())

    def effective(self) -> list[Row]:
        """The effective history: what was struck left out, in the order of happening."""
        left = [row for row in self.rows if row.struck_by is None]
        return sorted(left, key=lambda row: (row.told.occurred_at, row.told.seq))


def machine_of(
    house: House, connection: Connection, visitor: Visitor, code: str
) -> tuple[MachineRecord, Register, str]:
    """The machine on whose plate this code stands, and its site now. Raises NotYours if it is not the visitor's."""
    register, machine, fold = ground.machine_of(house, connection, visitor.person, code)
    return machine, register, fold.site


def seen(
    house: House, connection: Connection, visitor: Visitor, machine: MachineRecord, register: Register, site: str,
    known_at: Instant | None,
) -> Seen:  # fmt: skip
    """The history known at a moment, else now. A cleaner's holds their own entries alone; the folds know all."""
    told = told_of(connection, machine.uuid, register)
    latest = told[-1].recorded_at if told else 0
    now = max(house.now(), latest) if known_at is None else known_at
    known = [each for each in told if each.recorded_at <= now]
    folded = fold(house.intake.book(register, machine.uuid), known, now)
    last = next(log.by_seq(connection, machine.uuid, known[-1].seq - 1), None) if known else None
    reporter = words.reporter_of(connection, machine.uuid, visitor.person.uuid)
    mine = frozenset(each.id for each in known if reporter is not None and each.reporter == reporter)
    return Seen(
        machine, register, now, known_at is not None, site, folded,
        tuple(judged(folded, alarms(known, now), now)),
        tuple(_rows(known, register, machine)),
        "" if last is None else last.hash, mine,
    )  # fmt: skip


def _rows(told: Sequence[Told], register: Register, machine: MachineRecord) -> list[Row]:
    return rows(told, lambda site, at: register.policy(machine.uuid, site, at).late_after)
