"""Whose words are whose: cuts a text's items into parts, each with the machines that it speaks of.

Promises never to guess: where a word could be another machine's, the sender is asked. Codes joined by "and", "y" or
a comma share the words that follow; a code that is the only one has the whole text.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from logbook.channels.text.items import Item
from logbook.channels.text.sentences import REMARKS, split
from logbook.channels.text.tokens import is_a_code, looks_like_a_code
from logbook.channels.text.troubles import Rank, Trouble

_NOTHING = frozenset({"filler", "and", "break", "tank"})
_JOINS = frozenset({"unknown", "negation", "part", "doubt"})
_CLOCKED = frozenset({"when", "day", "number"})
_CUTS = frozenset({".", ";", "\n"})


@dataclass(slots=True)
class Part:
    """The items said of these machines; none if the text names none. `end`: where its last note may reach."""

    machines: list[str]
    items: list[Item]
    end: int


def bad_codes(items: list[Item], lengths: Collection[int]) -> list[Trouble]:
    """Letters and digits mixed that are no code of the fleet: mistyped, another fleet's, or no code at all."""
    found = []
    for item in items:
        if item.role == "mixed":
            word = item.text.upper()
            if is_a_code(word, lengths):
                found.append(Trouble(Rank.CODE, item.start, "unknown_machine", {"code": word}))
            elif looks_like_a_code(word, lengths):
                found.append(Trouble(Rank.CODE, item.start, "mistyped_machine", {"code": word}))
            else:
                found.append(Trouble(Rank.WORD, item.start, "unknown_word", {"word": item.text}))
    return found


def parts(items: list[Item], text_end: int, lone_machine: str | None) -> tuple[list[Part], list[Trouble]]:
    """The parts of a text, in order, and what was in the way of telling them apart."""
    groups = _groups(items)
    if not groups:
        return [Part([lone_machine] if lone_machine else [], items, text_end)], []
    before = items[: groups[0][0]]
    if len(groups) == 1 and groups[0][1] - groups[0][0] == 1:
        return _only(items, groups[0][0], text_end)
    troubles = []
    if says_something(before):
        troubles.append(_whose(items[groups[0][0]]))
    found = []
    for number, (start, stop) in enumerate(groups):
        last = number + 1 == len(groups)
        following = items[stop:] if last else items[stop : groups[number + 1][0]]
        if not says_something(following):
            troubles.append(_whose(items[stop - 1]))
        if not last and not _may_end(following):
            troubles.append(_whose(items[groups[number + 1][0]]))
        if number and _inside_a_remark(items, start, following):
            troubles.append(_whose(items[start]))
        codes = [item.text for item in items[start:stop] if item.role == "code"]
        end = text_end if last else items[groups[number + 1][0]].start
        found.append(Part(list(dict.fromkeys(codes)), following, end))
    return found, troubles


def says_something(items: list[Item]) -> bool:
    """Whether there is anything but small words and breaks."""
    return any(item.role not in _NOTHING for item in items)


def _only(items: list[Item], at: int, text_end: int) -> tuple[list[Part], list[Trouble]]:
    """The text names one machine once: all words are its own, wherever the code stands."""
    code, before, after = items[at], items[:at], items[at + 1 :]
    if not says_something(before):
        return [Part([code.text], after, text_end)], []
    if not says_something(after):
        return [Part([code.text], before, code.start)], []
    troubles = []
    small = [item for item in after if item.role not in _NOTHING]
    if not all(item.role in _CLOCKED for item in small):
        passed = {"filler", "tank", *_CLOCKED}
        last_break = next((item for item in reversed(before) if item.role not in passed), None)
        cut = last_break is not None and last_break.role == "break" and last_break.text in _CUTS
        parted = last_break is not None and last_break.role in ("break", "and")
        if cut or (parted and _remark_last(before)):
            troubles.append(_whose(code))
    return [Part([code.text], items, text_end)], troubles


def _groups(items: list[Item]) -> list[tuple[int, int]]:
    """Where codes stand that share the words after them: from the first of them to behind the last."""
    found: list[tuple[int, int]] = []
    index = 0
    while index < len(items):
        if items[index].role != "code":
            index += 1
            continue
        start = index
        stop = index = index + 1
        joined = True
        while joined:
            ahead = stop
            while ahead < len(items) and (items[ahead].role == "and" or items[ahead].text == ","):
                ahead += 1
            joined = ahead > stop and ahead < len(items) and items[ahead].role == "code"
            if joined:
                stop = index = ahead + 1
        found.append((start, stop))
    return found


def _inside_a_remark(items: list[Item], start: int, following: list[Item]) -> bool:
    """Whether another machine's code stands in the middle of a remark: "B7H squeegee on C4J broken"."""
    if items[start - 1].role in ("break", "and"):
        return False
    return bool(split(following)[0].kinds() & set(REMARKS))


def _remark_last(items: list[Item]) -> bool:
    """Whether the last sentence is one that is kept as it was written."""
    sentences = [sentence for sentence in split(items) if sentence.items]
    return bool(sentences) and bool(sentences[-1].kinds() & set(REMARKS))


def _may_end(items: list[Item]) -> bool:
    """Whether the next machine's code may stand after these items: a remark ends with a full stop or a new line."""
    sentences = [sentence for sentence in split(items) if sentence.items]
    remarks = [index for index, sentence in enumerate(sentences) if sentence.kinds() & set(REMARKS)]
    if not remarks:
        return True
    if not all(any(item.role in _JOINS for item in each.items) for each in sentences[remarks[-1] + 1 :]):
        return True  # something that is no remark stands between
    trailing: list[str] = []
    for item in reversed(items):
        if item.role not in ("break", "and"):
            break
        trailing.append(item.text)
    return any(text in (".", "\n") for text in trailing)


def _whose(item: Item) -> Trouble:
    return Trouble(Rank.MACHINE, item.start, "which_machine", {"code": item.text})
