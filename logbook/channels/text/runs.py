"""Numbers that are bound in their own way: percentages of the charge, and the lengths of the segments, head by head.

Promises that a percentage is only ever of the charge at which a machine was put away, and that in a run of lengths
the last unit serves all. What a word's numbers come to is kept in `Bound`, for these and for all others.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from logbook.channels.text import numbers
from logbook.channels.text.items import Item
from logbook.channels.text.lexicon import UNITS
from logbook.channels.text.troubles import Rank, Trouble
from logbook.domain.entries import Quantity

MOST_HEADS = 24
PERCENT = frozenset({"%", "percent"})
PASSED = frozenset({"filler", "also", "up", "tank", "code"})
"""What may stand between a number and its word."""
_CHARGE = frozenset({"charge", "carga", "charged"})
"""Beside a percentage these say of what it is one; they are no entry then."""


@dataclass(slots=True)
class Bound:
    """What each word's numbers came to, which words turned out to be no entries, and what was in the way."""

    values: dict[int, object] = field(default_factory=dict)  # by the id of the word's item
    used: set[int] = field(default_factory=set)  # numbers that have their word
    absorbed: set[int] = field(default_factory=set)  # words that belong to another's quantity
    troubles: list[Trouble] = field(default_factory=list)


def measured(run: list[Item], word: Item, quantity: Quantity, bound: Bound) -> None:
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


def percentages(items: list[Item], bound: Bound) -> None:
    for index, item in enumerate(items):
        if item.role != "number" or item.unit not in PERCENT or id(item) in bound.used:
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
        measured([item], word, word.quantity, bound)


def _put_away(items: list[Item], index: int, step: int) -> tuple[Item | None, Item | None, list[Item]]:
    """Look from a percentage to one side: the word it belongs to, a word that leaves it in doubt, words it takes up."""
    taken: list[Item] = []
    broken = 0
    index += step
    while 0 <= index < len(items):
        item = items[index]
        if (item.role in PASSED and item.role != "also") or item.role == "when" or _bare_or_percent(item):
            pass  # "parked at 0500, 80 %": a time between them takes nothing away
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


def _bare_or_percent(item: Item) -> bool:
    return item.role == "number" and (item.unit is None or item.unit in PERCENT)


def heads(items: list[Item], index: int, quantity: Quantity, bound: Bound) -> None:
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
    measured(run, word, quantity, bound)


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
        elif not (item.role in PASSED or (run and (item.text == "," or item.role == "and"))):
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
