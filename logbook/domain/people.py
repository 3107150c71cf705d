"""People as the register knows them now: roles, sites, languages, and the ways by which they are reached.

Promises to hold only what the fleet's log still holds: after an erasure the name, number and address are gone here
too. It never decides what anyone may see or is told; it answers who there is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import phonenumbers

State = Literal["member", "unconfirmed", "set_aside", "left"]
LEADERS = ("supervisor", "owner")
"""Who answers for sites, the first in line first."""
REPORTING: tuple[State, ...] = ("member", "unconfirmed")
"""Whose entries count: members, and whoever joined and waits for a supervisor's yes."""


@dataclass(slots=True)
class Person:
    """One person. Texts that were erased, or never given, are None; `key` is the fleet file's, if it had one."""

    uuid: str
    role: str = "cleaner"
    key: str | None = None
    language: str = "en"
    sites: tuple[str, ...] = ()
    quiet: str | None = None
    name: str | None = None
    phone: str | None = None
    email: str | None = None
    word: str | None = None
    state: State = "member"
    opted_out: set[str] = field(default_factory=set)

    def at(self, site: str) -> bool:
        """Whether this person has to do with a site: an owner with all, others with theirs."""
        return self.role == "owner" or site in self.sites

    @property
    def reports(self) -> bool:
        """Whether what this person tells counts."""
        return self.state in REPORTING

    @property
    def leads(self) -> bool:
        """Whether this is a supervisor or an owner."""
        return self.role in LEADERS

    def answers_for(self, other: Person) -> bool:
        """Whether this person may change the other: an owner everybody, a supervisor whoever has a site of theirs.

        Another supervisor only if none of their sites is somebody else's: else a link for them, or a number of
        theirs changed, would open those sites too.
        """
        if self.role == "owner":
            return True
        shared = [self.at(site) for site in other.sites]
        enough = all(shared) if other.role == "supervisor" else True
        return self.role == "supervisor" and other.role != "owner" and any(shared) and enough


def phone_key(number: str) -> str:
    """A phone number as it is compared and kept: E.164, `+19025550141`.

    Raises ValueError for what cannot be a number anywhere. Judged by length and country alone (*possible*, in the
    words of the phonenumbers library): new ranges and invented numbers are not ours to turn away.
    """
    try:
        read = phonenumbers.parse(number, None)
    except phonenumbers.NumberParseException:
        read = None
    if read is None or not phonenumbers.is_possible_number(read):
        raise ValueError(f"{number!r} is not a phone number with its country in front, such as +1 902 555 0141")
    return phonenumbers.format_number(read, phonenumbers.PhoneNumberFormat.E164)


def email_key(address: str) -> str:
    """An address as it is compared: without surrounding blanks, in lower case."""
    return address.strip().lower()


class People:
    """Everyone the fleet's log speaks of, folded entry by entry."""

    KINDS = frozenset(
        {"person_set", "person_left", "joined", "accepted", "set_aside", "opted_out", "opted_in", "erased"}
    )

    def __init__(self) -> None:
        self.by_uuid: dict[str, Person] = {}
        self._phones: dict[str, Person] = {}
        self._emails: dict[str, Person] = {}
        self._keys: dict[str, Person] = {}
        self._who: dict[tuple[str, str], list[Person]] = {}

    def apply(self, kind: str, data: Mapping[str, Any], private: Mapping[str, str]) -> None:
        """Take in one entry. A kind that is not about a person is passed over."""
        if kind not in self.KINDS:
            return
        self._who.clear()
        uuid = str(data["person"])
        person = self.by_uuid.setdefault(uuid, Person(uuid))
        match kind:
            case "person_set":
                person.role = data["role"]
                person.language, person.quiet = data.get("language") or "en", data.get("quiet")
                person.sites = tuple(data.get("sites") or ())
                person.state = "member"
                self._name(person, private)
            case "joined":
                person.role, person.language = "cleaner", data.get("language") or "en"
                person.sites = (data["site"],)
                person.state = "unconfirmed"
                self._name(person, private)
            case "accepted":
                person.state = "member"
            case "set_aside":
                person.state = "set_aside"
            case "person_left":
                person.state = "left"
            case "opted_out":
                person.opted_out.add(data["way"])
            case "opted_in":
                person.opted_out.discard(data["way"])
            case _:  # erased
                self._name(person, {})

    def _name(self, person: Person, private: Mapping[str, str]) -> None:
        """Give a person the private words that are known, and take back those that were.

        A number that someone else had is now this person's: phones are handed on.
        """
        for index in (self._phones, self._emails, self._keys):
            for known in [text for text, owner in index.items() if owner is person]:
                del index[known]
        person.key, person.name = private.get("key"), private.get("name")
        person.phone, person.email = private.get("phone"), private.get("email")
        person.word = private.get("word")
        if person.phone:
            self._phones[_phone(person.phone)] = person
        if person.email:
            self._emails[email_key(person.email)] = person
        if person.key:
            self._keys[person.key] = person

    def by_phone(self, number: str) -> Person | None:
        """Whose number this is, in whatever way it is written."""
        return self._phones.get(_phone(number))

    def by_email(self, address: str) -> Person | None:
        """Whose address this is."""
        return self._emails.get(email_key(address))

    def by_key(self, key: str) -> Person | None:
        """Whom the fleet file calls by this key."""
        return self._keys.get(key)

    def who(self, role: str, site: str) -> list[Person]:
        """The members with a role at a site, in the order in which the log first named them."""
        found = self._who.get((role, site))
        if found is None:
            found = self._who[role, site] = [
                person
                for person in self.by_uuid.values()
                if person.role == role and person.state == "member" and person.at(site)
            ]
        return list(found)


def _phone(number: str) -> str:
    """Like `phone_key`, but a short number of a carrier is only compared, never refused."""
    try:
        return phone_key(number)
    except ValueError:
        return "".join(number.split())
