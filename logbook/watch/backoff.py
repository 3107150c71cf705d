"""How long to wait before trying a message again: longer each time, and not all at once. Pure: no clock, no chance."""

from __future__ import annotations

import hashlib

from logbook.domain.instants import DAY, HOUR, MINUTE, SECOND, Instant

FIRST: Instant = 30 * SECOND
MOST: Instant = HOUR
"""A message that a server puts off: no less than a first try after half a minute, no more than an hour apart."""

MOST_DOWN: Instant = 5 * MINUTE
"""A route that cannot be reached at all: one message tries it, so it may be asked often, and is found mended soon."""

GIVE_UP: Instant = 5 * DAY
"""RFC 5321, section 4.5.4.1: a server's "not now" is believed for at least four to five days."""


def backoff(id: str, attempts: int, most: Instant = MOST) -> Instant:
    """Microseconds to wait after so many attempts have failed (1: the first has).

    Twice as long each time, up to `most`, and between 3/4 and 5/4 of that, by the message's id: what failed together
    does not come back together, and the same message always waits alike.
    """
    doubled = min(most, FIRST << min(max(attempts - 1, 0), 20))
    part = int.from_bytes(hashlib.sha256(f"{id} {attempts}".encode()).digest()[:4], "big")
    return doubled * 3 // 4 + doubled * part // 2 // 2**32
