"""Texts that come in: each row of the daemon's inbox, joined where it is a part, is handed on and then marked.

Promises that a text is marked only after whoever takes it has kept it: a crash between the two hands it on again by
the same id, which adds nothing. That a long text's parts are joined in whatever order they came; one whose rest stays
away is kept aside, not acted on. That tables which are locked, or a store that fails, are met again at the next look.
Never answers.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import structlog
from sqlalchemy.exc import DBAPIError

from logbook.channels.desk import Message
from logbook.channels.modem.parts import is_for_a_program, part_of
from logbook.channels.modem.settings import ModemSettings
from logbook.channels.modem.tables import Row, Tables, words_of
from logbook.domain.instants import MINUTE, SECOND, Instant, from_datetime
from logbook.store import StoreError

CHANNEL = "modem"
_MOST = 5_000
_USSD = 127
_log = structlog.get_logger("logbook.modem")


@dataclass(slots=True)
class _Whole:
    """The rows of one text, by part; one row without a part stands under 1 of 1."""

    total: int
    rows: dict[int, Row] = field(default_factory=dict)

    @property
    def in_order(self) -> list[Row]:
        return [self.rows[number] for number in sorted(self.rows)]


class Incoming:
    """Looks into the inbox and hands on what is new."""

    def __init__(
        self, settings: ModemSettings, take: Callable[[Message], object], now: Callable[[], Instant],
        keep_aside: Callable[[Message, str], None] | None = None,
    ) -> None:  # fmt: skip
        """`take` returns after the text was kept, or raises. `keep_aside` is for what no person should be answered."""
        self._settings = settings
        self._tables = Tables(settings)
        self._take = take
        self._now = now
        self._keep_aside = keep_aside
        self._stopping = False

    async def run(self, stop: asyncio.Event) -> None:
        """Until stopped. A text that is being taken is finished first."""
        while not stop.is_set():
            await asyncio.shield(asyncio.to_thread(self.once, stop))
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(stop.wait(), self._settings.poll)

    def once(self, stop: asyncio.Event | None = None) -> int:
        """One look; answers with how many texts were dealt with. Raises nothing for what a database does."""
        dealt = 0
        try:
            with self._tables.reading() as connection:
                waiting = self._tables.waiting(connection, _MOST)
        except DBAPIError as why:
            _log.warning("the modem's tables cannot be read; nothing is lost, and they are tried again", why=_said(why))
            return 0
        for whole in joined(waiting):
            if stop is not None and stop.is_set():
                break
            try:
                dealt += self._deal(whole)
            except StoreError as why:
                _log.warning("a text could not be kept yet; it stays in the modem's tables", why=str(why))
                break
            except DBAPIError as why:
                # It was kept, and will be handed on again: its id says that it is known.
                _log.warning("a text was kept but could not be marked so; it will be met again", why=_said(why))
                break
            except Exception:  # noqa: BLE001 - told in the next lines
                # A fault of ours in one text must not keep the others. It stays where it is.
                _log.exception("a text could not be taken; it stays in the modem's tables", row=whole.in_order[0].id)
        return dealt

    def _deal(self, whole: _Whole) -> bool:
        rows = whole.in_order
        complete = len(rows) == whole.total
        if not complete and min(row.age for row in rows) < self._settings.parts_wait:
            return False
        first = rows[0]
        id_ = f"modem:{self._tables.name}:{first.id}:{first.received}"
        sender = self._settings.number(first.sender)
        at = received(first, self._settings, self._now())
        # What is kept aside for want of a part has an id of its own: should the part come after all, it is a new text.
        message = Message(
            id_ if complete else f"{id_}:{'+'.join(map(str, sorted(whole.rows)))} of {whole.total}",
            CHANNEL, sender or first.sender, words_of(rows), at,
        )  # fmt: skip
        reason = _aside(first, sender, complete, whole)
        if reason is None:
            self._take(message)
        elif self._keep_aside is not None:
            self._keep_aside(message, reason)
        else:
            _log.warning("a text is not acted on; it stays in the modem's tables", row=first.id, why=reason)
            if not complete:
                return False
        with self._tables.writing() as connection:
            self._tables.done(connection, [row.id for row in rows])
        return True


def joined(rows: Sequence[Row]) -> Iterator[_Whole]:
    """The texts among some rows, in order of their first row. A part that is there already begins a text of its own:
    references come round again, after 256 messages of one sender."""
    wholes: list[_Whole] = []
    open_: dict[tuple[object, ...], list[_Whole]] = {}
    for row in rows:
        part = part_of(row.header)
        if part is None:
            wholes.append(_Whole(1, {1: row}))
            continue
        same = open_.setdefault((row.sender, part.reference, part.total), [])
        whole = next((each for each in same if part.number not in each.rows), None)
        if whole is None:
            whole = _Whole(part.total)
            same.append(whole)
            wholes.append(whole)
        whole.rows[part.number] = row
    yield from wholes


def _aside(first: Row, sender: str | None, complete: bool, whole: _Whole) -> str | None:
    """Why a text is nobody's report, or None."""
    if first.kind == _USSD:
        return "an answer of the network itself, not a text"
    if first.coding == "8bit" or is_for_a_program(first.header):
        return "meant for a program of the phone, not for a reader"
    if not complete:
        return f"parts {', '.join(map(str, sorted(whole.rows)))} of {whole.total} came, and the rest did not"
    if sender is None:
        return "from a service or a number without its country, which cannot be answered"
    return None


def received(row: Row, settings: ModemSettings, now: Instant) -> Instant:
    """When the network took the text, as the daemon wrote it down by its wall clock; never later than now.

    A wall-clock time that an autumn change repeats is the later one, unless the row was there before that. A time
    that cannot be is taken for when the row was written.
    """
    written = now - max(0, row.age) * SECOND
    try:
        wall = datetime.fromisoformat(row.received)
    except ValueError:
        return written
    if wall.year < 2010:  # a modem whose clock was never set; the network always sets it
        return written
    found = [from_datetime(wall.replace(tzinfo=settings.wall, fold=fold).astimezone()) for fold in (1, 0)]
    return min(next((each for each in found if each <= written + MINUTE), found[1]), now)


def _said(why: DBAPIError) -> str:
    return " ".join(str(why.orig).split())[:300]
