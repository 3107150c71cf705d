"""Which number belongs to which word, and what then is left over.

Promises that a number is used for the word directly beside it or not at all; that a number which two words could
claim is asked about; and that none is dropped: what belongs to nothing refuses the text.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field

from logbook.channels.text import numbers, times
from logbook.channels.text.items import Item
from logbook.channels.text.lexicon import UNITS
from logbook.channels.text.troubles import Rank, Trouble
from logbook.domain.entries import Quantity

MOST_HEADS = 24
_UNITLESS = frozenset({"gravity", "hours"})
_PERCENT = frozenset({"%", "percent"})
_PASSED = frozenset({"filler", "also", "up", "tank", "code"})
_CHARGE = frozenset({"charge", "carga", "charged"})
"""Beside a percentage these say of what it is one; they are no entry then."""


@dataclass(slots=True)
class Bound:
    """What each word's numbers came to, which words turned out to be no entries, and what was in the way."""

    values: dict[int, object] = field(default_factory=dict)  # by the id of the word's item
    used: set[int] = field(default_factory=set)  # numbers that have their word
    absorbed: set[int] = field(default_factory=set)  # words that belong to another's quantity
    troubles: list[Trouble] = field(default_factory=list)


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
    _percentages(items, bound)
    for index, item in enumerate(items):
        if item.role == "kind" and item.quantity is not None and item.quantity.many:
            _heads(items, index, item.quantity, bound)
    claims = [
        _Claim(item, _claimants(items, index, stands_for))
        for index, item in enumerate(items)
        if item.role == "number" and id(item) not in bound.used and item.unit not in _PERCENT
    ]
    _settle(items, [claim for claim in claims if claim.words], bound)
    _leftovers(items, bound)
    return bound


def _is_about(items: list[Item], index: int) -> bool:
    return index > 0 and items[index - 1].role == "about"


# ------------------------------------------------------------------------------------------------------ percentages


def _percentages(items: list[Item], bound: Bound) -> None:
    for index, item in enumerate(items):
        if item.role != "number" or item.unit not in _PERCENT or id(item) in bound.used:
            continue
        left, left_doubt, left_taken = _put_away(items, index, -1)
        right, right_doubt, right_taken = _put_away(items, index, 1)
        word = left if left is not None else right
        if word is None or word.quantity is None:
            if left_taken or right_taken:
                bound.used.add(id(item))
                about = (left_taken or right_taken)[0]
                bound.troubles.append(Trouble(Rank.WORD, about.start, "ambiguous_word", {"word": about.text}))
            continue
        if left_doubt is not None or right_doubt is not None:
            doubt = left_doubt if left_doubt is not None else right_doubt
            assert doubt is not None  # noqa: S101  one of the two is
            bound.troubles.append(Trouble(Rank.WORD, doubt.start, "ambiguous_word", {"word": doubt.text}))
        bound.used.add(id(item))
        bound.absorbed |= {id(each) for each in left_taken + right_taken}
        _measured([item], word, word.quantity, bound)


def _put_away(items: list[Item], index: int, step: int) -> tuple[Item | None, Item | None, list[Item]]:
    """Look from a percentage to one side: the word it belongs to, a word that leaves it in doubt, words it takes up."""
    taken: list[Item] = []
    broken = 0
    index += step
    while 0 <= index < len(items):
        item = items[index]
        if (item.role in _PASSED and item.role != "also") or (item.role == "number" and item.unit in _PERCENT):
            pass
        elif item.text in _CHARGE or item.role == "battery":
            if broken:
                return None, item, taken
            taken.append(item)
        elif item.text == "," or item.role == "and":
            broken += 1
            if broken > 1:
                break
        elif item.role == "kind" and item.quantity is not None and item.quantity.family == "percent":
            return item, None, taken
        else:
            break
        index += step
    return None, None, taken


# ------------------------------------------------------------------------------------------------------------ heads


