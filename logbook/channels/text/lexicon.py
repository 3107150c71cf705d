"""What every word means: the catalogue's words of both languages, and the few small words around them.

Promises that the words of entries come from the catalogue alone: a new kind with words is understood without a
change here. Both languages always apply. A word that is not in here has no meaning, and a text that holds one is
refused. Made once a process.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cache
from typing import Literal

from logbook.channels.text.slips import Near
from logbook.channels.text.tokens import NO_SIGNS, plain
from logbook.domain.entries import Quantity, Words, catalogue

Role = Literal[
    "kind", "card", "also", "bare", "battery", "tank", "filler", "and", "up", "negation", "plan", "please", "asks",
    "control", "clock", "day", "nth", "half", "unit", "part", "doubt", "unknown",
]  # fmt: skip
"""kind: an entry. card: the closing card. also: turns a reading into a change. bare: counts with a quantity only.
asks: never a slip, always a question. clock, day, nth, half: parts of a time. part: a word of a phrase, nothing
alone. doubt: makes a mending doubtful, otherwise unknown."""


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a word or a phrase stands for."""

    role: Role
    kind: str = ""  # the entry kind, or which control, day, nth or half
    quantity: Quantity | None = None


def _all(words: str) -> tuple[str, ...]:
    return tuple(words.split())


FILLERS = _all("""the el la los las de del it i he she at a now then ya ok okay in on thanks gracias done listo
    lista hola hi machine maquina""")
NEGATIONS = _all("""no not never sin nunca didnt dont cant cannot couldnt wasnt werent isnt arent aint havent hasnt
    hadnt wouldnt shouldnt none nothing without nor neither nobody jamas tampoco ni nada ningun ninguno ninguna
    ❌ ✖ ✗ ✘ 🚫 ⛔ 👎""")
PLANS = _all("will going gonna later tomorrow voy vamos luego manana despues")
PLEASE = _all("please pls plz porfa porfavor")
ASKS = _all("change changed changing cambio falta nota later full lleno")
"""So near to a word of the log that a guess would be a coin's toss, or said of what is still to be done."""
DOUBTS = _all("""need needs needed necesita necesitan necesito must should debe deben ought be being but pero again
    nuevo otra aun todavia still yet if when until before can could would get gets getting want wants wait waiting
    who almost casi hay falta por""")
"""Beside "fixed", these words leave it open whether it is fixed."""
CONTROLS = {
    "undo": "undo", "deshacer": "undo", "borrar": "undo", "owed": "owed", "pendiente": "owed", "seen": "seen",
    "visto": "seen", "join": "join", "entrar": "join", "help": "help", "ayuda": "help",
}  # fmt: skip
OPT_OUT = (*_all("stop stopall quit end revoke cancel unsubscribe baja optout"), "opt out")
OPT_IN = _all("start yes unstop")
HELP = _all("info help ayuda")
"""Whole texts that carriers keep for themselves, and help in Spanish."""
UNITS: dict[str, tuple[str, int, int]] = {
    # to ml: the US gallon is 3.785411784 l, 231 cubic inches of 16.387064 ml; a quart is 1/4, a fluid ounce 1/128
    **dict.fromkeys(["ml"], ("volume", 1, 1)),
    **dict.fromkeys(["cl"], ("volume", 10, 1)),
    **dict.fromkeys(_all("l lt lts liter liters litre litres litro litros"), ("volume", 1000, 1)),
    **dict.fromkeys(_all("gal galon galones"), ("volume", 3_785_411_784, 1_000_000)),
    "qt": ("volume", 3_785_411_784, 4_000_000),
    "oz": ("volume", 3_785_411_784, 128_000_000),
    # to um: an inch is 25.4 mm
    "mm": ("length", 1000, 1),
    "cm": ("length", 10_000, 1),
    **dict.fromkeys(["in", "inch", "pulgada", "pulgadas", '"'], ("length", 25_400, 1)),
    **dict.fromkeys(["%", "percent"], ("percent", 1, 1)),
    "h": ("hours", 3600, 1),
}
"""Each unit's family, and what turns it into the unit of the entry's field."""
_PHRASES: dict[str, Meaning] = {
    "all done": Meaning("card"), "good night": Meaning("filler"), "buenas noches": Meaning("filler"),
    "last night": Meaning("day", "night"), "going to": Meaning("plan"), "voy a": Meaning("plan"),
    "por favor": Meaning("please"), "to be": Meaning("doubt"), "de la manana": Meaning("half", "morning"),
    "de la noche": Meaning("half", "night"),
}  # fmt: skip
_CLOCK: dict[str, Meaning] = {
    **dict.fromkeys(["ago", "hace"], Meaning("clock")),
    **dict.fromkeys(["yesterday", "ayer"], Meaning("day", "yesterday")),
    "anoche": Meaning("day", "night"),
    "am": Meaning("half", "am"), "pm": Meaning("half", "pm"),
    **dict.fromkeys(["first", "primera", "1st"], Meaning("nth", "1")),
    **dict.fromkeys(["second", "segunda", "2nd"], Meaning("nth", "2")),
}  # fmt: skip
_GAPS = frozenset(_all("de del la las el los the it machine maquina"))
"""What may stand inside a phrase: "put it away", "agua de la bateria"."""
_GAPPED = frozenset({"watering", "put_away"})
_PARTICIPLE = re.compile("(?:[ai]d[ao]|[eo]st[ao]|rot[ao])$")


