# ruff: noqa: INP001  a script beside its data, no part of the package
"""Makes `words.txt.xz` again: `python logbook/channels/text/data/make_words.py`, with `wordfreq` 3.1.1 installed.

Only a developer runs this. The program itself needs the list, not the package that it came from.
"""

from __future__ import annotations

import lzma
import re
import unicodedata
from pathlib import Path

import wordfreq

LANGUAGES = ("en", "es")
ZIPF = 2.0
"""A word of zipf 2 is met once in ten million words: rarer ones are mostly typing errors themselves."""


def plain(word: str) -> str:
    """The word as the reader sees it: small letters, no accents, no apostrophes."""
    apart = unicodedata.normalize("NFD", word.lower())
    return "".join(c for c in apart if not unicodedata.combining(c)).replace("'", "").replace("’", "")


def words() -> list[str]:
    """All words of three letters and more that are common in any of the languages, sorted."""
    found = set()
    for language in LANGUAGES:
        for word, frequency in wordfreq.get_frequency_dict(language, wordlist="best").items():
            if wordfreq.freq_to_zipf(frequency) >= ZIPF:
                found.add(plain(word))
    return sorted(word for word in found if re.fullmatch("[a-z]{3,20}", word))


if __name__ == "__main__":
    lines = "\n".join(words()).encode("ascii")
    packed = lzma.compress(lines, preset=9 | lzma.PRESET_EXTREME)
    Path(__file__).with_name("words.txt.xz").write_bytes(packed)
