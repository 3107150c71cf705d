"""Sentences that are kept as they were written: faults, repairs, notes, and what is said right after them.

Promises that nothing inside such a sentence counts as an entry of its own, so that "filter leaks" never says that
the filter was cleaned; and that a fault is not written down where the sentence may deny it, nor a repair where the
sentence may only wish for it: then the sender is asked.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field

from logbook.channels.text import times
from logbook.channels.text.items import Item
from logbook.channels.text.lexicon import DOUBTS
from logbook.channels.text.tokens import is_a_code, looks_like_a_code
from logbook.channels.text.troubles import Rank, Trouble

REMARKS = ("fault", "repaired", "note")
_BARE = frozenset({"filter", "squeegee"})
_SMALL = frozenset({"filler", "tank", "and", "up"})
_LOOKED_FOR = frozenset({"any", "if", "for", "zero"})
"""Before a fault's word these may say that there was none: "checked for leaks", "any leaks"."""
_OVER = frozenset({"free", "test", "solved", "gone", "stopped", "resuelto", "resuelta", "solucionado", "solucionada"})
"""Anywhere beside a fault's word these may say that it is over."""
_REFUSES = frozenset({"wont", "doesnt"})
_DOUBTS = frozenset(DOUBTS)
_STRONG = frozenset({".", "\n", "start"})


@dataclass(slots=True)
class Sentence:
    """What stands between two breaks, and the break before it ("start" for the first)."""

    items: list[Item]
    before: str
    breaks: list[Item] = field(default_factory=list)

    def kinds(self) -> set[str]:
        return {item.kind for item in self.items if item.role == "kind"}


@dataclass(slots=True, eq=False)
class Remark:
    """A sentence that is kept: fault, repaired or note, and from where to where in the text."""

    kind: str
    spans: list[tuple[int, int]]


@dataclass(slots=True)
class Parted:
    """The items that still count, in order, with each remark as an item of role "remark"; and what was in the way."""

    items: list[Item] = field(default_factory=list)
    remarks: dict[int, Remark] = field(default_factory=dict)  # by the id of its item
    troubles: list[Trouble] = field(default_factory=list)


def split(items: list[Item]) -> list[Sentence]:
    """Cut at full stops, semicolons, commas, line breaks, and "and" or "y"."""
    found = [Sentence([], "start")]
    for item in items:
        if item.role in ("break", "and"):
            if found[-1].items or len(found) == 1:
                found.append(Sentence([], item.text, [item]))
            else:  # ", and": the stronger break is the one that counts
                if item.text in _STRONG or found[-1].before == "and":
                    found[-1].before = item.text
                found[-1].breaks.append(item)
        else:
            found[-1].items.append(item)
    return found


def led(items: list[Item], text_end: int) -> Parted | None:
    """One tap's remark: its first word, which the phone wrote, says what all of it is; None if it is no remark.

    Whoever tapped it has said already whether it is a fault, a repair or a note: there is nothing to doubt. A time
    behind the last comma is when it was.
    """
    said = [item for item in items if item.role != "code"]
    if not said or said[0].role != "kind" or said[0].kind not in REMARKS:
        return None
    last = max((index for index, item in enumerate(said) if item.role == "break"), default=len(said))
    clocks = said[last + 1 :]
    if not all(_counts_as_time(item) for item in clocks):
        clocks, last = [], len(said)
    end = said[last].start if clocks else text_end
    held = Item("remark", said[0].kind, said[0].start, end, said[0].kind)
    return Parted([held, *clocks], {id(held): Remark(held.kind, [(held.start, end)])})


