"""The register, read from the fleet's log and kept in memory for as long as that log has not grown.

Promises that a register handed out is what the fleet's log says as of the transaction that asked. Many threads may
ask at once. It writes nothing.
"""

from __future__ import annotations

import threading
from typing import Any

import msgspec
from sqlalchemy import Connection

from logbook.domain.register import Register
from logbook.store import log, meta, words

FLEET = "fleet_log"
"""The name under which the UUID of the fleet's own log is kept."""


class _Told(msgspec.Struct, gc=False):
    data: dict[str, Any]
    private: dict[str, str]


_told = msgspec.json.Decoder(_Told).decode


class Registry:
    """Hands out the register, folding only what the fleet's log has grown by.

    A register that another thread was given never changes under its hands: where there is such a thread, the log is
    read anew instead. That costs a reading of the fleet's log each time it grows, and it grows seldom.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._fleet: str | None = None
        self._start_anew()

    def _start_anew(self) -> None:
        self._register = Register()
        self._head: tuple[int, str] = (0, "")
        self._given_to: set[int] = set()

    def fleet(self, connection: Connection) -> str:
        """The UUID of the fleet's log. Raises LookupError if no fleet was founded in this database."""
        if self._fleet is None:
            self._fleet = meta.of(connection, FLEET)
            if self._fleet is None:
                raise LookupError(
                    "There is no fleet in this database yet: `logbook init` and `logbook fleet apply` found one."
                )
        return self._fleet

    def current(self, connection: Connection) -> Register:
        """The register as this transaction sees the fleet's log. Raises LookupError if there is no fleet."""
        fleet = self.fleet(connection)
        head = log.head(connection, fleet)
        now = (0, "") if head is None else (head.seq, head.head)
        me = threading.get_ident()
        with self._lock:
            if now != self._head:
                if self._given_to - {me}:
                    self._start_anew()
                if not self._grow(connection, fleet, now[0]):
                    # What was known is not the beginning of this log: it came from a transaction that was given up.
                    self._start_anew()
                    self._grow(connection, fleet, now[0])
                self._head = now
            self._given_to.add(me)
            return self._register

    def forget(self) -> None:
        """Read everything anew next time: private words were erased, or a transaction that had grown it failed."""
        with self._lock:
            self._fleet = None  # the log itself may have begun in the transaction that failed
            self._start_anew()

    def _grow(self, connection: Connection, fleet: str, seq: int) -> bool:
        """Fold what is new; False, having done nothing, if what was folded before is not this log's beginning."""
        known, hash_ = self._head
        if known > seq:
            return False
        kept = {}
        for word in words.of_machine(connection, fleet):
            kept[word.entry, word.item] = word.content.decode()
        for row in log.by_seq(connection, fleet, max(known - 1, 0)):
            if row.seq == known:
                if row.hash != hash_:
                    return False
                continue
            told = _told(row.bytes)
            private = {item: kept[row.id, item] for item in told.private if (row.id, item) in kept}
            self._register.apply(row.kind, told.data, private, row.recorded_at)
        return True
