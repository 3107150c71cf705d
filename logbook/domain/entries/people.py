"""Entries about who may report, and about what became of their words. Names and numbers are always private."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field

from logbook.domain.entries.base import (
    INSIDE,
    LEADERS,
    PRIVATE,
    Code,
    EntryId,
    Kind,
    MaybePrivate,
    PrivateText,
    ShortText,
    catalogue,
)

PersonRole = Literal["cleaner", "keeper", "supervisor", "owner"]
_PERSON = "0192d5c8-0000-7000-8000-00000000000a"


@catalogue.add
class PersonSet(Kind):
    """A person as the register knows them from now on: all that is not given is unset."""

    kind = "person_set"
    log = "fleet"
    by = INSIDE
    strikable = False
    meaning: ClassVar[str] = "A person was added or changed."
    example: ClassVar[dict[str, Any]] = {
        "person": _PERSON, "role": "supervisor", "language": "en", "sites": ["north-slip"],
        "quiet": "21:00-06:30", "name": "Jo Marsh", "phone": "+19025550141", "email": "jo@ferry.example",
        "key": "jo",
    }  # fmt: skip

    person: EntryId
    role: PersonRole
    language: Literal["en", "es"] = "en"
    sites: list[Code] = []
    quiet: Annotated[str, Field(pattern=r"^\d\d:\d\d-\d\d:\d\d$")] | None = None
    key: Annotated[str, Field(min_length=1, max_length=40), PRIVATE]
    name: MaybePrivate = None
    phone: MaybePrivate = None
    email: MaybePrivate = None
    word: MaybePrivate = None


@catalogue.add
class PersonLeft(Kind):
    """The person reports no longer and is told nothing any more."""

    kind = "person_left"
    log = "fleet"
    by = INSIDE
    strikable = False
    meaning: ClassVar[str] = "A person left."
    example: ClassVar[dict[str, Any]] = {"person": _PERSON}

    person: EntryId


@catalogue.add
class Joined(Kind):
    """Someone gave the plate's word: their entries count, unconfirmed, until a supervisor answers."""

    kind = "joined"
    log = "fleet"
    by = frozenset({"program"})
    strikable = False
    meaning: ClassVar[str] = "Someone joined by the word on the plate."
    example: ClassVar[dict[str, Any]] = {
        "person": _PERSON,
        "site": "north-slip",
        "name": "Ana",
        "phone": "+19025550150",
    }

    person: EntryId
    site: Code
    language: Literal["en", "es"] = "en"
    name: PrivateText
    phone: PrivateText


@catalogue.add
class Accepted(Kind):
    """A supervisor said yes to someone who joined."""

    kind = "accepted"
    log = "fleet"
    by = LEADERS
    strikable = False
    meaning: ClassVar[str] = "A new number was accepted."
    example: ClassVar[dict[str, Any]] = {"person": _PERSON}

    person: EntryId


@catalogue.add
class SetAside(Kind):
    """A supervisor said no to someone who joined."""

    kind = "set_aside"
    log = "fleet"
    by = LEADERS
    strikable = False
    meaning: ClassVar[str] = "A new number was set aside."
    example: ClassVar[dict[str, Any]] = {"person": _PERSON}

    person: EntryId


@catalogue.add
class OptedOut(Kind):
    """No message goes to this person by this way until they come back."""

    kind = "opted_out"
    log = "fleet"
    by = frozenset({"program"})
    strikable = False
    meaning: ClassVar[str] = "A person asked for no more messages."
    example: ClassVar[dict[str, Any]] = {"person": _PERSON, "way": "text"}

    person: EntryId
    way: Literal["text", "mail"]


@catalogue.add
class OptedIn(Kind):
    """The person wants messages by this way again."""

    kind = "opted_in"
    log = "fleet"
    by = frozenset({"program"})
    strikable = False
    meaning: ClassVar[str] = "A person asked for messages again."
    example: ClassVar[dict[str, Any]] = {"person": _PERSON, "way": "text"}

    person: EntryId
    way: Literal["text", "mail"]


@catalogue.add
class Trained(Kind):
    """Someone was shown how; a warranty may ask for it."""

    kind = "trained"
    by = LEADERS
    meaning: ClassVar[str] = "Somebody was trained on the machine."
    example: ClassVar[dict[str, Any]] = {"topic": "battery watering", "by": "supervisor"}

    topic: ShortText
    by_whom: Annotated[str, Field(min_length=1, max_length=200, alias="by")]


@catalogue.add
class NameOpened(Kind):
    """Someone looked at the name behind a role, on purpose."""

    kind = "name_opened"
    by = INSIDE
    strikable = False
    meaning: ClassVar[str] = "The name behind an entry was opened."
    example: ClassVar[dict[str, Any]] = {"entry": "0192d5c8-0000-7000-8000-000000000001", "why": "training talk"}

    entry: EntryId
    why: MaybePrivate = None


@catalogue.add
class Erased(Kind):
    """Salts, contents and pseudonyms of one person were deleted; the chain still verifies."""

    kind = "erased"
    log = "fleet"
    by = frozenset({"owner", "program"})
    strikable = False
    meaning: ClassVar[str] = "A person's private words were erased."
    example: ClassVar[dict[str, Any]] = {"person": _PERSON, "items": 12, "ground": "asked by the person"}

    person: EntryId
    items: Annotated[int, Field(ge=0)]
    ground: ShortText
