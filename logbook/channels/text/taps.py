"""Codes of taps in a text: what a phone offered to send as a text, so that the log takes each tap once by either way.

`B7H rinse 0512 #K7M2QH9XTR charge 0512 #4GDWN8ZE3C`: a code stands behind its tap's words, and is a boundary that no
word, number, time or note reaches over. Promises that a code is never read as a word, nor a word as a code: `#rinsed`
is a word, and what is written like a code but is none is passed over, so that its words are saved as any text's are.
"""

from __future__ import annotations

from dataclasses import dataclass

from logbook.channels.text.items import Item
from logbook.channels.text.machines import says_something
from logbook.channels.text.sentences import REMARKS


@dataclass(slots=True)
class Piece:
    """The items up to a tap's code, or to the end of the text.

    `tap`: the code they belong to, or None. `machine`: the one that was spoken of last, for items that name none.
    `end`: where a note in here may reach.
    """

    items: list[Item]
    end: int
    tap: str | None
    machine: str | None


def pieces(items: list[Item], text_end: int, lone_machine: str | None) -> list[Piece]:
    """Cut a text's items behind its taps' codes; one piece, if there are none."""
    named = [item.text for item in items if item.role == "code"]
    machine = named[0] if len(named) == 1 else lone_machine  # one that is named once is meant throughout
    found: list[Piece] = []
    current: list[Item] = []
    for item in items:
        if item.role == "spoilt" and any(each.role == "kind" and each.kind in REMARKS for each in current):
            item.role = "filler"  # in a sentence that is kept as it was written: a part's number, more likely
        if item.role in ("tap", "spoilt"):
            tap = item.text if item.role == "tap" else None
            machine = _cut(found, current, item.start, tap, machine)
            current = []
        else:
            current.append(item)
    if not found:
        return [Piece(current, text_end, None, lone_machine)]
    _cut(found, current, text_end, None, machine)
    return found


def _cut(found: list[Piece], items: list[Item], end: int, tap: str | None, machine: str | None) -> str | None:
    """Add the piece that ends here; answers with the machine that it speaks of last, None if it speaks of two at once.

    Words before the first machine of a later piece are still the former machine's, and no tap's.
    """
    codes = [index for index, item in enumerate(items) if item.role == "code"]
    if found and codes and machine not in (None, items[codes[0]].text) and says_something(items[: codes[0]]):
        found.append(Piece(items[: codes[0]], items[codes[0]].start, None, machine))
        items, codes = items[codes[0] :], [index - codes[0] for index in codes]
    if says_something(items):
        found.append(Piece(items, end, tap, machine))
    else:
        found.append(Piece([], end, None, machine))
    if not codes:
        return machine
    last = items[codes[-1]].text
    joined = len(codes) > 1 and items[codes[-2]].text != last and not says_something(items[codes[-2] + 1 : codes[-1]])
    return None if joined else last
