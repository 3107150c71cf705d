"""What people read, by language: gettext catalogues that are read as they were written.

Promises one door, `speech(language, domain)`, to the `.po` files in `wording/<language>/<domain>.po`. English is
the language of the msgids, so English needs no file. A sentence that is missing or marked fuzzy comes back in
English: a strange word is better than none. There is no compiled catalogue that could be older than its source.
"""

from __future__ import annotations

import gettext
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from importlib import resources

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po

LANGUAGES: tuple[str, ...] = ("en", "es")
"""The languages in which this program writes to people (ISO 639-1)."""


@dataclass(frozen=True, slots=True)
class Speech:
    """One domain's sentences in one language."""

    language: str
    _said: dict[str, tuple[str, ...]]
    _which: Callable[[int], int]

    def __call__(self, msgid: str) -> str:
        """The sentence in this language, or the msgid itself if nobody has translated it yet."""
        return self._said.get(msgid, (msgid,))[0]

    def plural(self, one: str, many: str, count: int) -> str:
        """The form of the sentence that goes with `count` things; `one` and `many` are the English forms."""
        said = self._said.get(one)
        if said is None:
            return one if count == 1 else many
        return said[min(self._which(count), len(said) - 1)]


def capital(sentence: str) -> str:
    """The sentence with a capital in front, and nothing else changed."""
    return sentence[:1].upper() + sentence[1:]


@cache
def speech(language: str, domain: str) -> Speech:
    """The sentences of a domain ("answers", "alerts") in a language.

    Raises ValueError for a language that this program does not speak, and LookupError if a language other than
    English has no catalogue for the domain: both are a programmer's errors, not a reader's.
    """
    if language not in LANGUAGES:
        raise ValueError(f"no language {language!r}; this program speaks {', '.join(LANGUAGES)}")
    catalogue = _catalogue(language, domain)
    if catalogue is None:
        if language != "en":
            raise LookupError(f"there is no catalogue {language}/{domain}.po")
        return Speech(language, {}, lambda count: 0 if count == 1 else 1)
    said: dict[str, tuple[str, ...]] = {}
    for message in catalogue:
        if not message.id or message.fuzzy:
            continue
        key = message.id if isinstance(message.id, str) else message.id[0]
        forms = (message.string,) if isinstance(message.string, str) else tuple(message.string or ("",))
        if all(forms):
            said[key] = forms
    return Speech(language, said, gettext.c2py(str(catalogue.plural_expr)))


def _catalogue(language: str, domain: str) -> Catalog | None:
    """The catalogue as it lies in the package, or None."""
    file = resources.files(__name__).joinpath(language, f"{domain}.po")
    if not file.is_file():
        return None
    with file.open("rb") as lines:
        return read_po(lines, locale=language, abort_invalid=True)
