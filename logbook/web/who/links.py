"""Links by which one gets in: made for one person or one site, good for two days, and for one use.

Promises that a link's address is made from the settings and never from what a browser says; that only its SHA-256 is
kept; and that looking at it spends nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from sqlalchemy import Connection

from logbook.domain.instants import DAY, HOUR, Instant
from logbook.domain.people import Person
from logbook.domain.register import Register
from logbook.store import sessions
from logbook.store.sessions import Link
from logbook.web.house import House, digest

LASTS: Instant = 2 * DAY
"""How long a link that a supervisor made may wait."""
SENT_LASTS: Instant = 2 * HOUR
"""How long a link does that somebody had sent to themselves."""

Purpose = Literal["enter", "shared", "sign_in"]
State = Literal["good", "spent", "late", "unknown"]


@dataclass(frozen=True, slots=True)
class Seen:
    """A link as it stands. `person` or `site` are given where it is good."""

    state: State
    link: Link | None = None
    person: Person | None = None
    site: str | None = None


def offer(
    house: House, by: str | None, *, person: str | None = None, site: str | None = None, purpose: Purpose = "enter",
    lasts: Instant = LASTS, language: str | None = None,
) -> str:  # fmt: skip
    """Make a link and answer with its address; without a base address in the settings, with its path alone.

    `by`: who has it made, by uuid. `purpose`: enter (the person's own phone or computer), sign_in (the same, asked
    for by the person), shared (makes a phone the site's). Raises ValueError for a person or site nobody knows.
    """
    made: list[str] = []
    house.store.write(
        lambda connection: made.append(
            offer_in(connection, house, by, person=person, site=site, purpose=purpose, lasts=lasts, language=language)
        )
    )
    return made[-1]


def offer_in(
    connection: Connection, house: House, by: str | None, *, person: str | None = None, site: str | None = None,
    purpose: Purpose = "enter", lasts: Instant = LASTS, language: str | None = None,
) -> str:  # fmt: skip
    """The same, in the transaction of this connection."""
    register = house.register(connection)
    known = register.people.get(person or "")
    if purpose == "shared":
        if site not in register.sites:
            raise ValueError(f"the register knows no site {site!r}")
    elif known is None or not known.reports:
        raise ValueError("a link is for somebody who reports here")
    token, now = house.token(), house.now()
    own = person if purpose != "shared" else None
    sessions.offer(connection, Link(digest(token), purpose, own, site, by, now, now + lasts))
    spoken = language or (known.language if known is not None and purpose != "shared" else register.language)
    return f"{house.address.rstrip('/')}/{spoken}/enter/{token}"


def look(connection: Connection, register: Register, token: str, now: Instant) -> Seen:
    """What a link is for, and whether it is still good. Nothing is changed."""
    link = sessions.link_of(connection, digest(token))
    if link is None:
        return Seen("unknown")
    if link.spent_at is not None:
        return Seen("spent", link)
    if link.expires_at <= now:
        return Seen("late", link)
    if link.purpose == "shared":
        return Seen("good", link, None, link.site) if link.site in register.sites else Seen("unknown")
    person = register.people.get(link.person or "")
    if person is None or not person.reports:
        return Seen("unknown")  # whoever left hears no more than a stranger
    return Seen("good", link, person)
