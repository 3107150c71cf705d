"""Signatures: whether a post is the gateway's, whole and of now.

HMAC-SHA256 (RFC 2104, FIPS 180-4) over a timestamp and the raw body, as the template puts them together. Promises a
comparison that takes the same time for every wrong signature. Never says anything to the caller but yes or no; the
reasons are for our own log.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import re
from collections.abc import Sequence

from logbook.channels.gateway.posts import Inward
from logbook.domain.instants import SECOND, Instant, parse

WINDOW: Instant = 300 * SECOND
"""A timestamp may be off our clock by this much: longer, and an old post could be played again for longer."""

_HEX = re.compile(r"[0-9A-Fa-f]{64}", re.ASCII)
_NUMBER = re.compile(r"\d{1,15}(?:\.\d{1,9})?", re.ASCII)
_MILLIS_FROM = 10**11
"""A number from here on is milliseconds: as seconds it would be the year 5138."""


class NotOursError(Exception):
    """A post that is not to be looked at. Says why, for our log alone."""


def instant_of(said: object) -> Instant | None:
    """An instant as a gateway may write it: RFC 3339, or seconds (or milliseconds) since 1970. None for all else."""
    if isinstance(said, str) and not _NUMBER.fullmatch(said):
        try:
            return parse(said)
        except ValueError:
            return None
    if isinstance(said, bool) or not isinstance(said, int | float | str):
        return None
    number = float(said) if isinstance(said, str) else said
    if not 0 <= number < 10**14:  # NaN is neither
        return None
    return round(number * (1_000 if number >= _MILLIS_FROM else SECOND))


def timely(template: Inward, timestamps: Sequence[str], signatures: Sequence[str], now: Instant) -> tuple[str, bytes]:
    """The timestamp and the signature of a post, before its body is read. Raises NotOursError."""
    if len(timestamps) != 1 or len(signatures) != 1:
        raise NotOursError("a timestamp or a signature is missing, or there are two")
    at = instant_of(timestamps[0])
    if at is None:
        raise NotOursError("the timestamp cannot be read")
    if abs(at - now) > WINDOW:
        raise NotOursError(f"the timestamp is {(at - now) // SECOND:+d} s off our clock")
    return timestamps[0], _decoded(template, signatures[0])


def verify(template: Inward, secrets: Sequence[bytes], timestamp: str, signature: bytes, body: bytes) -> None:
    """Whether one of the secrets has signed this. Raises NotOursError."""
    signed = to_sign(template, timestamp, body)
    good = [hmac.compare_digest(hmac.new(secret, signed, hashlib.sha256).digest(), signature) for secret in secrets]
    if not any(good):
        raise NotOursError("the signature is wrong")


def to_sign(template: Inward, timestamp: str, body: bytes) -> bytes:
    """The octets that are signed."""
    # The two placeholders are replaced at once: a body may hold "{timestamp}".
    first, second = sorted(("{timestamp}", "{body}"), key=template.signed.index)
    before, rest = template.signed.split(first)
    between, after = rest.split(second)
    values = {"{timestamp}": timestamp.encode("latin-1"), "{body}": body}
    return b"".join((before.encode(), values[first], between.encode(), values[second], after.encode()))


def _decoded(template: Inward, signature: str) -> bytes:
    if not signature.startswith(template.signature_prefix):
        raise NotOursError("the signature does not begin as the template says")
    bare = signature.removeprefix(template.signature_prefix)
    if template.signature == "hex":
        if not _HEX.fullmatch(bare):
            raise NotOursError("the signature is not 64 hexadecimal digits")
        return bytes.fromhex(bare)
    try:
        return base64.b64decode(bare, validate=True)
    except (binascii.Error, ValueError):
        raise NotOursError("the signature is not base64") from None
