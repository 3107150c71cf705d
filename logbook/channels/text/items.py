"""From tokens to items: words with their meanings, phrases put together, numbers with their units, times of the clock.

Promises that no token is dropped here: what has no meaning stays, as an item that says so, until someone decides
whether it stood in a note. Slips are mended here, and only here.
"""

from __future__ import annotations

from dataclasses import dataclass

from logbook.channels.text import numbers, times
from logbook.channels.text.lexicon import TIME_UNITS, UNITS, Lexicon, Meaning, Role, lexicon
from logbook.channels.text.slips import SHORTEST
from logbook.channels.text.times import Ago, When
from logbook.channels.text.tokens import Token, tokenise
from logbook.domain.entries import Quantity
from logbook.domain.instants import SECOND

_AMBIGUOUS = "ambiguous"
_CLOCK_WORDS = frozenset({"hours", "hour", "horas", "hora", "hrs", "hr"})


@dataclass(slots=True, eq=False)
class Item:
    """One thing said.

    `role` is a role of the lexicon, or one of: code, mixed, break, question, about, number, when, ambiguous, remark,
    tap (a tap's code), spoilt (one that was damaged).
    """

    role: Role | str
    text: str
    start: int
    end: int
    kind: str = ""
    quantity: Quantity | None = None
    slipped: bool = False
    choices: tuple[str, ...] = ()
    minus: bool = False
    unit: str | None = None
    when: When | None = None


def itemise(text: str, codes: frozenset[str]) -> list[Item]:
    """All items of a tidied text, in order. Never raises."""
    words = lexicon()
    found = [_item(token, words) for token in tokenise(text, codes)]
    return _clocks(_phrases(found, words))


def _item(token: Token, words: Lexicon) -> Item:
    if token.shape == "spoilt" and token.text.isalpha():  # "#WATERED" is a word; its case says nothing
        word = token.text.lower()
        if word in words.words or words.near(word):
            token = Token("word", word, token.start, token.end)
    if token.shape != "word":
        return Item(token.shape, token.text, token.start, token.end, minus=token.minus)
    meaning = words.words.get(token.text)
    if meaning is not None:
        return Item(meaning.role, token.text, token.start, token.end, meaning.kind, meaning.quantity)
    near = words.near(token.text)
    if near and words.same(near):
        meant = min(near, key=lambda word: (len(word) == len(token.text) == SHORTEST, word))
        meaning = words.words[meant]
        if meaning.role in ("kind", "also", "battery", "bare", "part"):
            return Item(
                meaning.role, meant, token.start, token.end, meaning.kind, meaning.quantity,
                slipped=True, choices=tuple(sorted(near)),
            )  # fmt: skip
    if any(words.words[word].role in ("kind", "also", "bare") for word in near):
        return Item(_AMBIGUOUS, token.text, token.start, token.end, choices=tuple(sorted(near)))
    return Item("unknown", token.text, token.start, token.end)


def _phrases(items: list[Item], words: Lexicon) -> list[Item]:
    """Put the words of phrases together, the longest phrase first."""
    made: list[Item] = []
    index = 0
    while index < len(items):
        item = items[index]
        for said, meaning in words.phrases.get(item.text, ()) if item.role != "number" else ():
            between: list[Item] = []
            last = _match(items, index, said, meaning, words, between)
            if last is not None:
                made += between
                slipped = any(each.slipped for each in items[index : last + 1])
                start, end = item.start, items[last].end
                made.append(Item(meaning.role, " ".join(said), start, end, meaning.kind, meaning.quantity, slipped))
                index = last + 1
                break
        else:
            made.append(item)
            index += 1
    return made


def _match(
    items: list[Item], first: int, said: tuple[str, ...], meaning: Meaning, words: Lexicon, between: list[Item]
) -> int | None:
    """The index of the phrase's last word, or None. A code inside "put B7H away" is handed out in `between`."""
    if not _is(items[first], said[0]):
        return None
    gaps = words.gaps(meaning)
    index = first
    for word in said[1:]:
        index += 1
        while gaps and index < len(items) and (items[index].text in gaps or items[index].role == "code"):
            if items[index].role == "code":
                between.append(items[index])
            index += 1
        if index >= len(items) or not _is(items[index], word):
            return None
    return index


