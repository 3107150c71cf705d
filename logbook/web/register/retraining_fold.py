"""What each machine's log says of its duties, judged for the page on training, and kept for an hour.

Promises that what is kept is thrown away as soon as the machine's log or the fleet's has grown, and that no more than
so many machines are kept. Holds no reporter, no private word: duties and training alone.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from typing import NamedTuple

from sqlalchemy import Connection

from logbook.domain import reporting
from logbook.domain.instants import HOUR, Instant
from logbook.domain.register import Register
from logbook.intake.reading import told_of
from logbook.store import log
from logbook.web.house import House

MOST = 500
"""Machines that are kept. A year's log of one takes tens of milliseconds to fold, and the page folds every one."""


class Given(NamedTuple):
    """Training that was noted: when, on which topic, by whom."""

    at: Instant
    topic: str
    by: str


class Judgement(NamedTuple):
    """One machine: where it is, its duties each with its word, the training that was given and not struck."""

    site: str
    judged: tuple[reporting.Judged, ...]
    given: tuple[Given, ...]


_kept: OrderedDict[tuple[str, str, str, int], Judgement] = OrderedDict()
_lock = threading.Lock()


def judgement(house: House, connection: Connection, register: Register, machine: str, now: Instant) -> Judgement:
    """A machine's duties as they stood at some instant within this hour, all that is in its log taken in."""
    own, fleet = log.head(connection, machine), log.head(connection, house.intake.registry.fleet(connection))
    # By what the logs end in, and not by how long they are: a restored backup may be as long.
    key = (machine, own.head if own else "", fleet.head if fleet else "", now // HOUR)
    with _lock:
        found = _kept.get(key)
        if found is not None:
            _kept.move_to_end(key)
            return found
    made = _judge(house, connection, register, machine, now)
    with _lock:
        _kept[key] = made
        while len(_kept) > MOST:
            _kept.popitem(last=False)
    return made


def _judge(house: House, connection: Connection, register: Register, machine: str, now: Instant) -> Judgement:
    told = told_of(connection, machine, register)
    folded = reporting.fold(house.intake.book(register, machine), told, now)
    struck = log.struck(connection, machine)
    given = tuple(
        Given(each.occurred_at, str(each.data["topic"]), str(each.data["by"]))
        for each in told if each.kind == "trained" and each.id not in struck
    )  # fmt: skip
    return Judgement(folded.machine.site, tuple(reporting.judged(folded, reporting.alarms(told, now), now)), given)
