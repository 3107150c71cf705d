"""Typing errors: which word of the lexicon a misspelt one may have been.

Promises to look only at words that are no common English or Spanish ones, because a correctly spelt word was meant.
One slip is a letter wrong, missing or extra, or two neighbours swapped: a distance of one in the sense of
optimal string alignment. The list of common words is read when the first such word comes, and kept.
"""

from __future__ import annotations

import lzma
from collections import defaultdict
from collections.abc import Iterable
from functools import cache
from importlib import resources

from rapidfuzz.distance import OSA

SHORTEST = 4
"""A lexicon word of four letters may lack a letter or have one too many; a shorter one may have no slip at all."""


@cache
def common_words() -> frozenset[str]:
    """The common English and Spanish words, in small letters without accents (see data/README.md)."""
    packed = (resources.files(__package__) / "data" / "words.txt.xz").read_bytes()
    return frozenset(lzma.decompress(packed).decode("ascii").split("\n"))


def _shorter(word: str) -> set[str]:
    """The word, and all that it becomes by leaving out one letter."""
    return {word} | {word[:i] + word[i + 1 :] for i in range(len(word))}


class Near:
    """Finds the lexicon words that are one slip away, by what both become with a letter left out."""

    def __init__(self, words: Iterable[str]) -> None:
        """`words` are all words that have a meaning, in plain small letters; the short ones are left out here."""
        self._by_part: dict[str, set[str]] = defaultdict(set)
        self._longest = 0
        for word in words:
            if len(word) >= SHORTEST and word.isalpha():
                self._longest = max(self._longest, len(word))
                for part in _shorter(word):
                    self._by_part[part].add(word)

    def words(self, typed: str) -> frozenset[str]:
        """The lexicon words that are one slip away; none if `typed` is too long, strange or a common word.

        There must be one that it may be a slip of. A word of four letters with one wrong may not, but it makes the
        reading doubtful all the same: "gote" may be "gotea", or "bote" with one letter wrong.
        """
        if not 3 <= len(typed) <= self._longest + 1 or not (typed.isascii() and typed.isalpha()):
            return frozenset()
        found = {word for part in _shorter(typed) for word in self._by_part.get(part, ())}
        near = frozenset(word for word in found if OSA.distance(typed, word, score_cutoff=1) <= 1)
        if not any(_allowed(typed, word) for word in near):
            return frozenset()
        return near if typed not in common_words() else frozenset()


def _allowed(typed: str, word: str) -> bool:
    """Whether a slip in this word is mended: in one of four letters, only a missing or an extra letter is."""
    return len(word) > SHORTEST or len(typed) != len(word)
