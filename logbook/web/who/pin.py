"""PINs: four to eight digits, for phones that several people share.

Promises that a PIN is kept as its argon2id hash only (19 MiB, two passes: OWASP's password storage cheat sheet, as of
2024), that the easily guessed are refused, and that wrong ones cost growing pauses which a restart does not forget:
counted before the PIN is looked at, so that many tries at once are worth no more than one after another.
"""

from __future__ import annotations

import itertools
import re
import threading
from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError, VerifyMismatchError
from sqlalchemy import Connection

from logbook.domain.instants import DAY, HOUR, MINUTE, Instant
from logbook.domain.wording.mark import mark
from logbook.store import attempts, pins
from logbook.web.house import House
from logbook.web.who.limits import TooOften, seconds

FREE, FIRST, LONGEST = 5, MINUTE, 4 * HOUR
"""So many wrong ones cost nothing; the next pause is this long, and doubles, up to this."""
FORGOTTEN: Instant = DAY
"""So long after the last wrong one, all are forgotten."""

SHAPE = mark("A PIN has four to eight digits. Nothing was saved. Choose another.")
WEAK = mark("That PIN is the first that anybody would try. Nothing was saved. Choose another.")
TWICE = mark("The two are not the same. Nothing was saved. Type your new PIN twice.")
OLD = mark("That is not your PIN until now. Nothing was saved.")

_hasher = PasswordHasher(time_cost=2, memory_cost=19_456, parallelism=1)
_few_at_once = threading.BoundedSemaphore(2)
"""Each takes 19 MiB: a small server makes whoever comes third wait."""


def refused(pin: str, again: str) -> str | None:
    """Why a PIN cannot be taken, or None."""
    if not re.fullmatch(r"[0-9]{4,8}", pin, re.ASCII):
        return SHAPE
    if _weak(pin):
        return WEAK
    return None if pin == again else TWICE


def _weak(pin: str) -> bool:
    """One digit, steps of one, a pattern repeated or mirrored, a year, or a day: what is tried first."""
    steps = {(int(b) - int(a)) % 10 for a, b in itertools.pairwise(pin)}
    if len(steps) == 1 and steps <= {0, 1, 9}:
        return True
    half = len(pin) // 2
    if len(pin) % 2 == 0 and (pin[:half] == pin[half:] or pin[:half] == pin[half:][::-1]):
        return True
    if len(set(pin)) == 1 or pin in {"2580", "0852", "1397", "1379", "147258", "159357"}:
        return True
    return len(pin) == 4 and 1930 <= int(pin) <= 2039


def hashed(pin: str) -> str:
    """The slow hash of a PIN."""
    with _few_at_once:
        return _hasher.hash(pin)


@cache
def _nobodys() -> str:
    """Compared with where there is no PIN, so that an unknown person takes as long as a wrong PIN."""
    return hashed("nobody's")


def holds(house: House, person: str, phone: str, said: str) -> bool:
    """Whether this is the person's PIN, on this shared phone. Raises TooOften while a pause lasts."""
    names = (f"pin:{house.sign('attempt', person)}", f"phone:{house.sign('attempt', phone)}")

    def counting(connection: Connection) -> str | int | None:
        now = house.now()
        counts = []
        for name in names:
            count, last = attempts.failures(connection, name)
            count = 0 if now - last > FORGOTTEN else count
            wait = last + pause(count) - now
            if wait > 0:
                return seconds(wait)
            counts.append(count)
        for name, count in zip(names, counts, strict=True):
            attempts.failed(connection, name, count + 1, now)
        return pins.of(connection, person)

    found = house.store.write(counting)
    if isinstance(found, int):
        raise TooOften(found)
    if not _same(found or _nobodys(), said) or found is None:
        return False

    def right(connection: Connection) -> None:
        for name in names:
            attempts.clear(connection, name)

    house.store.write(right)
    return True


def pause(wrong: int) -> Instant:
    """How long one waits after so many wrong PINs in a row."""
    return 0 if wrong < FREE else min(FIRST << min(wrong - FREE, 20), LONGEST)


def _same(hash: str, said: str) -> bool:
    with _few_at_once:
        try:
            return _hasher.verify(hash, said)
        except (VerifyMismatchError, VerificationError, InvalidHashError):
            return False
