"""Cuts a message into tokens: words, numbers, machines' codes, breaks, and the few signs that mean something.

Promises that every letter and every digit of a message ends up in some token, so that whoever reads on can refuse
what it does not know; that a token knows where it stood, so that a note can be kept as it was written; and that it
never fails, whatever the text. It knows the fleet's codes, but never guesses one.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from stdnum.iso7064 import mod_37_2

from logbook.domain.tapcode import is_tap

Shape = Literal["word", "number", "code", "mixed", "break", "question", "about", "tap", "spoilt"]

VULGAR = {"½": (1, 2), "¼": (1, 4), "¾": (3, 4), "⅛": (1, 8), "⅜": (3, 8), "⅝": (5, 8), "⅞": (7, 8)}
GLUED = frozenset({
    "ml", "cl", "l", "lt", "lts", "gal", "qt", "oz", "mm", "cm", "in", "inch", "percent",
    "h", "hr", "hrs", "min", "mins", "hours", "am", "pm", "st", "nd",
})  # fmt: skip
"""What people write onto a number without a space."""
NO_SIGNS = "❌✖✗✘🚫⛔👎"
"""Signs that say no. Emoji are ignored, but "rinse ❌" must not be read as "rinse"."""
_SAME = {
    "’": "'", "‘": "'", "´": "'", "`": "'", "′": "'", "“": '"', "”": '"', "″": '"', "–": "-", "—": "-", "−": "-",
    "‐": "-", "‑": "-", "…": ".", "⁄": "/", "∕": "/", "¿": "?", "❓": "?", "❔": "?", "⁉": "?",
    "؟": "?", "\r": "\n", "\u2028": "\n", "\u2029": "\n", "\x0b": "\n", "\x0c": "\n", "\x85": "\n",
}  # fmt: skip
_TOKEN = re.compile(
    r"""\#(?P<tap>(?=[0-9]*[a-z]|[2-9]{10}(?![.,:]))[0-9a-z]{7,13})(?![\w'])
    |(?P<fraction>[0-9]+\s?/\s?[0-9]+(?:/[0-9]+)*)
    |(?P<decimal>(?<!\w)[.,][0-9]+(?:[.,:][0-9]+)*|[0-9]+(?:[.,:][0-9]+)+)
    |(?P<vulgar>[0-9]*[½¼¾⅛⅜⅝⅞])
    |(?P<bare>[0-9]+(?=[ap]\.\s?m\b))
    |(?P<half>(?<![a-z])[ap]\.\s?m\b\.?)
    |(?P<chunk>[a-z0-9]+(?:'[a-z]+)*)
    |(?P<break>[.;,!\n])
    |(?P<question>\?)
    |(?P<sign>''|[%"&])
    |(?P<about>[<>±≤≥≠])
    |(?P<no>[❌✖✗✘🚫⛔👎])
    |(?P<other>[^\W_]+)""",
    re.VERBOSE,
)
_NUMBER_AND_UNIT = re.compile("([0-9]+)([a-z]+)")
_CODE_FORM = re.compile("[A-HJKMNP-TV-Z][2-9]{1,3}[2-9A-HJKMNP-TV-Z]")


@dataclass(slots=True)
class Token:
    """One piece of a message: what it is, how it reads in plain small letters, and where it stood."""

    shape: Shape
    text: str
    start: int
    end: int
    minus: bool = False


def tidy(message: str) -> str:
    """The message with every letter and its accent as one character (NFC). Positions of tokens refer to this."""
    return message if message.isascii() else unicodedata.normalize("NFC", message)


@lru_cache(maxsize=4096)
def _plain(character: str) -> str:
    """One character in small letters without accent; always exactly one character."""
    if character in _SAME:
        return _SAME[character]
    if "\uff01" <= character <= "\uff5e":  # the full-width forms of ASCII
        character = chr(ord(character) - 0xFEE0)
    if character in VULGAR or character in NO_SIGNS:
        return character
    small = unicodedata.normalize("NFD", character.lower())[:1]
    return small if len(small) == 1 else " "


def plain(text: str) -> str:
    """The text in small letters without accents, as long as it was, so that positions stay."""
    if text.isascii():
        return text.lower().replace("`", "'").replace("\r", "\n").replace("\x0b", "\n").replace("\x0c", "\n")
    return "".join(map(_plain, text))


def looks_like_a_code(text: str, lengths: Collection[int]) -> bool:
    """Whether letters and digits are mixed as somebody mistyping a code of this fleet would mix them."""
    return any(length - 1 <= len(text) <= length + 1 for length in lengths)


def is_a_code(text: str, lengths: Collection[int]) -> bool:
    """Whether this could be a code that was issued: its length, its characters, its check character.

    The check is ISO/IEC 7064 MOD 37-2 over the characters before the last.
    """
    code = text.upper()
    return len(code) in lengths and _CODE_FORM.fullmatch(code) is not None and mod_37_2.is_valid(code)


def tokenise(text: str, codes: frozenset[str]) -> list[Token]:
    """The tokens of a tidied text, in order. Never raises."""
    low = plain(text)
    tokens: list[Token] = []
    matches = list(_TOKEN.finditer(low))
    skip = False
    for index, match in enumerate(matches):
        if skip:
            skip = False
            continue
        group = match.lastgroup
        start, end = match.span(group or 0)
        said = match.group(group or 0)
        if group == "tap" and (shape := _tap(said, text[start:end], codes)) is not None:
            tokens.append(Token(shape, said.upper(), start - 1, end))
        elif group in ("chunk", "tap"):
            if index + 1 < len(matches) and _joins(said, match, matches[index + 1], low, codes):
                end = matches[index + 1].end()
                tokens.append(Token("code", (said + matches[index + 1].group()).upper(), start, end))
                skip = True
            else:
                _chunk(tokens, said, start, end, codes, _minus(low, start))
        elif group in ("fraction", "decimal", "vulgar", "bare"):
            tokens.append(Token("number", said, start, end, _minus(low, start)))
        elif group == "half":
            tokens.append(Token("word", said[0] + "m", start, end))
        elif group == "break":
            tokens.append(Token("break", "." if said == "!" else said, start, end))
        elif group == "question":
            tokens.append(Token("question", "?", start, end))
        elif group == "sign" and said in ("''", '"') and not (tokens and tokens[-1].shape == "number"):
            continue  # inches stand behind a number; anywhere else these are quotation marks
        elif group == "sign":
            tokens.append(Token("word", {"&": "and", "''": '"'}.get(said, said), start, end))
        elif group == "about":
            tokens.append(Token("about", said, start, end))
        else:  # a sign that says no, or letters of an alphabet that is not read here
            tokens.append(Token("word", said, start, end))
    return tokens


def _tap(said: str, written: str, codes: frozenset[str]) -> Shape | None:
    """Whether what follows a # is a tap's code, or one that was damaged; None if it is whatever it would be without #.

    Seven signs and more are longer than any machine's code, so that a damaged one is never a mistyped machine.
    """
    if is_tap(said.upper()):
        return "tap"
    unit = _NUMBER_AND_UNIT.fullmatch(said)
    if said.upper() in codes or (unit is not None and unit[2] in GLUED):
        return None
    return "spoilt" if not said.isalpha() or written.isupper() else None


def _minus(low: str, start: int) -> bool:
    return start > 0 and low[start - 1] == "-"


def _joins(said: str, match: re.Match[str], after: re.Match[str], low: str, codes: frozenset[str]) -> bool:
    """Whether a code was written in two pieces, "b7 h" or "b7-h". Only a code of the fleet is put together."""
    if after.lastgroup != "chunk" or low[match.end() : after.start()] not in (" ", "-"):
        return False
    if said.isdigit() or (said.isalpha() and (len(said) > 1 or said in "aeiy")):
        return False
    return (said + after.group()).upper() in codes and said.upper() not in codes


def _chunk(tokens: list[Token], said: str, start: int, end: int, codes: frozenset[str], minus: bool) -> None:
    """Sort letters and digits that stand together into a code, a word, a number, a number with its unit, or none."""
    if said.isalpha():
        tokens.append(Token("word", said, start, end))
    elif said.isdigit():
        tokens.append(Token("number", said, start, end, minus))
    elif said.upper() in codes:
        tokens.append(Token("code", said.upper(), start, end))
    elif "'" in said and not any(c.isdigit() for c in said):
        # "i'll" and "ill" are two words; "won't" and "wont" are one.
        tokens.append(Token("word", "will" if said.endswith("'ll") else said.replace("'", ""), start, end))
    elif (parts := _NUMBER_AND_UNIT.fullmatch(said)) and parts[2] in GLUED:
        cut = start + len(parts[1])
        tokens.append(Token("number", parts[1], start, cut, minus))
        tokens.append(Token("word", parts[2], cut, end))
    else:
        tokens.append(Token("mixed", said, start, end))
