"""Gathering: from what people are to be told to messages in the outbox.

The first alert never waits; what comes within `gather` of it shares the next message. Past `cap` messages a day
things wait for the morning's letter: gathered, never dropped. A notice goes into one message only, in the same
transaction in which that message is queued.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import msgspec
from sqlalchemy import Connection

from logbook.domain.calendar import wall
from logbook.domain.instants import Instant
from logbook.domain.people import Person
from logbook.domain.policy import Policy
from logbook.domain.register import Register
from logbook.domain.telling.items import Item, Reminder
from logbook.domain.wording.messages import Text, alert_message, reminder_message
from logbook.intake import Intake
from logbook.store import clock as signs
from logbook.store import notices as shelf
from logbook.store import outbox
from logbook.watch.attend import LETTER
from logbook.watch.roster import RegisterRoster, ways

_item = msgspec.json.Decoder(Item).decode
_reminder = msgspec.json.Decoder(Reminder).decode


@dataclass(frozen=True, slots=True)
class Post:
    """Puts one person's message into the outbox. `routes`: the ways that this installation can send by."""

    intake: Intake
    routes: frozenset[str]

    def put(
        self, connection: Connection, register: Register, person: Person, kind: str, text: Text, now: Instant,
        *, not_after: Instant | None = None, by: str | None = None,
    ) -> str | None:  # fmt: skip
        """Queue a message by the first way that can be sent by, else by their first way; None if there is none.

        `by`: the way to be tried first.
        """
        known = sorted(ways(person), key=lambda each: each[0] != by)
        if not known:
            return None
        way, address = next(((way, address) for way, address in known if way in self.routes), known[0])
        name = self.intake.new_id()
        outbox.queue(
            connection,
            outbox.Message(
                id=name, message_id=outbox.message_id(name, register.origin), person=person.uuid, route=way,
                address=address, kind=kind, subject=text.subject, body=text.short if way == "text" else text.body,
                queued_at=now, ready_at=now,
                not_after=not_after,
            ),
        )  # fmt: skip
        return name


def gather(post: Post, connection: Connection, now: Instant) -> int:
    """Make messages of all notices that are ready. Returns how many messages were queued."""
    ready = shelf.ready(connection, now, lock=True)
    if not ready:
        return 0
    register = post.intake.registry.current(connection)
    roster = RegisterRoster(register)
    by_person: dict[str, list[shelf.Notice]] = {}
    for notice in ready:
        by_person.setdefault(notice.person, []).append(notice)
    queued = 0
    for uuid, waiting in by_person.items():
        person = register.people.get(uuid)
        if person is None or person.state in ("left", "set_aside") or not ways(person):
            shelf.gathered(connection, [notice.id for notice in waiting], "nobody")
            continue
        queued += _remind(post, connection, register, person, [n for n in waiting if n.tell == "remind"], now)
        alarms = [notice for notice in waiting if notice.tell != "remind"]
        if alarms:
            policy = _policy(register, alarms)
            day = wall(now, roster.zone_of(person, now)).date().isoformat()
            queued += _tell(post, connection, register, person, alarms, policy, day, now)
    return queued


def _policy(register: Register, waiting: Sequence[shelf.Notice]) -> Policy:
    """Numbers for gathering are those of the site of the first thing to be told."""
    first = _item(waiting[0].about)
    return register.policy(first.machine, first.site, waiting[0].at)


def _tell(
    post: Post, connection: Connection, register: Register, person: Person, waiting: Sequence[shelf.Notice],
    policy: Policy, day: str, now: Instant,
) -> int:  # fmt: skip
    last = signs.of(connection, f"told:{person.uuid}")
    if last is not None and now < last.at + policy.gather:
        for notice in waiting:
            shelf.put_off(connection, notice.id, last.at + policy.gather)
        return 0
    if shelf.told(connection, person.uuid, day) >= policy.number("cap"):
        for notice in waiting:
            shelf.put_off(connection, notice.id, LETTER)
        return 0
    items = [_item(notice.about) for notice in waiting]
    text = alert_message(items, person.language, now)
    by = next((item.way for item in items if item.way is not None), None)
    name = post.put(connection, register, person, "alert", text, now, by=by)
    if name is None:
        return 0
    shelf.gathered(connection, [notice.id for notice in waiting], name)
    shelf.tell(connection, person.uuid, day)
    signs.put(connection, f"told:{person.uuid}", now)
    return 1


def _remind(
    post: Post, connection: Connection, register: Register, person: Person, waiting: Iterable[shelf.Notice],
    now: Instant,
) -> int:  # fmt: skip
    """One reminder a machine and due instant, naming every duty that is owed by then."""
    groups: dict[tuple[str, Instant], list[shelf.Notice]] = {}
    for notice in waiting:
        groups.setdefault((notice.machine, _reminder(notice.about).due_at), []).append(notice)
    queued = 0
    for some in groups.values():
        reminder = _reminder(some[0].about)
        reminder.duties = sorted({notice.duty for notice in some})
        until = reminder.due_at if reminder.until is None else reminder.until
        name = None
        if now < until:
            text = reminder_message(reminder, person.language, now)
            name = post.put(connection, register, person, "reminder", text, now, not_after=until - 1)
            queued += name is not None
        shelf.gathered(connection, [notice.id for notice in some], name or "too late")
    return queued
