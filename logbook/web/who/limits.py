"""How often something may be tried: by whoever asks from one address, and for one person.

Promises that what was tried is remembered by the database, so that a restart forgives nobody; that addresses are
kept only as a proof that leads to none; and that whoever is refused hears when to come again. Old counts are erased.
"""

from __future__ import annotations

import ipaddress
import math

from fastapi import Request
from sqlalchemy import Connection

from logbook.domain.instants import DAY, HOUR, MINUTE, SECOND, Instant
from logbook.store import attempts, passkeys, sessions
from logbook.web.house import House, house_of

ALLOWED: dict[str, tuple[int, Instant]] = {
    "link": (30, 10 * MINUTE),  # links that nobody gave out
    "join": (20, HOUR),  # forms of newcomers
    "word": (8, HOUR),  # words that stand on no plate
    "words": (300, HOUR),  # the same, from everywhere: many addresses may guess together
    "mail": (10, HOUR),  # links asked for
    "mail_to": (3, HOUR),  # the same, for one person
    "pin": (60, 10 * MINUTE),  # PINs from one address, right ones too; a site's phones share one
    "passkey": (30, 10 * MINUTE),
    "new_passkey": (20, HOUR),
}
"""By what is tried: how often, in how long a span."""

KEPT_ATTEMPTS, KEPT_SESSIONS = 2 * DAY, 30 * DAY
"""How long counts are kept, and how long a session is after it expired."""


class TooOften(Exception):
    """It was tried too often; `wait`: seconds until it may be tried again."""

    def __init__(self, wait: int) -> None:
        super().__init__(f"too often; again in {wait} s")
        self.wait = wait


def client_of(request: Request) -> str:
    """The address that asks: the peer's, or what our own proxy on this machine says was its peer's."""
    house, peer = house_of(request), request.client.host if request.client is not None else ""
    if house.behind_proxy and _loopback(peer):
        # Only the last hop was written by our proxy; whatever stands before it was sent by the browser.
        peer = ",".join(request.headers.getlist("x-forwarded-for")).rpartition(",")[2].strip() or peer
    try:
        read = ipaddress.ip_address(peer.strip("[]"))
    except ValueError:
        return peer[:60]
    if isinstance(read, ipaddress.IPv6Address) and read.ipv4_mapped is not None:
        return str(read.ipv4_mapped)  # else all of IPv4 would be one household
    if isinstance(read, ipaddress.IPv6Address):
        # One household has a whole /64 to ask from (RFC 6177).
        return str(ipaddress.ip_network((read, 64), strict=False))
    return str(read)


def admit(house: House, what: str, who: str) -> None:
    """Count one attempt at `what` by `who`: an address, a person's uuid, or "" for all. Raises TooOften."""
    most, span = ALLOWED[what]
    now = house.now()
    begun = now - now % span
    name = f"{what}:{house.sign('attempt', who)}"

    def job(connection: Connection) -> int:
        counted = attempts.count(connection, name, begun)
        if counted == 1:
            tidy(connection, now)
        return counted

    if house.store.write(job) > most:
        raise TooOften(seconds(begun + span - now))


def seconds(span: Instant) -> int:
    """Whole seconds, rounded up, at least one."""
    return max(1, math.ceil(span / SECOND))


def tidy(connection: Connection, now: Instant) -> None:
    """Erase what is of no use any more: old counts, challenges, links and sessions."""
    attempts.forget_old(connection, now - KEPT_ATTEMPTS)
    passkeys.forget_old(connection, now)
    sessions.forget_old(connection, now - KEPT_SESSIONS)


def _loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False
