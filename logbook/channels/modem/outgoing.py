"""Texts that go out: put down in the daemon's outbox, once.

Promises what `logbook.watch.routes.Route` asks. A message carries our name for it as the row's CreatorID, which is
looked for first: a crash between putting it down and noting that does not send it twice. `Sent` means that the daemon
has it; whether it arrived is `receipts`' to say.
"""

from __future__ import annotations

import asyncio
import hashlib
from collections.abc import Callable

from sqlalchemy.exc import DBAPIError, OperationalError

from logbook.channels.modem.parts import MOST, cut, header
from logbook.channels.modem.settings import ModemSettings
from logbook.channels.modem.tables import Tables
from logbook.channels.text import gsm7
from logbook.watch.routes import Again, Hold, Outcome, Outgoing, Refused, Sent

FAILED = frozenset({"SendingError", "DeliveryFailed", "Error"})
"""States of a part that certainly did not reach anybody."""
_CREATOR = 190  # the daemon keeps 199 octets of it


class TextRoute:
    """See `logbook.watch.routes.Route`."""

    name = "text"

    def __init__(self, settings: ModemSettings, met_again: Callable[[str], None] | None = None) -> None:
        """`met_again` is told the reference of a message that was put down in an earlier try: what was said of it
        in between may have been said too early (`Receipts.say_again`)."""
        self._settings = settings
        self._tables = Tables(settings)
        self._met_again = met_again

    @property
    def longest(self) -> float:
        """Seconds: to connect, to wait for one's turn, and two statements more."""
        return 5 * self._settings.timeout

    async def send(self, message: Outgoing) -> Outcome:
        """Put one message down. Raises nothing for what the database does."""
        number = self._settings.number(message.address)
        if number is None:
            return Refused(f"{message.address!r} is not a phone number that a text can go to")
        parts = cut(message.body)
        if len(parts) > MOST:
            return Refused(f"the text would take {len(parts)} parts, and the daemon takes {MOST} at most")
        return await asyncio.to_thread(self._put_down, message, number, parts)

    async def trial(self) -> Again | Hold | None:
        """Reach the tables, and see whether the daemon is at work."""
        return await asyncio.to_thread(self._try)

    async def rest(self) -> None:
        """Nothing is kept open."""

    def _try(self) -> Again | Hold | None:
        try:
            with self._tables.reading() as connection:
                self._tables.find(connection, "")
                return self._at_work(self._tables.sign(connection))
        except DBAPIError as why:
            return _trouble(why)

    def _put_down(self, message: Outgoing, number: str, parts: list[str]) -> Outcome:
        creator = _creator(message.message_id)
        coding = "Default_No_Compression" if gsm7.is_gsm7(message.body) else "Unicode_No_Compression"
        tables = self._tables
        try:
            with tables.writing() as connection:
                found = tables.find(connection, creator)
                if found is not None and FAILED.isdisjoint(found[1]):
                    reference = str(found[0])
                    if self._met_again is not None:
                        self._met_again(reference)
                    return self._sent(reference, "it was put down before")
                away = self._at_work(tables.sign(connection))
                if away is not None:
                    return away
                report = "yes" if self._settings.reports else "no"
                id_ = tables.queue(connection, creator, number, parts, coding=coding, report=report)
                if len(parts) > 1:
                    tables.head(connection, id_, header(id_, len(parts), 1))
                for place, part in enumerate(parts[1:], start=2):
                    tables.join(connection, id_, place, part, coding=coding, header=header(id_, len(parts), place))
        except DBAPIError as why:
            return _trouble(why)
        return self._sent(str(id_), f"put down as {id_}, in {len(parts)} part{'s' if len(parts) > 1 else ''}")

    def _sent(self, reference: str, said: str) -> Sent:
        return Sent(said, reference=reference, confirms=self._settings.reports)

    def _at_work(self, sign: tuple[int, bool] | None) -> Again | Hold | None:
        if sign is None:
            return Again("the modem's daemon has never been at work on these tables", route_down=True)
        age, sends = sign
        # A row of the future is as bad: by a clock or zone that differs, the daemon would look alive for ever.
        if abs(age) > self._settings.max_age:
            away = (
                f"has not touched its tables for {age} s" if age > 0 else f"writes times {-age} s ahead of its database"
            )
            return Again(f"the modem's daemon {away}", route_down=True)
        if not sends:
            return Hold("the modem's daemon is set not to send (Send = no in its settings)")
        return None


def _creator(message_id: str) -> str:
    if len(message_id) <= _CREATOR and message_id.startswith("<") and message_id.endswith(">"):
        return message_id
    return f"<{hashlib.sha256(message_id.encode()).hexdigest()}>"


def _trouble(why: DBAPIError) -> Again | Hold:
    said = " ".join(str(why.orig).split())[:300]
    lacking = "no such table" in said or "no such column" in said or getattr(why.orig, "sqlstate", "") in _UNUSABLE
    if lacking or "readonly" in said:
        return Hold(f"the modem's tables cannot be used: {said}")
    if isinstance(why, OperationalError) and "locked" in said:
        return Again(f"the modem's tables are in use: {said}")
    return Again(f"the modem's tables cannot be reached: {said}", route_down=True)


# PostgreSQL: undefined table, undefined column, insufficient privilege, wrong password.
_UNUSABLE = {"42P01", "42703", "42501", "28P01"}
