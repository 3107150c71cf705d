"""Answers on their way back, and word to a supervisor that somebody waits: queued with what they are about.

An answer is put into the outbox in the transaction in which its text is kept, so that a crash leaves both or neither.
It goes by the way its text came; where a way in has no way back (a trial at the command line), it is only handed back.
"""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import Connection

from logbook.channels.desk.message import Message, id_of
from logbook.domain.instants import HOUR, Instant
from logbook.domain.people import Person
from logbook.domain.register import Register
from logbook.intake import Intake
from logbook.store import outbox
from logbook.watch.announcing import announce
from logbook.watch.trouble import ANSWER

STALE: Instant = 12 * HOUR
"""An answer later than this explains nothing any more."""


class Replies:
    """Puts answers and words about newcomers into the outbox. `by`: way in -> way back."""

    def __init__(self, intake: Intake, by: Mapping[str, str]) -> None:
        self._intake = intake
        self._by = by

    def put(
        self, connection: Connection, register: Register, message: Message, reply: str | None, person: Person | None
    ) -> None:
        """Queue the answer to a text, once."""
        route = self._by.get(message.channel)
        if reply is None or route is None:
            return
        name, now = id_of(message, "answer"), self._intake.clock()
        outbox.queue(
            connection,
            outbox.Message(
                id=name, message_id=outbox.message_id(name, register.origin),
                person=person.uuid if person is not None else None, route=route, address=message.sender, kind=ANSWER,
                subject=_subject(message), body=reply, queued_at=now, ready_at=now, not_after=now + STALE,
            ),
        )  # fmt: skip

    def announce(
        self, connection: Connection, register: Register, message: Message, site: str, name: str, phone: str
    ) -> int:
        """Tell the site's supervisors (or, where there are none, the owners) that somebody joined and waits."""
        return announce(
            connection, register, site=site, name=name, phone=phone, now=self._intake.clock(),
            routes=set(self._by.values()), id_for=lambda person: id_of(message, f"waits {person}"),
        )  # fmt: skip


def _subject(message: Message) -> str:
    """A mail's answer is known by the first words of what it answers; a text has no subject."""
    first = " ".join(message.text.split())[:40]
    return f"Re: {first}" if first else "Re:"