def _heads(items: list[Item], index: int, quantity: Quantity, bound: Bound) -> None:
    """One length, or one a head in order; the last unit of a run serves all."""
    word = items[index]
    right, left = _run(items, index, 1, bound), _run(items, index, -1, bound)
    if right and left and _has_unit(right) and _has_unit(left):
        bound.used |= {id(item) for item in right + left}
        bound.troubles.append(Trouble(Rank.CONFLICT, word.start, "conflicting", {"word": word.text}))
        return
    run = right if right and (_has_unit(right) or not _has_unit(left)) else left
    if not run:
        return
    bound.used |= {id(item) for item in run}
    units = [item.unit for item in run if item.unit is not None]
    serving = units[-1] if units else None
    fractions = [item for item in run if item.unit is None and numbers.is_fraction(item.text)]
    mixed = [item for item in run if _is_mixed(items, item)]
    inches = serving is not None and UNITS[serving] == UNITS["inch"]
    if mixed or (fractions and serving is not None and not inches):
        odd = (mixed or fractions)[0]
        bound.troubles.append(Trouble(Rank.NUMBER, odd.start, "ambiguous_number", {"word": odd.text}))
        return
    for item in reversed(run):
        if item.unit is not None:
            serving = item.unit
        elif serving is not None:
            item.unit = serving
    if len(run) > MOST_HEADS:
        bound.troubles.append(Trouble(Rank.NUMBER, run[0].start, "out_of_range", {"word": run[0].text}))
        return
    _measured(run, word, quantity, bound)


def _run(items: list[Item], index: int, step: int, bound: Bound) -> list[Item]:
    """The numbers directly beside a word that may be lengths, in the order of the text."""
    run: list[Item] = []
    index += step
    while 0 <= index < len(items):
        item = items[index]
        if item.role == "number":
            if id(item) in bound.used or not _may_be_length(item):
                break
            run.append(item)
        elif not (item.role in _PASSED or (run and (item.text == "," or item.role == "and"))):
            break
        index += step
    return run if step > 0 else run[::-1]


def _may_be_length(item: Item) -> bool:
    if item.unit is not None:
        return UNITS[item.unit][0] == "length"
    return not (item.text.isdigit() and len(item.text) >= 3) and ":" not in item.text


def _has_unit(run: list[Item]) -> bool:
    return any(item.unit is not None or numbers.is_fraction(item.text) for item in run)


def _is_mixed(items: list[Item], item: Item) -> bool:
    """A whole number straight before a fraction: "1 1/4" is one and a quarter, or two heads."""
    index = items.index(item)
    after = items[index + 1] if index + 1 < len(items) else None
    return (
        item.unit is None and item.text.isdigit() and int(item.text) > 0
        and after is not None and after.role == "number" and numbers.is_fraction(after.text)
    )  # fmt: skip


# --------------------------------------------------------------------------------------------------- single numbers


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
        word, commas = _beside(items, index, step, {*_PASSED, "number"})
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


def _beside(items: list[Item], index: int, step: int, passed: Collection[str] = _PASSED) -> tuple[Item | None, int]:
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
    while index < len(items) and items[index].role in _PASSED:
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
                    _measured([number], words[key], quantity, bound)


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


def _measured(run: list[Item], word: Item, quantity: Quantity, bound: Bound) -> None:
    """Work the numbers out and give them to their word; two different ones for a word conflict."""
    found: list[int] = []
    for item in run:
        try:
            found.append(numbers.measure(item.text, item.unit, quantity))
        except numbers.RefusedNumber as why:
            about: dict[str, object] = {"word": item.text, "kind": word.kind, "quantity": quantity}
            bound.troubles.append(Trouble(Rank.NUMBER, item.start, why.reason, about))
            return
    value: object = found if quantity.many else found[0]
    if bound.values.setdefault(id(word), value) != value:
        bound.troubles.append(Trouble(Rank.CONFLICT, run[0].start, "conflicting", {"word": word.text}))


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
