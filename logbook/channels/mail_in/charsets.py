"""From octets to text, whatever was declared about them. Never raises, and lets through nothing but text.

The order: what was declared, if it fits; UTF-8; Windows-1252. With two exceptions, both for a declaration that
lies: octets that are UTF-8 beyond ASCII are never anything else, whatever Latin alphabet was declared; and UTF-16
or UTF-32 without one NUL is no such thing.
"""

from __future__ import annotations

import base64
import binascii
import codecs
import re
import unicodedata

# Only these: among the codecs of the library are some that unpack, run escapes, or take quadratic time.
_KNOWN = frozenset(
    codecs.lookup(name).name
    for name in (
        "utf-8 utf-8-sig utf-16 utf-16-le utf-16-be utf-32 utf-32-le utf-32-be ascii big5 gb2312 gbk gb18030 "
        "shift_jis euc_jp euc_kr iso2022_jp koi8-r koi8-u cp437 cp850 mac-roman "
        + " ".join(f"cp{number}" for number in (932, 949, 1250, 1251, 1252, 1253, 1254, 1255, 1256, 1257, 1258))
        + " ".join(["", *(f"iso8859-{number}" for number in range(1, 17) if number != 12)])
    ).split()
)
_WIDE = ("utf-16", "utf-32")
_MULTI = ("gb", "big5", "shift", "euc", "iso2022", "cp932", "cp949", "utf")
_ENCODED_WORD = re.compile(r"=\?([^?\s]{1,80})\?([bBqQ])\?([^?\s]*)\?=", re.ASCII)
_BETWEEN = re.compile(r"(\?=)[ \t]+(?==\?[^?\s]{1,80}\?[bBqQ]\?)", re.ASCII)


def decode(octets: bytes, declared: str = "") -> str:
    """Text of octets. Line breaks are as they came."""
    name = _lookup(declared)
    if name is not None and name.startswith(_WIDE) and 0 not in octets:
        name = None
    utf8 = _try(octets, "utf-8-sig")
    if utf8 is not None and (name is None or name.startswith("utf-8") or not name.startswith(_MULTI)):
        return utf8
    if name is not None:
        # Whoever declares Latin-1 means the alphabet in which 0x80 to 0x9f are letters too.
        said = _try(octets, "cp1252" if name == "iso8859-1" else name)
        if said is not None:
            return said
    return utf8 if utf8 is not None else octets.decode("cp1252", "replace")


def clean(text: str) -> str:
    """Text with `\\n` for every line break, and without what cannot be seen or kept: NUL, controls, half characters."""
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\u2028", "\n").replace("\u2029", "\n")
    return "".join(map(_seen, text))


def words(value: str) -> str:
    """A header's text, its encoded-words read (RFC 2047), on one line."""
    joined = _BETWEEN.sub(r"\1", value)
    return " ".join(clean(_ENCODED_WORD.sub(_word, joined)).split())


def unbase64(octets: bytes) -> bytes:
    """What base64 there is, to where it breaks off."""
    kept = re.sub(rb"[^A-Za-z0-9+/]", b"", octets.split(b"=", 1)[0])
    return base64.b64decode(kept[: len(kept) - (len(kept) % 4 == 1)] + b"=" * (-len(kept) % 4))


def _word(match: re.Match[str]) -> str:
    charset, how, data = match[1].split("*")[0], match[2].lower(), match[3].encode("ascii", "replace")
    octets = unbase64(data) if how == "b" else binascii.a2b_qp(data, header=True)
    return decode(octets, charset)


def _lookup(declared: str) -> str | None:
    try:
        name = codecs.lookup(declared.strip().strip("\"'")[:40]).name if declared.isascii() else ""
    except (LookupError, ValueError):
        return None
    return name if name in _KNOWN else None


def _try(octets: bytes, name: str) -> str | None:
    try:
        return octets.decode(name)
    except (UnicodeError, ValueError):
        return None


def _seen(char: str) -> str:
    if " " <= char <= "~" or char == "\n":
        return char
    if char in "\t\u00a0\u202f\u2007\v\f":
        return " "
    # Controls, half characters, and marks of format but for the joiner that emoji are made with.
    return "" if unicodedata.category(char) in {"Cc", "Cs", "Cf"} and char != "\u200d" else char
