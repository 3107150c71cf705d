"""Who knows the people: the next way of reaching somebody, and the owner who hears of trouble with a way itself.

See `logbook.watch.trouble.Caller`. It queues nothing: delivery does, in the transaction that marks the message.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import replace

from sqlalchemy import Connection

from logbook.domain.instants import Instant
from logbook.domain.register import Register
from logbook.domain.wording.gsm7 import SEGMENT, cut, fold
from logbook.domain.wording.trouble import trouble_message
from logbook.intake import Intake
from logbook.store import outbox
from logbook.store.outbox import Message
from logbook.watch.roster import ways
from logbook.watch.trouble import ABOUT_TROUBLE, Trouble

_SPACE = uuid.UUID("0d8a1c57-6a5e-5c39-9d1b-5e7c2f4b8a63")
"""Name space of the ids of messages that go by another way."""


class People:
    """The register, asked by delivery. `routes`: the ways that this installation can send by."""

    def __init__(self, intake: Intake, routes: frozenset[str]) -> None:
        self._intake = intake
        self._routes = routes

    def next_way(self, connection: Connection, message: Message) -> Message | None:
        """The same for the same person by another way that can be sent by, or None."""
        register = self._intake.registry.current(connection)
        person = register.people.get(message.person or "")
        if person is None or person.state in ("left", "set_aside"):
            return None
        for way, address in ways(person):
            if way in self._routes and (way, address) != (message.route, message.address):
                return self._again(register, message, way, address)
        return None

    def confirm_within(self, connection: Connection, message: Message, now: Instant) -> Instant:  # noqa: ARG002
        """As policy says for the fleet, whatever the message."""
        register = self._intake.registry.current(connection)
        return register.fleet_policy(now).duration("confirm_within").micros

    def tell_owner(self, connection: Connection, trouble: Trouble) -> Sequence[Message]:
        """A message to every owner, by each one's first way that is not in trouble itself."""
        register = self._intake.registry.current(connection)
        message = trouble.message
        whom = register.people.get(message.person or "") if message is not None else None
        role = whom.role if whom is not None else None
        found = []
        for owner in register.who("owner", ""):
            if message is not None and trouble.what == "failed" and owner.uuid == message.person:
                continue
            for way, address in ways(owner):
                if way not in self._routes or (way == trouble.route and trouble.what != "failed"):
                    continue
                text = trouble_message(trouble.what, trouble.route, trouble.reason, trouble.at, role, owner.language)
                name = self._intake.new_id()
                found.append(
                    Message(
                        id=name, message_id=outbox.message_id(name, register.origin), person=owner.uuid, route=way,
                        address=address, kind=ABOUT_TROUBLE, subject=text.subject,
                        body=text.short if way == "text" else text.body, queued_at=trouble.at, ready_at=trouble.at,
                    )
                )  # fmt: skip
                break
        return found

    def language(self, connection: Connection, message: Message) -> str | None:
        """The language in which a message was written: its reader's."""
        person = self._intake.registry.current(connection).people.get(message.person or "")
        return person.language if person is not None else None

    def _again(self, register: Register, message: Message, way: str, address: str) -> Message:
        # Its name comes from what it replaces: a carrier that says its no late, or twice, makes no second message.
        name = str(uuid.uuid5(_SPACE, f"{message.id} {way} {address}"))
        # A text has room for what a mail says first; a mail may say no more than the text did.
        body = cut(fold(message.subject), SEGMENT) if way == "text" and message.route == "mail" else message.body
        return replace(
            message, body=body, id=name, message_id=outbox.message_id(name, register.origin), route=way, address=address,
            state="waiting", next_at=message.queued_at, attempts=0, lease_until=None, lease_by=None, sent_at=None,
            error=None, follows=message.id,
        )  # fmt: skip
