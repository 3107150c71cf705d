"""The form of a stored entry: which fields its bytes have, and how they are read back.

Promises that `read` accepts exactly the bytes that `form` can make, so that nothing can be hidden in a second
key, a space or a field that this program would skip. Never repairs what it reads, and never looks into `data`:
what a kind may say is the catalogue's business.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import msgspec

from logbook.domain import instants
from logbook.domain.instants import MINUTE, SECOND, Instant
from logbook.evidence.canonical import LARGEST, NotCanonicalError, check, encode

NO_FORERUNNER = "0" * 64
"""The `prev` of the first entry of a log."""


class Formed(msgspec.Struct, forbid_unknown_fields=True, gc=False):
    """An entry as its bytes say it. The fields stand in the order of the bytes; that is what makes them canonical.

    `v` is the version of the kind's data, `log` the fleet's origin, `machine` the UUID of the log's machine (the
    fleet's own log has one too), `prev` the leaf hash of the entry before, `reporter` a pseudonym used on this
    machine alone, `private` item name -> commitment (`logbook.evidence.private`). Instants are RFC 3339 text.
    """

    channel: str
    data: dict[str, Any]
    id: str
    kind: str
    log: str
    machine: str
    occurred_at: str
    prev: str
    private: dict[str, str]
    recorded_at: str
    reporter: str
    role: str
    seq: int
    v: int


_decode = msgspec.json.Decoder(Formed, strict=True).decode


def form(
    *,
    v: int,
    log: str,
    machine: str,
    seq: int,
    prev: str,
    id: str,
    kind: str,
    occurred_at: Instant,
    recorded_at: Instant,
    reporter: str,
    role: str,
    channel: str,
    data: dict[str, Any],
    private: dict[str, str],
) -> bytes:
    """The canonical bytes of a new entry: to be stored, hashed, and never made again.

    Raises NotCanonicalError if `data` or a text has no canonical spelling, or `seq` or `prev` cannot be.
    """
    if not 1 <= seq <= LARGEST or len(prev) != 64:
        raise NotCanonicalError("an entry needs a seq of 1 or more and the 64 hex digits of its forerunner's hash")
    try:
        check(data)
        check(private)
    except RecursionError:
        raise NotCanonicalError("the data is nested too deeply") from None
    return encode(
        Formed(
            channel=channel,
            data=data,
            id=id,
            kind=kind,
            log=log,
            machine=machine,
            occurred_at=instant_text(occurred_at),
            prev=prev,
            private=private,
            recorded_at=instant_text(recorded_at),
            reporter=reporter,
            role=role,
            seq=seq,
            v=v,
        )
    )


def read(content: bytes) -> Formed:
    """The entry that these bytes are.

    Raises NotCanonicalError if they are not JSON, lack a field or have one too many, name a key twice, or are not
    spelt canonically.
    """
    try:
        formed = _decode(content)
        # What a key said first, a space, another order or another escape is lost in reading: it shows here.
        if encode(formed) != content:
            raise NotCanonicalError("the bytes are not spelt canonically, or name a key twice")
        if formed.data:
            check(formed.data)
        if formed.private:
            check(formed.private)
    except msgspec.MsgspecError as why:
        raise NotCanonicalError(f"the bytes are not an entry: {why}") from None
    except UnicodeDecodeError:
        raise NotCanonicalError("the bytes are not an entry: they are not UTF-8") from None
    except RecursionError:
        raise NotCanonicalError("the bytes are nested too deeply") from None
    if not 1 <= formed.seq <= LARGEST or not 1 <= formed.v <= LARGEST:
        raise NotCanonicalError("seq and v are whole numbers from 1 on")
    return formed


@lru_cache(maxsize=1 << 14)
def _minute(minute: int) -> str:
    return instants.text(minute * MINUTE)[:-3]


def instant_text(instant: Instant) -> str:
    """`logbook.domain.instants.text`, with the minute remembered: a log names the same ones again and again."""
    minute, rest = divmod(instant, MINUTE)
    second, micro = divmod(rest, SECOND)
    if micro == 0:
        return f"{_minute(minute)}{second:02d}Z"
    return f"{_minute(minute)}{second:02d}.{micro:06d}".rstrip("0") + "Z"
