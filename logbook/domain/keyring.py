"""What a key of another program may do: its scopes, its sites, in whose name it reports. Pure.

Promises that a key may do what was ticked when it was made, and nothing else; that a key without sites has to do with
all of them; and that a token is known by its SHA-256 only. Never makes a token: chance is handed in.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Container
from dataclasses import dataclass

from logbook.domain.instants import Instant
from logbook.domain.people import Person

SCOPES = {
    "read": "Read machines, what is owed, histories, alerts and policy.",
    "words": "With what it reads, read what people wrote in their own words.",
    "post": "Report what cleaners and keepers did.",
    "lead": "Report in the name of supervisors and owners too.",
    "alerts": "Take an alert in hand, in the name of a supervisor or an owner.",
}
"""Each thing that a key may do, in words for whoever makes it."""

TOKEN_BYTES = 32
_SIGN = "mlk_"  # so that a scan for secrets that have leaked into a file can find one


class KeyRefused(ValueError):
    """A key cannot be made like this. One sentence; `code` is label, scope or site."""

    def __init__(self, code: str, sentence: str) -> None:
        super().__init__(sentence)
        self.code = code


@dataclass(frozen=True, slots=True)
class Key:
    """A key of another program. `sites` empty: all. `person`: whoever everything is reported by; None: it must say."""

    id: str
    hash: str
    label: str
    may: frozenset[str]
    sites: tuple[str, ...]
    person: str | None
    made_by: str | None
    made_at: Instant
    used_at: Instant | None = None
    revoked_at: Instant | None = None

    @property
    def lives(self) -> bool:
        """Whether it has not been taken away."""
        return self.revoked_at is None

    def covers(self, site: str) -> bool:
        """Whether it has to do with a site."""
        return not self.sites or site in self.sites

    def may_name(self, person: Person, leaders: bool) -> bool:
        """Whether it may act in this person's name. `leaders`: supervisors and owners too.

        A key that was made for one person acts for that one, whatever their role.
        """
        if not person.reports:
            return False
        if self.person is not None:
            return person.uuid == self.person
        if person.leads and not leaders:
            return False
        return not self.sites or any(person.at(site) for site in self.sites)


def token_of(chance: bytes) -> str:
    """A token from 32 random bytes, fit for a header (RFC 4648 §5, without padding)."""
    if len(chance) != TOKEN_BYTES:
        raise ValueError(f"a token takes {TOKEN_BYTES} random bytes")
    return _SIGN + base64.urlsafe_b64encode(chance).rstrip(b"=").decode()


def token_hash(token: str) -> str:
    """What is kept of a token: its SHA-256, in hex. Guessing 32 random bytes is hopeless, so no slow hash is needed."""
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


def checked(label: str, may: list[str], sites: list[str], known: Container[str]) -> str:
    """The label, tidied, if a key can be made like this; `known`: the fleet's sites. Raises KeyRefused."""
    tidy = " ".join(label.split())
    if not 1 <= len(tidy) <= 80 or not tidy.isprintable():
        said = "Give the key a label of 1 to 80 characters that says which program has it. No key was made."
        raise KeyRefused("label", said)
    wrong = [scope for scope in may if scope not in SCOPES]
    if wrong or not may:
        said = f"{wrong[0]!r} is nothing that a key may do" if wrong else "Say what the key may do"
        raise KeyRefused("scope", f"{said}; there are {', '.join(SCOPES)}. No key was made.")
    strange = [site for site in sites if site not in known]
    if strange:
        raise KeyRefused("site", f"There is no site {strange[0]!r} in this fleet. No key was made.")
    return tidy