def part(items: list[Item], text_end: int, codes: frozenset[str], lengths: Collection[int]) -> Parted:
    """Take the remarks out of one machine's items. `text_end` is where the last of them may reach."""
    sentences = split(items)
    kinds = [_kind(sentence) for sentence in sentences]
    parted = Parted()
    if not any(kinds):
        parted.items = items
        return parted
    _draw_in(sentences, kinds)
    current: Remark | None = None  # the remark that the sentence before belongs to
    latest: Remark | None = None
    for index, sentence in enumerate(sentences):
        end = next((s.breaks[0].start for s in sentences[index + 1 :] if s.breaks), text_end)
        kind = kinds[index]
        own = kind in REMARKS
        if not own and latest is not None and _follows(sentence, touches=current is not None):
            kind = "more"
        if not kind:
            parted.items += [*sentence.breaks, *sentence.items]
            current = None if sentence.items else current
            continue
        parted.troubles += _codes(sentence, codes, lengths)
        if own:
            parted.troubles += _doubts(sentence, kind)
        span = (_start(sentence), end)
        if kind == "more" or kind == "drawn" or (current is not None and current.kind == kind == "fault"):
            remark = current if current is not None else latest
            if remark is None:  # a bare word drawn in by the fault that comes after it
                remark = Remark("fault", [])
                _place(parted, sentence, remark)
            remark.spans.append(span)
            parted.troubles += _in_what_follows(sentence) if kind == "more" else []
            if own:
                parted.items += [item for item in sentence.items if _counts_as_time(item)]
        else:
            remark = Remark(kind, [span])
            _place(parted, sentence, remark)
        current = latest = remark
    return parted


def _place(parted: Parted, sentence: Sentence, remark: Remark) -> None:
    """Put the remark among the items, and the times of its sentence where they stood."""
    here = sentence.items[0]
    held = Item("remark", remark.kind, here.start, sentence.items[-1].end, remark.kind)
    parted.remarks[id(held)] = remark
    parted.items += sentence.breaks
    said = [item for item in sentence.items if item.role not in _SMALL and item.role != "code"]
    clocks = [item for item in sentence.items if _counts_as_time(item)]
    if said and clocks and clocks[0] is said[0]:
        parted.items += [clocks.pop(0)]
    parted.items += [*(item for item in sentence.items if item.role == "code"), held, *clocks]


def _counts_as_time(item: Item) -> bool:
    """In a remark only what is surely a time counts as one: "error 510" is none."""
    if item.role in ("when", "day"):
        return True
    if item.role != "number" or item.unit is not None or item.minus or not item.text.isdigit() or len(item.text) != 4:
        return False
    found = times.clock(item.text, marked=False)
    return found is not None and not found.open


def _kind(sentence: Sentence) -> str:
    """Which remark a sentence is, or "". A fault's word outweighs a note's; a repair outweighs both."""
    kinds = sentence.kinds()
    if "repaired" in kinds:
        return "repaired"
    return "fault" if "fault" in kinds else "note" if "note" in kinds else ""


def _draw_in(sentences: list[Sentence], kinds: list[str]) -> None:
    """Bare "filter" or "squeegee" beside a fault's sentence belongs to it: "filter, squeegee broken"."""
    for order in (range(len(sentences)), range(len(sentences) - 1, -1, -1)):
        beside = False
        for index in order:
            if not sentences[index].items:
                continue
            if kinds[index] == "" and beside and _is_bare(sentences[index]):
                kinds[index] = "drawn"
            beside = kinds[index] in ("fault", "drawn")


def _is_bare(sentence: Sentence) -> bool:
    said = [item for item in sentence.items if item.role not in _SMALL and item.role != "code"]
    return bool(said) and all(item.role == "kind" and item.kind in _BARE for item in said)


def _follows(sentence: Sentence, *, touches: bool) -> bool:
    """Whether a sentence after a remark belongs to it: it has an unknown word, or stands right there and denies."""
    roles = {item.role for item in sentence.items}
    if sentence.items and sentence.items[0].role == "code":
        return False
    if roles & {"unknown", "part", "doubt", "unit"}:
        return True
    return touches and bool(roles & {"negation", "plan", "please"})


def _start(sentence: Sentence) -> int:
    """Where the kept text begins: after the machine's code, if that stands first."""
    for item in sentence.items:
        if item.role != "code":
            return item.start
    return sentence.items[0].start


