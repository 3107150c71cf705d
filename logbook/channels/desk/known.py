"""What the desk must know to read a text: who sent it, the fleet's codes and zones, what is owed."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from logbook.channels.text import Fleet
from logbook.domain.calendar import zone
from logbook.domain.instants import Instant
from logbook.domain.machine import Machine
from logbook.domain.owed import owed_now
from logbook.domain.people import Person, phone_key
from logbook.domain.register import Register
from logbook.intake import Intake
from logbook.store import log

_PIECE = re.compile(r"[A-Z0-9]+")


def sender(register: Register, address: str) -> Person | None:
    """The person whose number or mail address this is, if they may report."""
    person = None
    if "@" in address:
        person = register.person_by_email(address)
    else:
        try:
            person = register.person_by_phone(phone_key(address))
        except ValueError:
            return None
    return person if person is not None and person.reports else None


def _names_one(text: str, register: Register) -> bool:
    """Whether a code of the fleet stands in a text, in one piece or in two."""
    pieces = _PIECE.findall(text.upper())
    return any(piece in register.by_code for piece in (*pieces, *map("".join, pairwise(pieces))))


class Known:
    """The register and the machines as one text needs them."""

    def __init__(self, intake: Intake) -> None:
        self._intake = intake

    def fold(self, connection: Connection, register: Register, machine: str) -> Machine | None:
        """A machine as it is now; None if it has no log yet."""
        if log.head(connection, machine) is None:
            return None
        return self._intake.watchman(connection, register, machine).machine

    def codes(self, register: Register, person: Person) -> list[str]:
        """The plates in service at a person's sites."""
        with self._intake.store.read() as connection:
            found = []
            for uuid_, machine in register.machines.items():
                fold = self.fold(connection, register, uuid_)
                if fold is not None and fold.retired_at is None and fold.in_service and person.at(fold.site):
                    found.append(machine.code)
            return sorted(found)

    def _lone(self, connection: Connection, register: Register, person: Person, at: Instant) -> str | None:
        """The one machine in service at the sender's sites; None if there are more, or policy wants its code said."""
        mine: list[tuple[str, str, str]] = []
        for uuid_, machine in register.machines.items():
            fold = self.fold(connection, register, uuid_)
            if fold is not None and fold.retired_at is None and fold.in_service and person.at(fold.site):
                mine.append((machine.code, uuid_, fold.site))
                if len(mine) > 1:  # with a large fleet before one, the answer comes after two machines
                    return None
        return next((code for code, name, site in mine if register.policy(name, site, at).flag("lone_machine")), None)

    def fleet(
        self, connection: Connection, register: Register, person: Person | None, at: Instant, text: str = ""
    ) -> Fleet:
        """What reading needs, for this sender; a stranger must name the machine, and is read in the fleet's language.

        `text`: one that names a machine leaves no code out, so that nobody need look for the only one.
        """
        lone = None
        if person is not None and not _names_one(text, register):
            lone = self._lone(connection, register, person, at)
        sites = person.sites if person is not None else ()
        own = next((register.zone(site, at) for site in (*sites, *register.sites) if site in register.sites), None)

        def zone_of(code: str) -> ZoneInfo:
            with self._intake.store.read() as inner:
                fold = self.fold(inner, register, register.by_code[code].uuid)
            return register.zone(fold.site, at) if fold is not None and fold.site else own or zone("UTC")

        language = person.language if person is not None else register.language
        return Fleet(frozenset(register.by_code), zone_of, lone, language, own or zone("UTC"))

    def owed(self, register: Register, codes: Sequence[str]) -> dict[str, list[str]]:
        """The duties owed now, by plate."""
        owed = {}
        with self._intake.store.read() as connection:
            for code in codes:
                machine = register.by_code[code].uuid
                watchman = self._intake.watchman(connection, register, machine)
                now = max(self._intake.clock(), watchman.now)
                owed[code] = [each.duty for each in owed_now(watchman.machine, now)]
        return owed
