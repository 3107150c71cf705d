"""Addresses, checked by us and not by whoever is given them.

(Tried: a client library sent a recipient with a line break in it, cut short at the break, and said that all was
well.) The rule: `local@domain`, both in ASCII; a domain with other letters is written as its A-labels (RFC 5890); a
local part with other letters would need SMTPUTF8 (RFC 6531) on every server on its way, and is refused. Quoted
local parts and address literals are refused too: nobody has one by which they want to be woken.
"""

from __future__ import annotations

import re

_ATOM = r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+"
_LOCAL = re.compile(rf"{_ATOM}(?:\.{_ATOM})*", re.ASCII)  # RFC 5322, section 3.2.3: dot-atom
_LABEL = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?", re.ASCII)  # RFC 1123, section 2.1

LOCAL_OCTETS, ADDRESS_OCTETS = 64, 254
"""RFC 5321, section 4.5.3.1: a local part, and a path less its angle brackets."""


class AddressError(ValueError):
    """An address that no mail is sent to. Says why, as one sentence."""


def checked(address: str) -> str:
    """The address as it goes on the wire. Raises AddressError; never mends, cuts or strips anything."""
    if any(ord(char) < 33 or 127 <= ord(char) < 160 or char in "\u2028\u2029" for char in address):
        raise AddressError(f"The address {address!r} holds a line break, a space or a control character.")
    local, at, domain = address.rpartition("@")
    if not at or not local or not domain:
        raise AddressError(f"The address {address!r} is not of the form name@domain.")
    if not local.isascii():
        raise AddressError(
            f"The address {address!r} has letters before the @ that mail servers may not pass on; "
            "an address in plain letters is needed."
        )
    if len(local) > LOCAL_OCTETS or not _LOCAL.fullmatch(local):
        raise AddressError(f"The address {address!r} has something before the @ that mail cannot be sent to.")
    try:
        # A name in plain letters is left as it is; for the rest this is RFC 3490, which registries' names satisfy.
        host = domain if domain.isascii() else domain.encode("idna").decode("ascii")
    except UnicodeError:
        host = ""
    if not all(_LABEL.fullmatch(label) for label in host.split(".")) or host.replace(".", "").isdigit():
        raise AddressError(f"The address {address!r} has no domain name after the @.")
    if len(local) + 1 + len(host) > ADDRESS_OCTETS:
        raise AddressError(f"The address {address!r} is longer than mail allows ({ADDRESS_OCTETS} characters).")
    return f"{local}@{host}"
