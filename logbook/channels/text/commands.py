"""Texts that are no entries: help, the words that carriers keep, taking back, asking what is owed, joining.

Promises that a command is only ever a text that says nothing else. "undo the rinse" is asked about, because UNDO
takes the whole text back.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from logbook.channels.text.items import Item
from logbook.channels.text.lexicon import CONTROLS, HELP, OPT_IN, OPT_OUT
from logbook.channels.text.tokens import Token, plain
from logbook.channels.text.troubles import Rank, Trouble

LONGEST_NAME = 80
_SMALL = frozenset({"filler", "and", "break", "question"})
_ANSWER = re.compile(r"\s*(ok|okay|no)[\s:]+([#+]?[0-9][0-9\s().#-]*)[.!]?\s*")
_JOIN = re.compile(r"\s*(join|entrar)\b[\s:,]*(\S*)\s*(.*)", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Command:
    """A control and its argument; with a trouble instead where it cannot be carried out as written."""

    control: str
    argument: dict[str, object] = field(default_factory=dict)
    trouble: Trouble | None = None


def whole_text(text: str, tokens: list[Token]) -> Command | None:
    """A command that only the whole text can be: a carrier's word, a joining, an answer about a new number."""
    low = plain(text)
    if len(tokens) < 8 and all(token.shape in ("word", "break", "question") for token in tokens):
        said = " ".join(token.text for token in tokens if token.shape == "word")
        for control, words in (("opt_out", OPT_OUT), ("opt_in", OPT_IN), ("help", HELP)):
            if said in words:
                return Command(control)
    if match := _ANSWER.fullmatch(low):
        digits = re.sub("[^0-9]", "", match[2])
        to = ("+" if match[2][0] == "+" else "") + digits
        return Command("set_aside" if match[1] == "no" else "accept", {"to": to})
    if match := _JOIN.fullmatch(low):
        # The same places in the text as it was written: a name keeps its capitals and accents.
        word, name = text[match.start(2) : match.end(2)], text[match.start(3) : match.end(3)]
        name = " ".join("".join(c if c.isprintable() else " " for c in name).split())[:LONGEST_NAME]
        if not word or not name:
            return Command("join", trouble=Trouble(Rank.WORD, 0, "nothing_to_do", {"word": match[1], "join": True}))
        return Command("join", {"word": plain(word).strip("\"'.,;:!"), "name": name})
    return None


def among(items: list[Item]) -> Command | None:
    """A command among machines' codes and small words, or None if the text is no command."""
    said = [item for item in items if item.role not in _SMALL]
    controls = [item for item in said if item.role == "control"]
    if not controls or controls[0] is not next(item for item in said if item.role != "code"):
        return None
    which = {item.kind for item in controls}
    codes = list(dict.fromkeys(item.text for item in said if item.role == "code"))
    numbers = [item for item in said if item.role == "number"]
    asked = any(item.role == "question" for item in items)
    if len(said) != len(controls) + len(numbers) + sum(item.role == "code" for item in said) or len(which) > 1:
        return None
    if which == {"owed"} and not numbers:
        return _on_one(Command("owed", {"machine": codes[0] if codes else None}), codes, controls[0])
    if which == {"undo"} and not numbers and not asked:
        return _on_one(Command("undo", {"machine": codes[0] if codes else None}), codes, controls[0])
    if which == {"seen"} and not codes and not asked:
        return _seen(numbers, controls[0])
    return None


def _on_one(command: Command, codes: list[str], word: Item) -> Command:
    if len(codes) > 1:
        return Command(command.control, trouble=Trouble(Rank.MACHINE, word.start, "which_machine", {"code": codes[1]}))
    return command


def _seen(numbers: list[Item], word: Item) -> Command:
    if not numbers:
        return Command("seen", trouble=Trouble(Rank.NUMBER, word.start, "needs_quantity", {"word": word.text}))
    number = numbers[0]
    if len(numbers) > 1:
        return Command("seen", trouble=Trouble(Rank.CONFLICT, word.start, "conflicting", {"word": word.text}))
    if not number.text.isdigit() or len(number.text) > 9 or number.unit is not None or number.minus:
        return Command("seen", trouble=Trouble(Rank.NUMBER, number.start, "ambiguous_number", {"word": number.text}))
    return Command("seen", {"number": int(number.text)})


assert set(CONTROLS.values()) == {"undo", "owed", "seen", "join", "help"}  # noqa: S101  each is dealt with above
