"""How long private words are kept: raw texts, messages, remarks and photographs are erased when their time is over.

That is looked at once a day. The log itself is never touched: it holds commitments only, and verifies as before.
People's names and numbers stay as long as the register needs them; erasing a person is an act of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection

from logbook.domain.entries.faults import PHOTO_ITEM
from logbook.domain.instants import DAY, Instant
from logbook.intake import Intake
from logbook.store import clock as signs
from logbook.store import heard, outbox, words
from logbook.store import notices as shelf

_SIGN = "keeping"


@dataclass(frozen=True, slots=True)
class Erased:
    """How much was erased: raw texts, messages and notices, remarks, photographs."""

    texts: int
    messages: int
    words: int
    photographs: int = 0

    @property
    def any(self) -> bool:
        """Whether anything was."""
        return bool(self.texts or self.messages or self.words or self.photographs)


def erase_old(intake: Intake, connection: Connection, now: Instant) -> Erased | None:
    """Erase what policy keeps no longer; None if that was done within a day already."""
    last = signs.of(connection, _SIGN)
    if last is not None and now < last.at + DAY:
        return None
    signs.put(connection, _SIGN, now)
    policy = intake.registry.current(connection).fleet_policy(now)
    texts, private, photographs = (
        now - policy.duration(key).days * DAY for key in ("keep_texts", "keep_private", "keep_photographs")
    )
    return Erased(
        heard.erase_before(connection, texts),
        outbox.erase_before(connection, texts) + shelf.erase_before(connection, texts),
        words.erase_before(connection, private, intake.registry.fleet(connection), apart=PHOTO_ITEM),
        words.erase_item_before(connection, photographs, PHOTO_ITEM),
    )
