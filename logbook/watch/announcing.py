"""Word to a site's supervisors that somebody joined by the word on its plate, and waits for a yes or a no."""

from __future__ import annotations

from collections.abc import Callable, Collection

from sqlalchemy import Connection

from logbook.domain.instants import Instant
from logbook.domain.register import Register
from logbook.domain.wording.waiting import waiting_message
from logbook.store import outbox
from logbook.watch.roster import ways


def announce(
    connection: Connection, register: Register, *, site: str, name: str, phone: str, now: Instant,
    routes: Collection[str], id_for: Callable[[str], str],
) -> int:  # fmt: skip
    """Queue a message to each supervisor of a site (where there are none, to the owners); answers with how many.

    `routes`: the ways that can be sent by. `id_for`: a person's uuid -> the message's id, always the same for the
    same newcomer, so that they are told once.
    """
    told = register.who("supervisor", site) or register.who("owner", site)
    queued = 0
    for person in told:
        known = ways(person)
        if not known:
            continue
        way, address = next(((w, a) for w, a in known if w in routes), known[0])
        words = waiting_message(name, phone, register.sites[site].name, person.language)
        id_ = id_for(person.uuid)
        queued += outbox.queue(
            connection,
            outbox.Message(
                id=id_, message_id=outbox.message_id(id_, register.origin), person=person.uuid, route=way,
                address=address, kind="waiting", subject=words.subject,
                body=words.short if way == "text" else words.body, queued_at=now, ready_at=now,
            ),
        )  # fmt: skip
    return queued
