"""Reading what a board is made of, all at one moment; and keeping a board for everyone who asks for the same.

Promises that however many pages are open, the fleet is looked at once for a piece of news, and that nobody is shown a
board older than what this process has written. (Of what another process wrote, it may be `KEPT` old.) Writes nothing.
"""

from __future__ import annotations

import hashlib
import threading
import time
from collections.abc import Sequence
from dataclasses import replace

from sqlalchemy import Connection

from logbook.domain.instants import DAY, Instant
from logbook.evidence.form import read as read_form
from logbook.store import alerts, heard, outbox, tellings, words
from logbook.store import clock as signs
from logbook.store.alerts import Alert
from logbook.store.tellings import Telling
from logbook.watch.health import OLD
from logbook.web import pages
from logbook.web.house import House
from logbook.web.tonight.board import Read, Trio, board
from logbook.web.tonight.facts import Facts, Shelf
from logbook.web.tonight.model import Board
from logbook.web.tonight.told import Answer, answer_of

KEPT = 2.0
"""Seconds."""
_FORTNIGHT: Instant = 14 * DAY
_BACK = 4_000
"""An answer to a live alert is looked for among so many of its machine's latest entries."""


class Boards:
    """The boards of one house. `look`: the board of whoever has to do with these sites (None: all), in a language."""

    def __init__(self, house: House) -> None:
        self._house = house
        self._shelf = Shelf(house.intake)
        self._lock = threading.Lock()
        self._read: tuple[int, float, Instant, Read] | None = None
        self._boards: dict[tuple[frozenset[str] | None, str], tuple[Read, Board]] = {}
        self.looked = 0

    def look(self, sites: frozenset[str] | None, language: str) -> Board:
        """The board as it is now. Raises StoreError if the database cannot be asked."""
        with self._lock:  # who comes second waits for what the first reads, and is given the same
            read, now = self._now()
            key = (sites, language)
            kept = self._boards.get(key)
            if kept is not None and kept[0] is read:
                return kept[1]
            theirs = frozenset(read.register.sites) if sites is None else sites
            made = board(read, theirs, pages.words(language, "tonight"), now)
            self._boards = {name: each for name, each in self._boards.items() if each[0] is read}
            self._boards[key] = (read, made)
            return made

    def _now(self) -> tuple[Read, Instant]:
        rung = self._house.store.bell.rung  # before reading: what is rung for meanwhile is read the next time
        if self._read is not None:
            known, at, now, read = self._read
            # The clock in force may be a test's: then it, not time, says that the board is old.
            if known == rung and time.monotonic() - at < KEPT and abs(self._house.now() - now) < KEPT * 1_000_000:
                return read, now
        now = self._house.now()
        with self._house.store.read() as connection:
            read = _read(self._house, self._shelf, connection, now)
        self.looked += 1
        self._read = (rung, time.monotonic(), now, read)
        return read, now


def _read(house: House, shelf: Shelf, connection: Connection, now: Instant) -> Read:
    register = house.register(connection)
    facts = shelf.look(connection, register, now)
    live = alerts.live(connection)
    told: dict[Trio, list[Telling]] = {}
    for telling in tellings.of_live(connection):
        key = (telling.machine, telling.duty, telling.opened_by)
        shown = told.setdefault(key, [])
        shown.append(telling)
        seen = {telling.message}
        while telling.state == "failed":
            following = tellings.instead(connection, telling)
            if following is None or following.message in seen:
                break
            shown.append(following)
            seen.add(following.message)
            telling = following
    step, delivery = signs.of(connection, "step"), signs.of(connection, "delivery")
    return Read(
        register=register,
        facts=facts,
        alerts={(each.machine, each.duty, each.opened_by): each for each in live},
        tellings=told,
        answers=_answers(connection, live, {each.uuid: each for each in facts}),
        heard=heard.waiting(connection, now - _FORTNIGHT),
        looked=None if step is None else step.at,
        stopped=step is None or now - step.at > OLD,
        held=frozenset(outbox.held(connection)),
        delivering=delivery is None or now - delivery.at <= OLD,
    )


def _answers(connection: Connection, live: Sequence[Alert], facts: dict[str, Facts]) -> dict[Trio, list[Answer]]:
    """Who answered each live alert that was answered at all."""
    wanted = {(each.machine, each.duty, each.opened_by): each for each in live if each.acknowledged_until is not None}
    found: dict[Trio, list[Answer]] = {}
    for machine in {each.machine for each in wanted.values()}:
        after = max(0, (facts[machine].seq if machine in facts else 0) - _BACK)
        for row in tellings.answers(connection, machine, after):
            formed = read_form(row.bytes)
            key = (machine, formed.data["duty"], formed.data["opened_by"])
            if key not in wanted or formed.data["number"] != wanted[key].number:
                continue
            to = words.person_of(connection, machine, formed.data["to"]) if "to" in formed.data else None
            found.setdefault(key, []).append(answer_of(row.kind, row.recorded_at, formed.role, formed.data, to))
    return found


def version(of: Board) -> str:
    """A short word that changes when what a board says changes; that time goes by alone does not change it."""
    said = replace(
        of, clock="", looked=None, looked_words="", now=0, axis=replace(of.axis, ticks=(), now=0.0, clock=""),
        late=tuple(replace(row, span="", bar=None) for row in of.late),
        hands=tuple(replace(row, span="", bar=None) for row in of.hands),
        due=tuple(replace(row, span="") for row in of.due), later=tuple(replace(row, span="") for row in of.later),
    )  # fmt: skip
    return hashlib.sha256(repr(said).encode()).hexdigest()[:16]
