"""What a gateway's answer means for a text: the table of retries, in one place.

| answer | meaning |
|---|---|
| one of `accepted` | sent |
| another 2xx, 3xx | hold: the template or the address is not this gateway's, and trying again could send twice |
| one of `refused` (400, 422) | refused: this number or text, for good |
| 401 403 and other 4xx | hold: it is about us, and would meet every message |
| 408 409 425 | again: it has not dealt with it yet |
| 429 | again, when it says |
| 500 and other 5xx | again; it may be this message's fault |
| 502 503 504 | again; the gateway is down |
"""

from __future__ import annotations

from collections.abc import Mapping
from email.utils import parsedate_to_datetime

from logbook.channels.gateway.request import Outward
from logbook.channels.mail_out.verdict import printable
from logbook.domain.instants import SECOND, Instant, from_datetime
from logbook.watch.routes import Again, Hold, Refused

_NOT_YET = {408, 409, 425}
_DOWN = {502, 503, 504}
_LONGEST_WAIT = 86_400.0


def of_status(
    settings: Outward, status: int, headers: Mapping[str, str], body: str, now: Instant
) -> Again | Refused | Hold | None:
    """What to make of an answer; None if the message is taken over."""
    if status in settings.accepted:
        return None
    words = f"the gateway answered {status}" + (f": {printable(body, 200)}" if body.strip() else "")
    if status in settings.refused:
        return Refused(words)
    if status in _NOT_YET:
        return Again(words)
    if status == 429:
        return Again(words, after=wait_of(headers, now))
    if 500 <= status <= 599:
        return Again(words, after=wait_of(headers, now), route_down=status in _DOWN)
    if 300 <= status <= 399:
        return Hold(f"the gateway answered {status}, a way to another address, which is not gone: set the one it has")
    if 200 <= status <= 299:
        return Hold(f"{words} (the template does not say that it has then taken the message over)")
    return Hold(words)


def wait_of(headers: Mapping[str, str], now: Instant) -> float | None:
    """Seconds named by Retry-After (RFC 9110, section 10.2.3), a number or a date; None for none or nonsense."""
    said = headers.get("retry-after", "").strip()
    if said.isascii() and said.isdigit() and len(said) < 10:
        return min(float(said), _LONGEST_WAIT)
    try:
        seconds = (from_datetime(parsedate_to_datetime(said)) - now) / SECOND
    except (ValueError, TypeError, OverflowError):
        return None
    return min(max(seconds, 0.0), _LONGEST_WAIT)
