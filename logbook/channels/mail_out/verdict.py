"""What a mail server's answer means for a message: the table of retries, in one place.

| answer | to what | meaning |
|---|---|---|
| 4xx | anything | again, later |
| 530 534 535 538 (RFC 4954) | anything | hold: our login is missing or wrong |
| 5xx | greeting, hello, STARTTLS, login, sender | hold: it is about us, and would meet every message |
| 552 | sender | refused: this message is too large (RFC 1870) |
| 5xx | recipient, message | refused: this address, for good |
| any other | anything | again: a broken answer says nothing |
"""

from __future__ import annotations

import ssl
from enum import Enum

from logbook.watch.routes import Again, Hold, Refused

_LOGIN_CODES = {530, 534, 535, 538}
_TOO_LARGE = 552


class Stage(Enum):
    """How far a transaction had come; the value completes a sentence."""

    GREETING = "greeting us"
    HELLO = "our greeting"
    TLS = "the request to encrypt"
    LOGIN = "our login"
    SENDER = "the sender's address"
    RECIPIENT = "the recipient's address"
    MESSAGE = "the message"


_ABOUT_US = {Stage.GREETING, Stage.HELLO, Stage.TLS, Stage.LOGIN, Stage.SENDER}


def printable(said: str, most: int = 300) -> str:
    """What a server said, on one line, harmless to keep and to show. (It may hold octets that are no text.)"""
    shown = said.encode("utf-8", "replace").decode("utf-8", "replace")
    return " ".join("".join(char if char.isprintable() else " " for char in shown).split())[:most]


def of_answer(stage: Stage, code: int, said: str) -> Again | Refused | Hold:
    """What to make of an answer that is not the one hoped for."""
    words = f"the mail server answered {stage.value} with: {code} {printable(said)}"
    if 400 <= code <= 499:
        return Again(words, route_down=stage in _ABOUT_US and stage is not Stage.SENDER)
    if code in _LOGIN_CODES:
        return Hold(words)
    if 500 <= code <= 599:
        if stage in _ABOUT_US and not (stage is Stage.SENDER and code == _TOO_LARGE):
            return Hold(words)
        return Refused(words)
    shown = words if code > 0 else f"the mail server answered {stage.value} with: {printable(said)}"
    return Again(f"{shown} (which is no answer to that)")


def of_tls(host: str, why: ssl.SSLError) -> Again | Hold:
    """What to make of encryption that could not be begun."""
    if isinstance(why, ssl.SSLCertVerificationError):
        return Hold(f"the certificate of {host} is not to be trusted: {printable(why.verify_message)}")
    if isinstance(why, ssl.SSLEOFError | ssl.SSLZeroReturnError | ssl.SSLSyscallError):
        return Again(f"{host} hung up while encryption was being agreed", route_down=True)
    return Hold(f"{host} and we could not agree how to encrypt: {printable(str(why))}")