def _in_what_follows(sentence: Sentence) -> list[Trouble]:
    """A time in a sentence that only joined the note: whose is it? And a question there is still a question."""
    return [
        _ask(item) if item.role == "question" else Trouble(Rank.TIME, item.start, "ambiguous_time", {"word": item.text})
        for item in sentence.items
        if item.role in ("when", "day", "question")
    ]


def _codes(sentence: Sentence, codes: frozenset[str], lengths: Collection[int]) -> list[Trouble]:
    """A code in the middle of a remark: is the remark about that machine, or does another text begin?"""
    found: list[Trouble] = []
    for index, item in enumerate(sentence.items):
        leads = all(each.role == "code" for each in sentence.items[:index])
        if item.role == "code" and not leads:
            found.append(Trouble(Rank.MACHINE, item.start, "which_machine", {"code": item.text}))
        elif item.role == "mixed":
            word = item.text.upper()
            if is_a_code(word, lengths):
                found.append(Trouble(Rank.CODE, item.start, "unknown_machine", {"code": word}))
            elif (leads and looks_like_a_code(word, lengths)) or any(_almost(word, code) for code in codes):
                found.append(Trouble(Rank.CODE, item.start, "mistyped_machine", {"code": word}))
    return found


def _almost(word: str, code: str) -> bool:
    """Whether a word has a code's length and is one wrong character or one swap away from it."""
    if len(word) != len(code):
        return False
    wrong = [index for index in range(len(code)) if word[index] != code[index]]
    return len(wrong) == 1 or (len(wrong) == 2 and sorted(word) == sorted(code))


def _doubts(sentence: Sentence, kind: str) -> list[Trouble]:
    """What makes a fault or a repair doubtful. A note may say anything."""
    items = sentence.items
    if kind == "note":
        return []
    for item in items:
        if item.role == "question":
            return [_ask(item)]
    faults = [index for index, item in enumerate(items) if item.role == "kind" and item.kind == "fault"]
    if kind == "repaired":
        return _repair_doubts(items, bool(faults))
    first, last = faults[0], faults[-1]
    for index, item in enumerate(items):
        if item.role == "negation" and (index < last and not _said_before(items, index)):
            return [_ask(items[last])]
        emphatic = items[last].text.startswith("no ")  # "no funciona nada" says it twice
        if item.role == "negation" and index == len(items) - 1 and index == last + 1 and not emphatic:
            return [_ask(items[last])]
        if (item.text in _LOOKED_FOR and index < first) or item.text in _OVER:
            return [_ask(items[first])]
        if item.role == "number" and item.text == "0" and index + 1 in faults:
            return [_ask(items[index + 1])]
        if item.text in _REFUSES and item.role == "kind":
            if index and items[index - 1].text in ("i", "we"):
                return [Trouble(Rank.WORD, item.start, "negated", {"word": item.text})]
            near = [items[other] for other in faults if index < other <= index + 3]
            if any(other.text not in _REFUSES for other in near):
                return [_ask(near[0])]
    return []


def _said_before(items: list[Item], negation: int) -> bool:
    """Whether a fault's word already stands before the negation: "fault: no power, pump broken" denies nothing."""
    return any(item.role == "kind" and item.kind == "fault" for item in items[:negation])


def _repair_doubts(items: list[Item], fault: bool) -> list[Trouble]:
    repaired = next(item for item in items if item.role == "kind" and item.kind == "repaired")
    for item in items:
        if item.role in ("negation", "plan") and not fault:
            return [Trouble(Rank.WORD, item.start, "negated", {"word": item.text})]
        if item.role in ("negation", "plan", "please") or item.text in _DOUBTS or item.text == "to be":
            return [_ask(repaired)]
        denies = item.text in _REFUSES or item.text.startswith("no ")
        if denies and item.role == "kind" and item.kind == "fault":
            return [_ask(repaired)]
        if item.role == "kind" and item.kind == "note":
            return [_ask(repaired)]
    if fault and all(item.slipped for item in items if item.role == "kind" and item.kind == "repaired"):
        return [_ask(repaired)]
    return []


def _ask(item: Item) -> Trouble:
    return Trouble(Rank.WORD, item.start, "ambiguous_word", {"word": item.text})
