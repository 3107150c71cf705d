"""Whether our own mail server says that a mail comes from the sender it names (RFC 8601).

Anyone can write an Authentication-Results field into a mail. Believed is only what stands at the very top, where
our server puts its own as the mail comes in, and only under the name that was set for it: if the topmost such field
bears another name, nothing is believed, so that a name that was set wrongly cannot be used by a stranger. What
cannot be read without doubt proves nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from enum import Enum

FIELD = "authentication-results"


class Verdict(Enum):
    """What our server's word comes to."""

    AUTHENTICATED = "authenticated"
    UNPROVED = "unproved"
    FORGED = "forged"


@dataclass(frozen=True, slots=True)
class Result:
    """One method's result: `dkim`, `pass`, and its properties as `("header.d", "ferry.example")`."""

    method: str
    result: str
    properties: tuple[tuple[str, str], ...]

    def of(self, *names: str) -> list[str]:
        return [value.lower() for name, value in self.properties if name in names]


def verdict(fields: Sequence[tuple[str, str]], sender: str, ours: Collection[str], most: int = 1) -> Verdict:
    """Judge a mail by its fields, topmost first. `sender`: the From address in small letters; `ours`: our server's
    names in small letters; `most`: so many fields our server writes on every mail."""
    written = [read(value) for name, value in fields if name == FIELD]
    believed: list[Result] = []
    number = 0
    while number < min(most, len(written)) and written[number][0] in ours:
        believed += written[number][1]
        number += 1
    domain = sender.rpartition("@")[2]
    found = _of_results(believed, sender, domain)
    if found is Verdict.UNPROVED and any(name in ours for name, _ in written[number:]):
        return Verdict.FORGED  # our server's name, where our server does not write
    return found


def _of_results(results: Sequence[Result], sender: str, domain: str) -> Verdict:
    if any(r.method == "dmarc" and r.result == "fail" for r in results):
        return Verdict.FORGED
    for r in results:
        if r.result == "pass" and _names(r, sender, domain):
            return Verdict.AUTHENTICATED
    if any(r.method == "spf" and r.result == "fail" and domain in _domains(r, "smtp.mailfrom") for r in results):
        return Verdict.FORGED
    return Verdict.UNPROVED


def _names(r: Result, sender: str, domain: str) -> bool:
    """Whether what passed is this sender's domain (RFC 7489, section 3.1), not merely some domain."""
    match r.method:
        case "dmarc":
            return _domains(r, "header.from") == [domain]
        case "dkim":
            named = _domains(r, "header.d") or _domains(r, "header.i")
            return len(named) == 1 and _covers(named[0], domain)
        case "spf":
            named = _domains(r, "smtp.mailfrom", "smtp.mail")
            return len(named) == 1 and _covers(named[0], domain)
        case "auth":  # one of our own people, logged in to our own server
            return r.of("smtp.auth") == [sender]
    return False


def _covers(named: str, domain: str) -> bool:
    """The same domain, or one above it. Not one below: below ferry.example may live somebody else's customers."""
    return named == domain or ("." in named and domain.endswith("." + named))


def _domains(r: Result, *names: str) -> list[str]:
    return [value.rpartition("@")[2].rstrip(".") for value in r.of(*names)]


# -- reading the field ----------------------------------------------------------------------------------------------


def read(value: str) -> tuple[str, list[Result]]:
    """The server's name in small letters, and the results that can be read (RFC 8601, section 2.2).

    `("", [])` for a field that is broken or of a version that is not ours.
    """
    words = _words(value)
    if words is None:
        return "", []
    parts: list[list[str]] = [[]]
    for word in words:
        if word == ";":
            parts.append([])
        else:
            parts[-1].append(word)
    name = parts[0]
    if not name or len(name) > 2 or (len(name) == 2 and name[1] != "1") or "=" in name:
        return "", []
    results = [made for part in parts[1:] if (made := _result(part)) is not None]
    return _bare(name[0]).lower(), results


def _result(words: list[str]) -> Result | None:
    if len(words) < 3 or words[1] != "=" or (len(words) % 3):
        return None
    groups = [words[n : n + 3] for n in range(0, len(words), 3)]
    if any(group[1] != "=" or group[0] in {"=", ";"} or group[2] in {"=", ";"} for group in groups):
        return None
    properties = tuple((group[0].lower(), _bare(group[2])) for group in groups[1:])
    names = [name for name, _ in properties]
    if len(set(names)) != len(names):
        return None
    method = groups[0][0].lower().split("/")
    if len(method) > 2 or (len(method) == 2 and method[1] != "1"):
        return None
    return Result(method[0], groups[0][2].lower(), properties)


def _bare(word: str) -> str:
    # A quotation mark inside a word stays, so that such a value is nobody's domain.
    return word[1:-1] if len(word) > 1 and word[0] == word[-1] == '"' and '"' not in word[1:-1] else word


def _words(value: str) -> list[str] | None:
    """Words, `=` and `;`, without comments. A quoted string stays part of its word. None if something stays open."""
    found: list[str] = []
    word: list[str] = []
    comments, quoted, escaped = 0, False, False
    for char in value:
        if escaped:
            escaped = False
            if quoted:
                word.append(char)
        elif char == "\\" and (quoted or comments):
            escaped = True
        elif quoted:
            quoted = char != '"'
            word.append(char)
        elif comments:
            comments += {"(": 1, ")": -1}.get(char, 0)
        elif char in "(;= \t":
            if word:
                found.append("".join(word))
                word = []
            comments = int(char == "(")
            if char in ";=":
                found.append(char)
        else:
            quoted = char == '"'
            word.append(char)
    if quoted or comments:
        return None
    return [*found, "".join(word)] if word else found
