"""What became of texts that went out: the daemon's word for each, passed on.

Promises that a message is said to have arrived only when the network said so of every part of it, and to have failed
as soon as one part has. The same word is passed on once a run, and again after a restart: whoever hears it must bear
that. Writes nothing.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Sequence
from datetime import datetime
from itertools import groupby

import structlog
from sqlalchemy.exc import DBAPIError

from logbook.channels.modem.outgoing import FAILED
from logbook.channels.modem.parts import part_of
from logbook.channels.modem.settings import ModemSettings
from logbook.channels.modem.tables import State, Tables
from logbook.domain.instants import SECOND, Instant, from_datetime
from logbook.store import StoreError

WITHIN = 7 * 86_400
"""Seconds: how far back one looks. Networks keep a text for a phone that is off for a few days (common practice)."""

SETTLE = 5
"""Seconds that a word is kept back: a network can be quicker than we are to note that we handed a message over."""

_ARRIVED = "DeliveryOK"
_log = structlog.get_logger("logbook.modem")


class Receipts:
    """Looks at what the daemon has sent."""

    def __init__(
        self, settings: ModemSettings, receipt: Callable[[str, bool, Instant, str], object], now: Callable[[], Instant],
        settle: int = SETTLE,
    ) -> None:  # fmt: skip
        """`receipt(reference, arrived, at, detail)`; a StoreError from it: said again at the next look."""
        self._settings = settings
        self._tables = Tables(settings)
        self._receipt = receipt
        self._now = now
        self._settle = settle
        self._told: dict[str, bool] = {}

    def say_again(self, reference: str) -> None:
        """Forget that this one's fate was told."""
        self._told.pop(reference, None)

    async def run(self, stop: asyncio.Event) -> None:
        """Until stopped."""
        while not stop.is_set():
            await asyncio.shield(asyncio.to_thread(self.once))
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(stop.wait(), max(self._settings.poll, 1.0))

    def once(self) -> int:
        """One look; answers with how many fates were told."""
        try:
            with self._tables.reading() as connection:
                states = self._tables.states(connection, WITHIN)
        except DBAPIError as why:
            _log.warning("the modem's tables cannot be read; they are tried again", why=str(why.orig)[:300])
            return 0
        told, seen = 0, set()
        for id_, parts in groupby(states, key=lambda state: state.id):
            reference, rows = str(id_), list(parts)
            seen.add(reference)
            arrived = fate(rows)
            if arrived is None or self._told.get(reference) is arrived or min(row.age for row in rows) < self._settle:
                continue
            try:
                self._receipt(reference, arrived, self._when(rows, arrived), _words(rows, arrived))
            except StoreError as why:
                _log.warning("what became of a text could not be kept yet", why=str(why))
                break
            self._told[reference] = arrived
            told += 1
        self._told = {reference: arrived for reference, arrived in self._told.items() if reference in seen}
        return told

    def _when(self, rows: Sequence[State], arrived: bool) -> Instant:
        now = self._now()
        walls = [row.arrived for row in rows if row.arrived]
        if arrived and walls:
            with contextlib.suppress(ValueError):
                wall = max(datetime.fromisoformat(each) for each in walls)
                return min(from_datetime(wall.replace(tzinfo=self._settings.wall).astimezone()), now)
        return now - max(0, min(row.age for row in rows)) * SECOND


def fate(parts: Sequence[State]) -> bool | None:
    """Whether a message arrived, by its parts; None while nobody can say."""
    if any(part.status in FAILED for part in parts):
        return False
    named = part_of(parts[0].header)
    total = 1 if named is None else named.total
    return True if len(parts) == total and all(part.status == _ARRIVED for part in parts) else None


def _words(parts: Sequence[State], arrived: bool) -> str:
    if arrived:
        return "the network says that it arrived"
    failed = next(part for part in parts if part.status in FAILED)
    which = f"part {failed.part} of it: " if len(parts) > 1 else ""
    if failed.status == "DeliveryFailed":
        code = f" (TP-Status {failed.code})" if failed.code >= 0 else ""
        return f"{which}the network gave up on it{code}"
    return f"{which}the modem could not send it ({failed.status}): no credit, no network, or a number that is barred"
