"""What a text asks for instead of reporting: take it back, take an alert in hand, join, accept somebody, opt out.

Each becomes drafts of entries, or is refused; the desk records them. Nothing is remembered between two texts.
"""

from __future__ import annotations

from typing import Any

from logbook.channels.desk.known import Known
from logbook.channels.desk.message import Message, id_of
from logbook.domain import door
from logbook.domain.people import Person
from logbook.domain.register import Register
from logbook.intake import Draft, Intake, answering
from logbook.intake.joining import joining
from logbook.store import alerts, heard, log


class Orders:
    """Turns what is asked into drafts. Every method raises door.Refused where it cannot be done."""

    def __init__(self, intake: Intake, known: Known) -> None:
        self._intake = intake
        self._known = known

    def undo(self, message: Message, code: str | None, register: Register) -> list[Draft]:
        """Strike what the sender's last text said, on one machine if it is named, while it is not too late."""
        machine = register.by_code[code].uuid if code is not None else None
        with self._intake.store.read() as connection:
            struck: dict[str, frozenset[str]] = {}
            for row in heard.latest(connection, message.sender):
                if row.outcome != "saved":
                    continue
                found = [entry for entry in (log.find(connection, id_) for id_ in row.entries) if entry is not None]
                found = [entry for entry in found if machine in (None, entry.machine)]
                for entry in found:
                    struck.setdefault(entry.machine, log.struck(connection, entry.machine))
                left = [entry for entry in found if entry.id not in struck[entry.machine]]
                if not left:
                    continue
                fold = self._known.fold(connection, register, left[0].machine)
                if (
                    fold is None
                    or row.received_at + fold.policy(message.at).duration("undo_within").micros < message.at
                ):
                    break
                return [
                    Draft(id_of(message, number), entry.machine, "void", {"entry": entry.id})
                    for number, entry in enumerate(left)
                ]
        raise door.Refused("nothing_to_undo", "There is no text of yours to take back.")

    def seen(self, message: Message, serial: int, person: Person, register: Register) -> Draft:
        """Take an alert in hand for as long as policy lets it wait."""
        with self._intake.store.read() as connection:
            found = alerts.by_serial(connection, serial)
            fold = self._known.fold(connection, register, found.machine) if found is not None else None
        if found is None or found.cleared_at is not None or fold is None:
            raise door.Refused("no_alert", "There is no such alert any more.")
        if not person.leads or not person.at(fold.site):
            raise door.Refused("not_allowed", "That alert is for the supervisor of its site.")
        return Draft(id_of(message, 0), found.machine, "acknowledged", answering.taken(found, fold, message.at))

    def opt(self, message: Message, control: str, person: Person) -> Draft:
        """Out or in, for the way by which the text came."""
        way = "mail" if message.channel == "mail" else "text"
        return self._of_fleet(message, f"opted_{control.removeprefix('opt_')}", {"person": person.uuid, "way": way})

    def decide(self, message: Message, control: str, number: str, person: Person, register: Register) -> Draft:
        """A supervisor's yes or no about whoever waits under this number, or these last digits of one."""
        digits = number.lstrip("+")
        found = [
            each for each in register.people.values()
            if each.state == "unconfirmed" and each.phone is not None and each.phone.endswith(digits)
        ]  # fmt: skip
        # Nobody is let in by a guess: digits that could be two people's are nobody's.
        if len(found) != 1:
            raise door.Refused("nobody_waiting", "Nobody with that number waits for an answer.")
        if not any(person.at(site) for site in found[0].sites):
            raise door.Refused("not_allowed", "That is for the supervisor of their site.")
        kind = "accepted" if control == "accept" else "set_aside"
        return self._of_fleet(message, kind, {"person": found[0].uuid})

    def join(self, message: Message, word: str, name: str) -> tuple[Draft, str, str]:
        """A stranger gave the plate's word: (the entry, the site, the language they wrote in)."""
        language = "es" if message.text.strip().casefold().startswith("entrar") else "en"
        with self._intake.store.read() as connection:
            draft, site = joining(
                self._intake, connection, id=id_of(message, 0), person=id_of(message, "person"), word=word, name=name,
                phone=message.sender, language=language,
            )  # fmt: skip
        return draft, site, language

    def _of_fleet(self, message: Message, kind: str, data: dict[str, Any]) -> Draft:
        with self._intake.store.read() as connection:
            fleet = self._intake.registry.fleet(connection)
        return Draft(id_of(message, 0), fleet, kind, data)
