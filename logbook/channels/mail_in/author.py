"""Who a mail says it is from: one address in one From field (RFC 5322, section 3.6.2), or nobody.

Mail that names two senders, or writes one so that programs differ about it, names nobody here: what the server has
proved about a sender must be about the very one that is believed.
"""

from __future__ import annotations

from collections.abc import Sequence

from logbook.channels.mail_out.address import AddressError, checked
from logbook.domain.people import email_key


def author(fields: Sequence[str]) -> str | None:
    """The address in the From fields, as addresses are compared; None unless there is exactly one.

    `fields`: the raw values, before any encoded-word is read: a name may not smuggle an address in.
    """
    if len(fields) != 1:
        return None
    address = _single(fields[0])
    if address is None:
        return None
    try:
        return email_key(checked(address))
    except AddressError:
        return None


def _single(value: str) -> str | None:
    outside: list[str] = []
    inside: list[str] | None = None
    quoted, comments, escaped, done = False, 0, False, False
    for char in value:
        if escaped:
            escaped = False
        elif char == "\\" and (quoted or comments):
            escaped = True
        elif quoted:
            quoted = char != '"'
        elif comments:
            comments += {"(": 1, ")": -1}.get(char, 0)
        elif char == "(":
            comments = 1
        elif char == '"':
            if inside is not None or done:
                return None
            quoted = True
            outside.append(" ")
        elif char == "<":
            if inside is not None or done:
                return None
            inside = []
        elif char == ">" and inside is not None and not done:
            done = True
        elif char in ",;:<>":
            return None  # a second address, a group, or a route
        elif inside is not None and not done:
            inside.append(char)
        elif done and not char.isspace():
            return None
        elif not done:
            outside.append(char)
    if quoted or comments or (inside is not None and not done):
        return None
    return "".join(inside if inside is not None else outside).strip() or None
