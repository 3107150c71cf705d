"""Lines that do nothing when they are quoted back.

People answer a mail above, below and between its lines, and some of those lines come back as if they had been typed.
Promises that no line of a message, read alone, could be an entry or a command: each holds a word that no text may
hold, ahead of any word that turns a whole sentence into a remark. It knows the words of the catalogue, and leans to
the safe side of the grammar that reads texts, one slip of the thumb included.
"""

from __future__ import annotations

import re
import textwrap
import unicodedata
from collections.abc import Iterator
from functools import cache

from rapidfuzz.distance import OSA

from logbook.domain.entries import catalogue

WIDTH = 72

# Words that a text may hold beside the catalogue's: fillers, commands, times and units.
_BESIDE = """
and y e the el la los las de del it i he she at a now then ya ok okay in on up thanks gracias done listo lista hola hi
good night buenas noches tank tanque machine maquina battery bateria water agua all todo undo deshacer borrar owed
pendiente seen visto join entrar yes no si help ayuda info stop start unstop quit end cancel baja ago hace yesterday
ayer anoche last noche mañana tarde am pm first second primera segunda ml cl l lt lts liter liters litre litres litro
litros gal galon galones qt oz mm cm inch pulgada pulgadas percent h hr hrs min mins minute minutes minuto minutos
hour hours hora horas not never
sin nunca will later luego please por favor
"""
_SENTENCE_KINDS = ("fault", "repaired", "note")
_WORD = re.compile(r"[^\W_]+(?:'[^\W_]+)?")
_JOINS = re.compile(r"[\W_]*(?:join|entrar)\b")
_PIECES = re.compile(r"[.;,\n]")


def bare(text: str) -> str:
    """Lower case, without accents, and the typewriter's apostrophe: as a text is read."""
    kept = unicodedata.normalize("NFC", text.casefold().replace("’", "'"))
    return "".join(unicodedata.normalize("NFKD", c)[0] for c in kept)


def _phrases(*kinds: str) -> Iterator[str]:
    for kind in catalogue:
        words = kind.words
        if words is not None and (not kinds or kind.kind in kinds):
            yield from (*words.en, *words.es, *words.with_quantity, *words.with_also)


@cache
def _known() -> frozenset[str]:
    return frozenset(word for phrase in (*_phrases(), _BESIDE) for word in bare(phrase).split())


@cache
def _sentence_words() -> frozenset[str]:
    """Phrases that make the sentence around them a note. Those of several words are matched as such."""
    return frozenset(bare(phrase) for phrase in _phrases(*_SENTENCE_KINDS))


@cache
def strange(word: str) -> bool:
    """No text may hold this word, nor one a slip away from it. A number or a plate's code is never strange."""
    plain = bare(word)
    if any(c.isdigit() for c in plain) or plain in _known():
        return False
    if len(plain) < 4:  # too short to be taken for a slip
        return True
    return all(OSA.distance(plain, known, score_cutoff=1) > 1 for known in _known() if len(known) > 3)


def remarks(text: str) -> bool:
    """The text holds a word that makes the sentence around it a remark or a report."""
    words = " ".join(_WORD.findall(bare(text)))
    return any(f" {phrase} " in f" {words} " for phrase in _sentence_words())


def harmless(line: str) -> bool:
    """The line does nothing if it is sent as a text: a strange word comes before any sentence that is kept whole."""
    if _JOINS.match(bare(line)):  # whatever follows it is taken for the plate's word and a name
        return False
    seen = False
    for piece in _PIECES.split(line):
        if remarks(piece):
            return seen
        seen = seen or any(strange(word) for word in _WORD.findall(bare(piece)))
    return seen or not _WORD.search(line)


def wrap(paragraph: str, indent: str = "", first: str | None = None) -> list[str]:
    """The paragraph in lines of at most 72 columns, broken so that each line is harmless by itself.

    Where no width will do, the paragraph stays one long line: better wide than obeyed. `first` is the indent of the
    first line where it differs.
    """
    for width in range(WIDTH, WIDTH // 2, -1):
        lines = textwrap.wrap(
            paragraph, width, initial_indent=indent if first is None else first, subsequent_indent=indent,
            break_long_words=False, break_on_hyphens=False,
        )  # fmt: skip
        if all(harmless(line) for line in lines):
            return lines
    return [(indent if first is None else first) + paragraph]


def plain(text: str) -> str:
    """Somebody's own words on one line: no line break, control or formatting character survives."""
    kept = (" " if unicodedata.category(c)[0] in "ZC" else c for c in text)
    return " ".join("".join(kept).split())
