"""Whether the words of a text make sense together: negations, plans, verbs with their objects, words out of place.

Promises that a word without a meaning where it stands stops the text, and that two words which together may mean
something else than each alone are asked about: "rinsed filter" is no rinse of the tank.
"""

from __future__ import annotations

from collections.abc import Iterable

from logbook.channels.text.items import Item
from logbook.channels.text.troubles import Rank, Trouble

_VERBS = frozenset({"rinse", "wipe", "fill", "empty"})
_OBJECTS = frozenset({"filter", "squeegee"})
_PLUGS = frozenset({"charge", "unplug"})
_STARTED = _VERBS | _PLUGS | {"watering"}
_LOOKS = frozenset({"checked", "revise", "revisada", "revisadas"})
_LOOKED_AT = frozenset({"filter", "squeegee", "charge", "watering", "segments", "gravity", "hours"})
_STOPS = frozenset({"plug", "plugged", "unplug", "unplugged"})
_PASSED = frozenset({"filler", "up", "code"})
_NOUNS = frozenset({"filter", "squeegee", "watering"})
_UNREAD = frozenset({"unknown", "part", "unit", "doubt", "clock", "half", "nth"})
_ASKED = frozenset({"ambiguous", "asks", "please", "question", "control"})


def beside(items: list[Item], index: int, step: int, passed: Iterable[str] = _PASSED) -> Item | None:
    """The next item that is no small word, in this direction, up to a break; None behind a break."""
    index += step
    while 0 <= index < len(items):
        if items[index].role not in passed:
            return None if items[index].role in ("break", "and") else items[index]
        index += step
    return None


def _ask(item: Item, **about: object) -> Trouble:
    return Trouble(Rank.WORD, item.start, "ambiguous_word", {"word": item.text, **about})


def _unknown(item: Item) -> Trouble:
    return Trouble(Rank.WORD, item.start, "unknown_word", {"word": item.text})


def check(items: list[Item], absorbed: set[int]) -> list[Trouble]:
    """What is wrong with the words of one part. `absorbed`: words that a percentage has taken up."""
    found: list[Trouble] = []
    for index, item in enumerate(items):
        if id(item) in absorbed:
            continue
        if item.role in _UNREAD:
            found.append(_unknown(item))
        elif item.role in _ASKED:
            found.append(_ask(item, choices=item.choices))
        elif item.role in ("negation", "plan"):
            found.append(Trouble(Rank.WORD, item.start, "negated", {"word": item.text}))
        elif item.role == "battery":
            near = (beside(items, index, 1), beside(items, index, -1))
            if not any(other is not None and other.role == "kind" and other.kind in _PLUGS for other in near):
                found.append(_unknown(item))
        elif item.role == "up":
            before = beside(items, index, -1)
            if before is None or before.role not in ("kind", "bare"):
                found.append(_unknown(item))
        elif item.role == "also":
            found += _also(items, index)
        elif item.role == "kind":
            found += _objects(items, index) if item.kind in _VERBS else _together(items, index)
    return found


def card(items: list[Item]) -> list[Trouble]:
    """The closing card stands for five acts, so nothing else may be said with it."""
    cards = [item for item in items if item.role == "card"]
    if not cards:
        return []
    small = ("card", "filler", "and", "tank", "break", "code", "when", "day", "number")
    return [_ask(cards[0])] if any(item.role not in small for item in items) else []


def objects(items: list[Item]) -> dict[int, Item]:
    """Bare "water" that is the object of a verb beside it, by its id: "filled water", "fill 60 l water"."""
    found: dict[int, Item] = {}
    for index, item in enumerate(items):
        if item.role == "bare":
            before = beside(items, index, -1, {*_PASSED, "tank"})
            after = beside(items, index, 1, {*_PASSED, "tank"})
            over = beside(items, index, -1, {*_PASSED, "tank", "number"})
            if over is not None and over.kind != "fill":
                over = None
            for verb in (before, after, over):
                if verb is not None and verb.role == "kind" and verb.kind in ("fill", "empty"):
                    found.setdefault(id(item), verb)
    return found


def is_change(items: list[Item], index: int) -> bool:
    """Whether a segments' word has "new", "changed" or the like beside it."""
    passed = {*_PASSED, "number", "tank"}
    return any((other := beside(items, index, step, passed)) is not None and other.role == "also" for step in (1, -1))


def _also(items: list[Item], index: int) -> list[Trouble]:
    """ "new" and "changed" are said of segments; beside something else, or between two things, they ask."""
    passed = {*_PASSED, "number", "tank", "also"}
    near = [other for step in (1, -1) if (other := beside(items, index, step, passed)) is not None]
    of_segments = [other for other in near if other.role == "kind" and other.kind == "segments"]
    others = [other for other in near if other.role in ("bare", "battery") or other.kind in _NOUNS]
    return [] if of_segments and not others else [_ask(items[index])]


def _together(items: list[Item], index: int) -> list[Trouble]:
    """Pairs of words that mean another thing than each alone. A break between them makes two entries of them.

    "Started charging" is no start, "checked filter" no cleaning, a "plugged filter" is stopped up, and "topped up the
    tank" says nothing of the battery.
    """
    item = items[index]
    for step in (-1, 1):
        other = beside(items, index, step)
        if other is None:
            continue
        starts = item.kind == "start" and other.kind in (_STARTED if step > 0 else _PLUGS)
        checks = item.text in _LOOKS and (other.role == "bare" or other.kind in _LOOKED_AT)
        stops = item.text in _STOPS and (other.role in ("bare", "tank") or other.kind in _OBJECTS)
        tops = item.kind == "watering" and other.role == "tank"
        if starts or checks or stops or tops:
            return [_ask(item)]
    return []


def _objects(items: list[Item], index: int) -> list[Trouble]:
    verb = items[index]
    if verb.text in ("lave", "lavado") and _machine(items, index):  # washed is not rinsed out
        return [_ask(verb)]
    for step in (-1, 1):
        first = beside(items, index, step)
        if first is not None and first.role == "tank" and verb.kind == "wipe":
            return [_ask(first)]
        thing = beside(items, index, step, {*_PASSED, "tank"})
        if thing is None:
            continue
        if thing.role == "kind" and thing.kind in _OBJECTS:
            return [_ask(thing)]
        if thing.role == "bare" and verb.kind in ("rinse", "wipe"):
            return [_ask(thing)]
        if thing.role == "kind" and thing.kind == "watering" and verb.kind == "fill" and " " in thing.text:
            return [_ask(thing)]
    return []


def _machine(items: list[Item], index: int) -> bool:
    """Whether "machine" or "maquina" is the verb's object."""
    for item in items[index + 1 :]:
        if item.text in ("machine", "maquina"):
            return True
        if item.role != "filler":
            break
    return index > 0 and items[index - 1].text in ("machine", "maquina")
