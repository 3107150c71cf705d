"""A mail taken apart: its fields, and those of its parts that hold words (RFC 5322, RFC 2045 to 2047, RFC 3676).

Our own few lines, because hostile mail is met here first: each octet is looked at a bounded number of times, depth
and number of parts are bounded, and nothing that is no text is ever unpacked. Raises only `BrokenMailError`.
"""

from __future__ import annotations

import binascii
import re
from dataclasses import dataclass
from functools import cached_property

from logbook.channels.mail_in import charsets, markup

DEPTH, PARTS = 12, 200
_NAME = re.compile(rb"[!-9;-~]+[ \t]*:", re.ASCII)
_PARAMETER = re.compile(r";\s*([^\s=;\"]{1,60})\s*=\s*(?:\"((?:[^\"\\]|\\.)*)\"|([^;\s]*))", re.ASCII)


class BrokenMailError(ValueError):
    """Deeper, or in more parts, than any mail program makes one."""


@dataclass(frozen=True)
class Entity:
    """A mail or one part of it. `fields`: names in small letters and values on one line, in their order."""

    fields: tuple[tuple[str, str], ...]
    body: bytes

    def all(self, name: str) -> list[str]:
        """The values of a field, topmost first."""
        return [value for each, value in self.fields if each == name]

    def first(self, name: str) -> str:
        """The topmost value, or nothing."""
        return next((value for each, value in self.fields if each == name), "")

    @cached_property
    def type(self) -> str:
        """Such as text/plain, which is also what is taken for granted (RFC 2045, section 5.2)."""
        said = self.first("content-type").split(";")[0].strip().lower()
        return said if said.count("/") == 1 else "text/plain"

    @cached_property
    def parameters(self) -> dict[str, str]:
        """Those of Content-Type; of two with one name the first."""
        found: dict[str, str] = {}
        for match in _PARAMETER.finditer(self.first("content-type")[:4_000]):
            value = re.sub(r"\\(.)", r"\1", match[2]) if match[2] is not None else match[3]
            found.setdefault(match[1].lower(), value)
        return found


def parse(octets: bytes) -> Entity:
    """Head and body. A line of the head that is no field is passed over, with the lines that go on with it."""
    fields: list[tuple[str, list[bytes]]] = []
    place, known = 0, False
    if octets.startswith((b"From ", b">From ")):  # a mailbox file's own line
        place = _after(octets, 0)
    while place < len(octets):
        end = _after(octets, place)
        line = octets[place:end].rstrip(b"\r\n")
        place = end
        if not line:
            break
        if line[:1] in b" \t":
            if known:
                fields[-1][1].append(line)
            continue
        match = _NAME.match(line)
        known = match is not None
        if match is not None:
            name = line[: match.end() - 1].rstrip().decode("ascii").lower()
            fields.append((name, [line[match.end() :]]))
    head = tuple((name, _one_line(b" ".join(lines))) for name, lines in fields)
    return Entity(head, octets[place:])


def text(mail: Entity) -> str:
    """The words of a mail, plain ones where there is a choice; what HTML quotes is marked with `> `."""
    count = [0]
    return "\n".join(_texts(mail, 0, count))


def _texts(entity: Entity, depth: int, count: list[int]) -> list[str]:
    count[0] += 1
    if depth > DEPTH or count[0] > PARTS:
        raise BrokenMailError("a mail of more parts, or deeper ones, than any program makes")
    if entity.type.startswith("multipart/"):
        return _of_parts(entity, depth, count)
    # A mail inside a mail is quoted, and a file is no words.
    disposition = entity.first("content-disposition").split(";")[0].strip().lower()
    if entity.type not in {"text/plain", "text/html"} or disposition == "attachment":
        return []
    said = charsets.clean(charsets.decode(_payload(entity), entity.parameters.get("charset", "")))
    if entity.type == "text/html":
        return [markup.to_text(said)]
    if entity.parameters.get("format", "").lower() == "flowed":
        said = _flowed(said, delete=entity.parameters.get("delsp", "").lower() == "yes")
    return [said]


def _of_parts(entity: Entity, depth: int, count: list[int]) -> list[str]:
    parts = _split(entity)
    if entity.type == "multipart/alternative":
        parts.sort(key=lambda part: part.type != "text/plain")  # stable: the plain one first
        for part in parts:
            found = _texts(part, depth + 1, count)
            if any(each.strip() for each in found):
                return found
        return []
    if entity.type == "multipart/report":
        return []
    if entity.type in {"multipart/related", "multipart/signed"}:
        parts = parts[:1]
    return [each for part in parts for each in _texts(part, depth + 1, count)]


def _split(entity: Entity) -> list[Entity]:
    boundary = entity.parameters.get("boundary", "").rstrip()
    if not boundary:
        return []
    mark = b"--" + boundary.encode("utf-8", "replace")
    found: list[list[bytes]] = []
    for line in entity.body.split(b"\n"):
        if line.startswith(mark):
            rest = line[len(mark) :].strip()
            if rest == b"--":
                break
            if not rest:
                if len(found) >= PARTS:
                    raise BrokenMailError("a mail of more parts than any program makes")
                found.append([])
                continue
        if found:
            found[-1].append(line)
    return [parse(b"\n".join(lines)) for lines in found]


def _payload(entity: Entity) -> bytes:
    how = entity.first("content-transfer-encoding").strip().lower()
    if how == "base64":
        return charsets.unbase64(entity.body)
    if how == "quoted-printable":
        return binascii.a2b_qp(entity.body)
    return entity.body


def _flowed(text: str, *, delete: bool) -> str:
    """RFC 3676: a line that ends in a blank goes on in the next, but not across depths of quoting."""
    lines: list[str] = []
    open_depth = -1
    for raw in text.split("\n"):
        depth = len(raw) - len(raw.lstrip(">"))
        line = raw[depth:]
        line = line.removeprefix(" ")
        if line == "-- ":
            lines.append(line)
            open_depth = -1
            continue
        if open_depth == depth:
            lines[-1] = (lines[-1][:-1] if delete else lines[-1]) + line
        else:
            lines.append("> " * bool(depth) + line)
        open_depth = depth if line.endswith(" ") else -1
    return "\n".join(lines)


def _one_line(octets: bytes) -> str:
    return charsets.clean(charsets.decode(octets)).replace("\n", " ").strip()


def _after(octets: bytes, place: int) -> int:
    end = octets.find(b"\n", place)
    return len(octets) if end < 0 else end + 1