def _is(item: Item, word: str) -> bool:
    """Whether an item is this word of a phrase; a slip only if it can have been no other word."""
    return item.text == word and (not item.slipped or len(item.choices) == 1)


# ------------------------------------------------------------------------------------------------ numbers and times


def _clocks(items: list[Item]) -> list[Item]:
    """Give numbers their units, and turn what is surely a time into one."""
    made: list[Item] = []
    index = 0
    while index < len(items):
        item = items[index]
        index += 1
        if item.role != "number":
            made.append(item)
            continue
        taken = _ago(made, item, items[index : index + 2])
        if item.when is None:
            taken = _unit(item, items, index)
            if item.unit in (None, "h"):
                taken += _time(made, item, items[index + taken : index + taken + 3])
        made.append(item)
        index += taken
    return made


def _ago(made: list[Item], item: Item, after: list[Item]) -> int:
    """`5 min ago`, `hace 5 min`: a stretch of time and the word that turns it backwards."""
    if not after or after[0].text not in TIME_UNITS or item.minus:
        return 0
    ago = len(after) > 1 and after[1].text == "ago"
    hace = bool(made) and made[-1].text == "hace"
    if not ago and not hace:
        return 0
    try:
        seconds = numbers.value(item.text, "hours") * TIME_UNITS[after[0].text]
    except numbers.RefusedNumber:
        return 0
    item.role, item.when = "when", Ago(int(seconds * SECOND))
    item.end = after[0].end
    if hace:
        item.start = made.pop().start
        return 1
    item.end = after[1].end
    return 2


def _unit(item: Item, items: list[Item], index: int) -> int:
    """Take the unit that follows a number; "in" after a time of the clock is only a small word."""
    if index >= len(items) or items[index].text not in UNITS:
        return 0
    unit = items[index]
    if unit.text == "in" and (times.has_leading_zero(item.text) or ":" in item.text):
        return 0
    item.unit = unit.text
    item.end = unit.end
    return 1


def _time(made: list[Item], item: Item, after: list[Item]) -> int:
    """Read a number as a time if something beside it says that it is one; answers how many items after it belong."""
    taken = 0
    half = day = ""
    nth = 0
    if after and after[0].role == "half":
        half, taken = after[0].kind, 1
    at = bool(made) and (
        made[-1].text == "at" or (len(made) > 1 and made[-1].text in ("las", "la") and made[-2].text == "a")
    )
    if at and not taken and after and after[0].text in _CLOCK_WORDS and len(item.text) > 2:
        taken = 1  # "at 0510 hours"
    before = len(made) - 1
    while before >= 0 and made[before].text in ("at", "a", "las", "la"):
        before -= 1
    day_before = before >= 0 and made[before].role == "day"
    if day_before:
        day = made[before].kind
    elif len(after) > taken and after[taken].role == "day":
        day, taken = after[taken].kind, taken + 1
    if len(after) > taken and after[taken].role == "nth":
        nth, taken = int(after[taken].kind), taken + 1
    elif len(after) > taken + 1 and after[taken].text == "la" and after[taken + 1].role == "nth":
        nth, taken = int(after[taken + 1].kind), taken + 2
    sure = item.unit == "h" and (":" in item.text or times.has_leading_zero(item.text))
    if not (half or at or day or nth or sure or ":" in item.text) or item.minus:
        return 0
    if item.unit == "h" and not (sure or at):
        return 0
    found = times.clock(item.text, marked=bool(half or at or day))
    if found is None:
        return 0
    item.role = "when"
    item.when = times.Clock(found.hour, found.minute, found.open, half, _as_day(day), nth)
    if day_before:
        del made[before]
    if taken:
        item.end = after[taken - 1].end
    return taken


def _as_day(said: str) -> times.Day:
    return "yesterday" if said == "yesterday" else "night" if said == "night" else ""
