"""Which number belongs to which word, and what then is left over.

Promises that a number is used for the word directly beside it or not at all; that a number which two words could
claim is asked about; and that none is dropped: what belongs to nothing refuses the text.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from logbook.channels.text import times
from logbook.channels.text.items import Item
from logbook.channels.text.lexicon import UNITS
from logbook.channels.text.runs import PASSED, PERCENT, Bound, heads, measured, percentages
from logbook.channels.text.troubles import Rank, Trouble
from logbook.domain.entries import Quantity

_UNITLESS = frozenset({"gravity", "hours"})


@dataclass(slots=True)
class _Claim:
    number: Item
    words: list[Item]


def bind(items: list[Item], stands_for: dict[int, Item]) -> Bound:
    """Give every number its word. `stands_for`: words that are another's object ("water" in "filled water")."""
    bound = Bound()
    for index, item in enumerate(items):
        if item.role == "number" and (item.minus or _is_about(items, index)):
            bound.used.add(id(item))
            bound.troubles.append(Trouble(Rank.NUMBER, item.start, "ambiguous_number", {"word": item.text}))
    percentages(items, bound)
    for index, item in enumerate(items):
        if item.role == "kind" and item.quantity is not None and item.quantity.many:
            heads(items, index, item.quantity, bound)
    claims = [
        _Claim(item, _claimants(items, index, stands_for))
        for index, item in enumerate(items)
        if item.role == "number" and id(item) not in bound.used and item.unit not in PERCENT
    ]
    _settle(items, [claim for claim in claims if claim.words], bound)
    _leftovers(items, bound)
    return bound


def _is_about(items: list[Item], index: int) -> bool:
    return index > 0 and items[index - 1].role == "about"


def _claimants(items: list[Item], index: int, stands_for: dict[int, Item]) -> list[Item]:
    """The words directly beside a number that could be its own; over a comma only where none is nearer."""
    number = items[index]
    near: list[Item] = []
    far: list[Item] = []
    for step in (-1, 1):
        word, commas = _beside(items, index, step)
        if word is None:
            continue
        word = stands_for.get(id(word), word)
        quantity = word.quantity
        if quantity is None or word.role not in ("kind", "bare") or quantity.many:
            continue
        if _fits(number, word, quantity, after=step < 0, items=items, near=commas == 0):
            (far if commas else near).append(word)
    if number.unit is None:  # a word that takes bare numbers comes before one that would only ask for a unit
        near = [word for word in near if word.quantity is not None and word.quantity.family in _UNITLESS] or near
    return near or far or _behind_numbers(items, index)


def _behind_numbers(items: list[Item], index: int) -> list[Item]:
    """The word that a number would be a second one for: "fill 60 l 65 l" conflicts, "sg 1265 2350" does not."""
    number = items[index]
    for step in (-1, 1):
        word, commas = _beside(items, index, step, {*PASSED, "number"})
        if word is None or word.role != "kind" or word.quantity is None or word.quantity.many or commas:
            continue
        family = word.quantity.family
        if number.unit is not None:
            second = UNITS[number.unit][0] == family
        elif family == "gravity":
            second = number.text.isdigit() and word.quantity.low <= int(number.text[:9]) <= word.quantity.high
        else:
            second = family == "hours" and not times.has_leading_zero(number.text)
        if second:
            return [word]
    return []


def _beside(items: list[Item], index: int, step: int, passed: Collection[str] = PASSED) -> tuple[Item | None, int]:
    commas = 0
    index += step
    while 0 <= index < len(items):
        item = items[index]
        if item.text == "," and item.role == "break":
            commas += 1
        elif item.role not in passed:
            return (item if item.role in ("kind", "bare") else None), commas
        index += step
    return None, commas


def _fits(number: Item, word: Item, quantity: Quantity, *, after: bool, items: list[Item], near: bool) -> bool:
    """Whether a number may be this word's. `after`: it follows the word. `near`: no comma stands between."""
    if number.unit is not None:
        return UNITS[number.unit][0] == quantity.family
    if not near:
        return False
    clock = times.clock(number.text, marked=False)
    if quantity.family == "gravity":
        return not times.has_leading_zero(number.text)
    if quantity.family == "hours":
        return not (times.has_leading_zero(number.text) and not after and _has_number_after(items, word))
    if times.has_leading_zero(number.text) or (clock is not None and number.text.startswith("0")):
        return False
    if quantity.family == "percent":
        return clock is None or number.text == "100"
    return clock is None or after


def _has_number_after(items: list[Item], word: Item) -> bool:
    index = items.index(word) + 1
    while index < len(items) and items[index].role in PASSED:
        index += 1
    return index < len(items) and items[index].role == "number" and not times.has_leading_zero(items[index].text)


def _settle(items: list[Item], claims: list[_Claim], bound: Bound) -> None:
    """Numbers with one word get it; a number with two gets the one that no other number has."""
    changed = True
    while changed:
        changed = False
        sure = {id(claim.words[0]): claim for claim in claims if len(claim.words) == 1}
        for claim in claims:
            if len(claim.words) > 1:
                rest = [word for word in claim.words if id(word) not in sure]
                if rest and len(rest) < len(claim.words):
                    claim.words = rest
                    changed = True
    by_word: dict[int, list[Item]] = {}
    words: dict[int, Item] = {}
    for claim in claims:
        bound.used.add(id(claim.number))
        if len({word.kind for word in claim.words}) > 1:
            bound.troubles.append(
                Trouble(Rank.NUMBER, claim.number.start, "ambiguous_number", {"word": claim.number.text})
            )
            continue
        word = claim.words[0]
        by_word.setdefault(id(word), []).append(claim.number)
        words[id(word)] = word
    for key, held in by_word.items():
        quantity = words[key].quantity
        if quantity is not None:
            for number in held:
                if quantity.family == "hours" and (
                    _is_military(number, words[key]) or _lasts(items, number, words[key])
                ):
                    bound.troubles.append(Trouble(Rank.NUMBER, number.start, "ambiguous_number", {"word": number.text}))
                else:
                    measured([number], words[key], quantity, bound)


def _is_military(number: Item, word: Item) -> bool:
    """Whether "0510 hours" is a time of the clock rather than a meter's reading: nobody can tell, so it is asked."""
    shown = len(number.text) == 4 and times.clock(number.text, marked=False) is not None
    return shown and (number.start < word.start or number.text.startswith("0"))


def _lasts(items: list[Item], number: Item, word: Item) -> bool:
    """Whether "8 hours" may say how long something went on: "charged 8 hours", "8 horas cargando"."""
    if number.start > word.start:
        return False
    before, commas = _beside(items, items.index(number), -1)
    after, more = _beside(items, items.index(word), 1)
    return (before is not None and not commas) or (after is not None and not more)


def _leftovers(items: list[Item], bound: Bound) -> None:
    """A number that no word took is a time of the clock, if it reads as one; else it refuses the text."""
    for item in items:
        if item.role != "number" or id(item) in bound.used:
            continue
        clock = times.clock(item.text, marked=False) if item.unit is None else None
        if clock is not None:
            item.role, item.when = "when", clock
        else:
            bound.troubles.append(Trouble(Rank.NUMBER, item.start, "unknown_number", {"word": item.text}))
