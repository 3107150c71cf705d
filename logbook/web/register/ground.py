"""What the Register's forms stand on: the visitor's machines, the state a form was made from, and saving.

Promises that a form saves all of its entries or none; that sent twice it saves once; that it is refused if the thing
it changes was changed since the form was made; and that a thing of another site is, to a supervisor, not there.
"""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, is_dataclass
from typing import Any

from sqlalchemy import Connection
from starlette.datastructures import FormData

from logbook.domain.machine import Machine
from logbook.domain.people import Person
from logbook.domain.register import MachineRecord, Register
from logbook.domain.wording.mark import mark
from logbook.intake import Draft
from logbook.store import log
from logbook.web.forms import text
from logbook.web.house import House
from logbook.web.who.visitor import NotYours, Visitor

MEANWHILE = mark(
    "Somebody changed this meanwhile. Nothing was saved. Below is what stands now; what you had entered is beside it."
)


class Meanwhile(Exception):
    """What a form changes was changed since the form was made. Nothing was saved."""


@dataclass(frozen=True, slots=True)
class Known:
    """A machine as its plate and its own log tell of it."""

    record: MachineRecord
    fold: Machine

    @property
    def code(self) -> str:
        """What stands on its plate."""
        return self.record.code

    @property
    def site(self) -> str:
        """Where it is."""
        return self.fold.site


def machines_of(house: House, connection: Connection, who: Visitor) -> dict[str, Known]:
    """The machines at the visitor's sites by code, those retired included."""
    register = house.register(connection)
    found = {}
    for code, record in sorted(register.by_code.items()):
        fold = house.intake.watchman(connection, register, record.uuid).machine
        if who.at(fold.site):
            found[code] = Known(record, fold)
    return found


def machine_of(house: House, connection: Connection, who: Visitor, code: str) -> Known:
    """One machine at the visitor's sites. Raises NotYours."""
    register = house.register(connection)
    record = register.by_code.get(code)
    if record is None:
        raise NotYours
    fold = house.intake.watchman(connection, register, record.uuid).machine
    if not who.at(fold.site):
        raise NotYours
    return Known(record, fold)


def sites_of(register: Register, who: Visitor) -> dict[str, str]:
    """Code -> name of the visitor's sites, by name."""
    return {s.code: s.name for s in sorted(register.sites.values(), key=lambda s: s.name.casefold()) if who.at(s.code)}


def person_of(register: Register, who: Visitor, id: str) -> Person:
    """Somebody whom the visitor answers for. Raises NotYours."""
    found = register.people.get(id)
    if found is None or not (who.person.answers_for(found)):
        raise NotYours
    return found


def state(thing: Any) -> str:
    """A short sign of a thing as it stands: another sign, another state."""
    plain = asdict(thing) if is_dataclass(thing) and not isinstance(thing, type) else thing
    return hashlib.sha256(_steady(plain).encode()).hexdigest()[:20]


def _steady(thing: Any) -> str:
    if isinstance(thing, dict):
        return repr(sorted((str(name), _steady(value)) for name, value in thing.items()))
    return repr(sorted(map(str, thing))) if isinstance(thing, set | frozenset) else repr(thing)


def form_id(fields: FormData) -> uuid.UUID:
    """The id that the form was given. Raises NotYours for what is none."""
    try:
        return uuid.UUID(text(fields, "id", 40))
    except ValueError:
        raise NotYours from None


def part(first: uuid.UUID, name: str) -> str:
    """The id of a further entry, or thing, of the same form: it follows from the form's."""
    return str(uuid.uuid5(first, name))


def fleet_log(house: House) -> str:
    """The fleet's own log."""
    with house.store.read() as connection:
        return house.intake.registry.fleet(connection)


def save(
    house: House,
    who: Visitor,
    drafts: Sequence[Draft],
    *,
    now: Callable[[Connection], str] | None = None,
    seen: str = "",
    begin: Callable[[Connection], Sequence[Draft]] | None = None,
) -> None:
    """Save the entries of one form. `now`: the thing's state, to be the one `seen` when the form was made.

    `begin`: what follows in the same transaction, once the first entries stand. Raises Meanwhile, or door.Refused.
    """

    def job(connection: Connection) -> None:
        if drafts and log.find(connection, drafts[0].id) is not None:
            house.intake.write(connection, drafts, who.by("form"))  # said before: answered as then, or refused
            return
        if now is not None and now(connection) != seen:
            raise Meanwhile
        house.intake.write(connection, drafts, who.by("form"))
        more = begin(connection) if begin is not None else ()
        if more:
            house.intake.write(connection, more, who.by("form"))

    try:
        house.store.write(job)
    except BaseException:
        # What the job had told the register was not kept.
        house.intake.registry.forget()
        raise
    house.intake.woken(house.now())