@dataclass(slots=True)
class Lexicon:
    """All words and phrases with their meanings, and the finder of slips."""

    words: dict[str, Meaning] = field(default_factory=dict)
    phrases: dict[str, list[tuple[tuple[str, ...], Meaning]]] = field(default_factory=lambda: defaultdict(list))
    parts: set[str] = field(default_factory=set)
    _near: Near | None = None

    def add(self, word: str, meaning: Meaning) -> None:
        """Give a word or a phrase its meaning; an earlier one is kept, so that entries come first."""
        said = tuple(plain(word).replace("'", "").split())
        if len(said) > 1:
            if all(said != phrase for phrase, _ in self.phrases[said[0]]):
                self.phrases[said[0]].append((said, meaning))
                self.phrases[said[0]].sort(key=lambda item: -len(item[0]))
                self.parts.update(said)
        else:
            self.words.setdefault(said[0], meaning)

    def near(self, typed: str) -> frozenset[str]:
        """The words that `typed` may be a slip of."""
        if self._near is None:
            self._near = Near({*self.words, *self.parts, *UNITS})
        return self._near.words(typed)

    def gaps(self, meaning: Meaning) -> frozenset[str]:
        """The words that may stand inside a phrase of this meaning."""
        return _GAPS if meaning.kind in _GAPPED else frozenset()

    def same(self, words: Iterable[str]) -> bool:
        """Whether all these words mean one kind of entry (or are one and the same word)."""
        found = list(words)
        if len(found) == 1:
            return True
        meanings = {self.words.get(word, Meaning("part", word)) for word in found}
        return len({(m.role, m.kind) for m in meanings}) == 1 and next(iter(meanings)).role == "kind"


def _of_kind(lexicon: Lexicon, kind: str, words: Words) -> None:
    meaning = Meaning("kind", kind, words.quantity)
    for word in (*words.en, *words.es):
        lexicon.add(word, meaning)
    for word in words.es:
        if _PARTICIPLE.search(plain(word)) and not word.startswith("agua"):
            lexicon.add(word + "s", meaning)
    for word in words.with_quantity:
        lexicon.add(word, Meaning("bare", kind, words.quantity))


@cache
def lexicon() -> Lexicon:
    """The one lexicon of this process."""
    made = Lexicon()
    for kind in catalogue:
        if kind.words is not None:
            _of_kind(made, kind.kind, kind.words)
    for kind in catalogue:
        for word in kind.words.with_also if kind.words is not None else ():
            made.add(word, Meaning("also", kind.kind))
    made.add("all", Meaning("card"))
    made.add("todo", Meaning("card"))
    for phrase, meaning in _PHRASES.items():
        made.add(phrase, meaning)
    for word, meaning in _CLOCK.items():
        made.add(word, meaning)
    for word, control in CONTROLS.items():
        made.add(word, Meaning("control", control))
    for words, meaning in (
        (("and", "y", "e"), Meaning("and")),
        (("up",), Meaning("up")),
        (("tank", "tanque"), Meaning("tank")),
        (("battery", "bateria"), Meaning("battery")),
        (FILLERS, Meaning("filler")),
        (NEGATIONS, Meaning("negation")),
        (PLANS, Meaning("plan")),
        (PLEASE, Meaning("please")),
        (ASKS, Meaning("asks")),
        (DOUBTS, Meaning("doubt")),
    ):
        for word in words:
            made.add(word, meaning)
    for unit in UNITS:
        made.words.setdefault(unit, Meaning("unit", unit))
    for unit in TIME_UNITS:
        made.words.setdefault(unit, Meaning("unit", unit))
    for part in sorted(made.parts):
        made.words.setdefault(part, Meaning("part", part))
    return made


TIME_UNITS: dict[str, int] = {
    **dict.fromkeys(_all("min mins minute minutes minuto minutos"), 60),
    **dict.fromkeys(_all("h hr hrs hour hours hora horas"), 3600),
}
"""What may stand between a number and "ago", in seconds."""

assert set(NO_SIGNS) <= set(NEGATIONS)  # noqa: S101  the two lists are one thought in two rooms
