"""From a message to the bytes of a mail (RFC 5322, MIME), written here line by line.

Promises that the same message gives the same bytes each time it is sent, Message-ID and Date included, in ASCII and
in short lines, so that no server has a reason to change it; and that no text, whoever wrote it,
can end a header or a line of its own. (The standard library's folding of long headers in other letters differs
from version to version, and has lost spaces; these few lines do not.)
"""

from __future__ import annotations

import base64
import hashlib
import quopri
import re
from collections.abc import Iterator
from email.utils import format_datetime

from logbook.channels.mail_out.address import checked
from logbook.domain.instants import to_datetime
from logbook.watch.routes import Attachment, Outgoing

_PLAIN = re.compile(r"[ -~]*", re.ASCII)
_WORD = 39
"""Octets in one encoded-word: 64 characters with what goes around, so that a line with one has at most 76."""
_LINE = 78
_MESSAGE_ID = re.compile(r"<[!-;=?A-~]+@[!-;=?A-~]+>", re.ASCII)
_LANGUAGE = re.compile(r"[A-Za-z]{2,8}(?:-[A-Za-z0-9]{1,8})*", re.ASCII)


def compose(message: Outgoing, from_address: str, from_name: str) -> bytes:
    """The whole mail, lines ended by CRLF. Raises AddressError for an address, ValueError for a Message-ID, that
    is none."""
    if not _MESSAGE_ID.fullmatch(message.message_id):
        raise ValueError(f"{message.message_id!r} is no Message-ID (RFC 5322, section 3.6.4)")
    head = [
        f"Message-ID: {message.message_id}",
        f"Date: {format_datetime(to_datetime(message.queued_at))}",
        f"From: {_phrase(from_name)}<{checked(from_address)}>",
        f"To: <{checked(message.address)}>",
        f"Subject: {_words(_one_line(message.subject), len('Subject: '))}",
        # RFC 3834, section 5: so that nobody's machine answers ours.
        "Auto-Submitted: auto-generated",
        "MIME-Version: 1.0",
    ]
    if message.language is not None and _LANGUAGE.fullmatch(message.language):
        head.append(f"Content-Language: {message.language}")
    if not message.attachments:
        return "\r\n".join([*head, *_text(message.body)]).encode("ascii")
    # "=_" stands in no quoted-printable and no base64 text, so the boundary cannot occur in a part (RFC 2045, 6.7).
    boundary = "=_" + hashlib.sha256(message.message_id.encode()).hexdigest()[:32]
    lines = [*head, f'Content-Type: multipart/mixed; boundary="{boundary}"', "", f"--{boundary}", *_text(message.body)]
    for attachment in message.attachments:
        lines += [f"--{boundary}", *_file(attachment)]
    return "\r\n".join([*lines, f"--{boundary}--", ""]).encode("ascii")


def _text(body: str) -> Iterator[str]:
    yield "Content-Type: text/plain; charset=utf-8"
    yield "Content-Transfer-Encoding: quoted-printable"
    yield ""
    shown = "\n".join(_shown(line) for line in re.split(r"\r\n|\r|\n", body))
    encoded = quopri.encodestring(shown.rstrip("\n").encode("utf-8", "replace") + b"\n").decode("ascii")
    yield from encoded.split("\n")  # ends with an empty string, and so with a line break


def _shown(text: str) -> str:
    """Without what no reader can see and some mail program may obey; a tab stays."""
    return "".join(char for char in text if char == "\t" or not (ord(char) < 32 or 127 <= ord(char) < 160))


def _file(attachment: Attachment) -> Iterator[str]:
    name = "".join(char if char.isascii() and (char.isalnum() or char in "._-") else "_" for char in attachment.name)
    name = name[-60:] or "file"
    yield f'Content-Type: application/octet-stream; name="{name}"'
    yield f'Content-Disposition: attachment; filename="{name}"'
    yield "Content-Transfer-Encoding: base64"
    yield ""
    yield from base64.encodebytes(attachment.content).decode("ascii").rstrip("\n").split("\n")


def _one_line(text: str) -> str:
    return " ".join(_shown(re.sub(r"\s", " ", text)).split())


def _phrase(name: str) -> str:
    """A name before an address, with a space behind it; "" for none."""
    name = _one_line(name)
    if not name:
        return ""
    if _PLAIN.fullmatch(name) and len(name) < _LINE - 10:
        return '"' + name.replace("\\", "\\\\").replace('"', '\\"') + '"\r\n '
    return _words(name, len("From: "), always=True) + "\r\n "


def _words(text: str, used: int, *, always: bool = False) -> str:
    """Text in a header, as it is where that is safe, else in encoded-words of whole characters (RFC 2047)."""
    if not always and _PLAIN.fullmatch(text) and "=?" not in text and used + len(text) <= _LINE:
        return text
    chunks: list[bytes] = [b""]
    for char in text:
        octets = char.encode("utf-8", "replace")
        if len(chunks[-1]) + len(octets) > _WORD:
            chunks.append(b"")
        chunks[-1] += octets
    return "\r\n ".join(f"=?utf-8?B?{base64.b64encode(chunk).decode('ascii')}?=" for chunk in chunks)
