"""Whoever asks: the key behind the request, and what of the logbook is there for it.

Promises that the header `Authorization` alone is looked at, never a cookie; that a key which was taken away is nobody's
at once; and that a machine of a site which the key has nothing to do with is, to it, not there.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Annotated, Any

from fastapi import Depends, Request
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from sqlalchemy import Connection

from logbook.domain.instants import Instant
from logbook.domain.keyring import Key, token_hash
from logbook.domain.people import Person
from logbook.domain.register import MachineRecord, Register
from logbook.domain.watchman import Watchman
from logbook.store import api_keys
from logbook.web.api.limits import Limits
from logbook.web.api.problems import Problem
from logbook.web.house import House

_scheme = HTTPBearer(scheme_name="key", description="A key that `logbook key add` has made.", auto_error=False)
_TOKEN_MOST = 200
NO_SUCH_MACHINE = (
    "There is no machine {code!r} for this key. Nothing was saved; look at its plate, and at the key's sites."
)


@dataclass
class Looking:
    """One moment of the logbook, as a key may see it."""

    house: House
    connection: Connection
    register: Register
    key: Key
    now: Instant
    _folds: dict[str, Watchman] = field(default_factory=dict)

    def fold(self, machine: str) -> Watchman:
        """What is known of a machine now; nights that have begun since its last entry included."""
        found = self._folds.get(machine)
        if found is None:
            found = self.house.intake.watchman(self.connection, self.register, machine)
            found.advance(max(self.now, found.now))
            self._folds[machine] = found
        return found

    def site(self, machine: str) -> str:
        """Where a machine stands."""
        return self.fold(machine).machine.site

    def machine(self, code: str) -> MachineRecord:
        """The machine with this code. Raises Problem if there is none for this key."""
        known = self.register.by_code.get(code.strip().upper()) if len(code) <= 40 else None
        if known is None or (self.key.sites and not self.key.covers(self.site(known.uuid))):
            raise Problem("not_there", NO_SUCH_MACHINE.format(code=code[:40]), code="unknown_machine")
        return known

    def machines(self, site: str | None, after: str, most: int) -> tuple[list[MachineRecord], bool]:
        """Machines by code, those behind `after`, at most so many; and whether there are more. Raises Problem."""
        if site is not None and (site not in self.register.sites or not self.key.covers(site)):
            raise Problem("not_there", f"There is no site {site[:40]!r} for this key. Look at its sites.")
        found: list[MachineRecord] = []
        for code in sorted(self.register.by_code):
            if code <= after:
                continue
            each = self.register.by_code[code]
            if (site is not None or self.key.sites) and not self._at(each, site):
                continue
            if len(found) == most:
                return found, True
            found.append(each)
        return found, False

    def _at(self, machine: MachineRecord, site: str | None) -> bool:
        stands = self.site(machine.uuid)
        return self.key.covers(stands) and site in (None, stands)

    def reporter(self, said: str | None, *, leaders: bool) -> Person:
        """In whose name this is done: the key's own person, or the one who is named. Raises Problem."""
        if said is None and self.key.person is None:
            raise Problem(
                "unknown_reporter", "This key stands for no one person: name the `reporter`. Nothing was saved.",
                errors=[("/reporter", "is needed")],
            )  # fmt: skip
        person = self.register.people.get(self.key.person or "") if said is None else self.register.person_by_key(said)
        if person is None or not self.key.may_name(person, leaders):
            raise Problem(
                "unknown_reporter",
                "The key may not report in that name: nobody of its sites is called so, or their role is not among "
                "those it may name. Nothing was saved; ask an owner.",
                errors=[("/reporter", "is nobody whom this key may name")],
            )  # fmt: skip
        return person


@dataclass
class Moment:
    """One reading of the logbook: what several requests look up in it is looked up once."""

    house: House
    connection: Connection
    folds: dict[str, Watchman] = field(default_factory=dict)
    _keys: dict[str, Key | None] = field(default_factory=dict)

    def key(self, hash: str) -> Key | None:
        """The key whose token has this hash, as it stands in this reading."""
        if hash not in self._keys:
            self._keys[hash] = api_keys.of_hash(self.connection, hash)
        return self._keys[hash]

    @cached_property
    def register(self) -> Register:
        """The register in this reading."""
        return self.house.register(self.connection)


@dataclass
class Asked:
    """A request with a key."""

    house: House
    limits: Limits
    request: Request
    hash: str

    @contextlib.contextmanager
    def looking(self, scope: str | None = None) -> Iterator[Looking]:
        """Look at the logbook with a key that may do this. Raises Problem: 401, 403, 429."""
        self.admit()
        with self.house.store.read() as connection:
            yield self.sight(Moment(self.house, connection), scope)

    def admit(self) -> None:
        """Count this request. Raises Problem (429)."""
        self.limits.admit(self.house, self.hash)

    def sight(self, moment: Moment, scope: str | None) -> Looking:
        """The logbook in this reading, as the key may see it. Raises Problem: 401, 403."""
        key = moment.key(self.hash)
        if key is None or not key.lives:
            raise Problem(
                "unknown_key", "There is no such key, or it was taken away. Nothing was done.",
                headers={"WWW-Authenticate": 'Bearer error="invalid_token"'},
            )  # fmt: skip
        if scope is not None and scope not in key.may:
            raise Problem(
                "not_in_scope", f"This key has no {scope!r} among what it may do. Nothing was done.",
                headers={"WWW-Authenticate": f'Bearer error="insufficient_scope", scope="{scope}"'},
            )  # fmt: skip
        return Looking(self.house, moment.connection, moment.register, key, self.house.now(), moment.folds)


async def _asked(
    request: Request, given: Annotated[HTTPAuthorizationCredentials | None, Depends(_scheme)]
) -> Asked:  # fmt: skip
    token = "" if given is None else given.credentials.strip()
    if not token:
        # Before anything else is looked at: to whoever has no key, every operation is one.
        raise Problem("no_key", "This needs a key. Nothing was done.", headers={"WWW-Authenticate": "Bearer"})
    state: Any = request.app.state
    return Asked(state.house, state.limits, request, token_hash(token[:_TOKEN_MOST]))


async def asked_by(request: Request) -> Asked:
    """The same without anybody who solves dependencies. Raises Problem (401)."""
    return await _asked(request, await _scheme(request))


WithKey = Annotated[Asked, Depends(_asked)]
"""What an operation is given."""
