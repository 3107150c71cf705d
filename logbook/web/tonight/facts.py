"""What is known of each machine now, in no language: its state, and the duties that are due or soon will be.

Promises that what is kept from one look to the next is used only while nothing was recorded of that machine, the
register is the same, and no instant has come at which time alone changes something. Writes nothing.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass

from sqlalchemy import Connection

from logbook.domain.instants import HOUR, MINUTE, Instant
from logbook.domain.machine import FOREVER, Machine
from logbook.domain.owed import is_out
from logbook.domain.register import MachineRecord, Register
from logbook.domain.standing import stop_of
from logbook.domain.telling.facts import item_of, night_of, tell_of
from logbook.domain.telling.items import Item
from logbook.domain.watchman import Watchman
from logbook.evidence.form import read as read_form
from logbook.intake import Intake
from logbook.intake.reading import entry_at, looker, own_words
from logbook.store import log

AHEAD: Instant = 12 * HOUR
"""What falls due within this time is shown."""
_KEPT: Instant = 5 * MINUTE
_NOTES = {"fault": "fault", "repair": "fault"}
"""Whose last entry's own words tell a leader what the duty is about."""


@dataclass(frozen=True, slots=True)
class Last:
    """The latest act of a cleaner on a machine: by it a name can be opened, on purpose."""

    entry: str
    at: Instant


@dataclass(frozen=True, slots=True)
class Facts:
    """One machine. `state`: held, out, used, charging, away or new, `since` when. `items`: its open duties that are
    due, or will be within `AHEAD` and a little; `serial` and `number` are those of no alert yet. `why`: a leader's own
    words about why it must not run. `spoken_for`: duties (by key) of which an untold night's alert speaks.
    """

    uuid: str
    code: str
    site: str
    state: str
    since: Instant | None
    items: tuple[Item, ...]
    last: Last | None
    why: str | None
    spoken_for: frozenset[tuple[str, str]]
    seq: int
    good_until: Instant


class Shelf:
    """Keeps what was found out of machines of which nothing is new. Safe from any thread."""

    def __init__(self, intake: Intake) -> None:
        self._intake = intake
        self._lock = threading.Lock()
        self._kept: dict[str, tuple[int, int, Facts]] = {}

    def look(self, connection: Connection, register: Register, now: Instant) -> list[Facts]:
        """Every machine that works or could, by plate, as this connection sees it."""
        heads = {row.machine: row.seq for row in log.logs(connection)}
        edition = sum(heads.get(name, 0) for name, _code in log.of_kind(connection, "fleet"))
        found = []
        for machine in sorted(register.machines.values(), key=lambda each: each.code):
            seq = heads.get(machine.uuid, 0)
            kept = self._kept.get(machine.uuid)
            if kept is not None and kept[:2] == (seq, edition) and now < kept[2].good_until:
                facts: Facts | None = kept[2]
            else:
                facts = _facts(self._intake, connection, register, machine, seq, now)
                if facts is not None:
                    with self._lock:
                        self._kept[machine.uuid] = (seq, edition, facts)
            if facts is not None:
                found.append(facts)
        return found


def _facts(
    intake: Intake, connection: Connection, register: Register, record: MachineRecord, seq: int, now: Instant
) -> Facts | None:
    """One machine, looked at anew; None if it never began, or is retired."""
    watchman = intake.watchman(connection, register, record.uuid)
    now = max(now, watchman.now)
    watchman.advance(now)
    fold = watchman.machine
    if fold.commissioned_at is None or fold.retired_at is not None:
        return None
    state, since = _state(fold, now)
    items, spoken_for = _items(connection, register, record, watchman, now)
    why = own_words(connection, record.uuid, fold, _STOPS[state], "why") if state in _STOPS else None
    return Facts(
        record.uuid, record.code, fold.site, state, since, items, _last(connection, record.uuid, fold), why, spoken_for,
        seq, _good_until(watchman, now),
    )  # fmt: skip


_STOPS = {"held": "held", "out": "out_of_service"}


def _state(fold: Machine, now: Instant) -> tuple[str, Instant | None]:
    def at(*kinds: str) -> Instant | None:
        return max((fold.last[kind][0] for kind in kinds if kind in fold.last), default=None)

    match stop_of(fold):
        case "out_of_service":
            return "out", at("out_of_service")
        case "held":
            return "held", at("held")
        case _:  # a bare head is a row of its own, and the loudest
            pass
    charged, put_away = at("charge"), at("put_away")
    stirred = at("start", "unplug", "fill", "prepared")
    # Whoever charges or rinses a machine hours after it was put away does not use it.
    if charged is not None and (stirred is None or charged > stirred):
        return "charging", charged
    if stirred is not None and is_out(fold, now) and (put_away is None or stirred > put_away):
        started = fold.use.first if fold.use is not None and fold.use.put_away is None else None
        return "used", started if started is not None else stirred
    return ("away", put_away) if put_away is not None else ("new", None)


def _items(
    connection: Connection, register: Register, record: MachineRecord, watchman: Watchman, now: Instant
) -> tuple[tuple[Item, ...], frozenset[tuple[str, str]]]:
    fold = watchman.machine
    items, spoken_for = [], set()
    for duty in sorted(fold.duties(), key=lambda each: (each.due, each.duty)):
        if duty.ended_at is not None or duty.due > now + AHEAD + _KEPT:
            continue
        if duty.due <= now and night_of(fold, duty) is not None and fold.policy(now).tell("night") != "none":
            spoken_for.add(duty.key)
        site = register.sites[duty.site or fold.site]
        item = item_of(
            fold, duty, looker(connection, record.uuid), uuid=record.uuid, code=record.code,
            site_name=site.name, zone=site.zone, number=0, raised_at=0, tell=tell_of(fold, duty, now),
        )  # fmt: skip
        if duty.duty in _NOTES:
            item.note = own_words(connection, record.uuid, fold, _NOTES[duty.duty], "note")
        items.append(item)
    return tuple(items), frozenset(spoken_for)


def _good_until(watchman: Watchman, now: Instant) -> Instant:
    """Until when time alone changes nothing here."""
    fold = watchman.machine
    ends = [now + _KEPT, fold.night_next, fold.night_ends]
    ends += [duty.due for duty in fold.duties() if duty.ended_at is None]
    if fold.use is not None and fold.use.put_away is None:
        ends.append(fold.use.cut_off + 1)
    closing = fold.policy(now).closing
    ends += [at + closing + 1 for at, _seq in fold.last.values()]
    return min((at for at in ends if now < at < FOREVER), default=now + _KEPT)


def _last(connection: Connection, machine: str, fold: Machine) -> Last | None:
    """The latest act that a cleaner reported. Only the latest of each kind are looked at: one of them is it."""
    for at, seq in sorted(fold.last.values(), reverse=True)[:6]:
        row = entry_at(connection, machine, seq)
        if row is not None and read_form(row.bytes).role == "cleaner":
            return Last(row.id, at)
    return None
