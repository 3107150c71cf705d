"""The answers to a text of which nothing was saved: what was not understood, and what to send instead.

Promises one line that names the trouble, and no word that the reader would obey if the line came back by mistake.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from logbook.channels.text import times
from logbook.channels.text.reading import Reading
from logbook.channels.text.runs import MOST_HEADS
from logbook.domain.entries import Quantity
from logbook.domain.wording import Speech

_LONGEST_WORD = 20


def refused(reading: Reading, say: Speech) -> Iterator[str]:
    """What was not understood and what to send instead, on one line that can never run when it is quoted back."""
    about = reading.trouble
    why = _why(reading, about, say)
    yield f"{say('NOT SAVED.')} {why} {say('Send the whole text again.')}"
    yield f"{say('NOT SAVED.')} {why}"


def _why(reading: Reading, about: Mapping[str, Any], say: Speech) -> str:
    word, code = named(about), named(about, "code")
    match reading.refused:
        case "mistyped_machine":
            return say('"{code}" is no machine\'s code: look at the plate.').format(code=code)
        case "unknown_machine":
            return say("{code} is not a machine of this fleet: look at the plate.").format(code=code)
        case "unknown_word":
            return say('The word "{word}" is not known here: say it in another way or leave it out.').format(word=word)
        case "ambiguous_word":
            return _which_word(about, word, say)
        case "negated":
            return say('"{word}": only what has been done is saved.').format(word=word)
        case "needs_quantity":
            return say('"{word}" needs its number beside it.').format(word=word)
        case "needs_unit":
            return say("{word} of what? Write the unit: {units}.").format(word=word, units=_units(about))
        case "out_of_range" if about.get("long"):
            return say("That was too long for one text.")
        case "out_of_range":
            return say("{word} cannot be right: from {low} to {high}.").format(word=word, **_bounds(about, say))
        case "ambiguous_number":
            return say('"{word}" can be read in two ways: write the number in another way.').format(word=word)
        case "unknown_number":
            return say("What is {word}? A number goes right beside its word, with its unit.").format(word=word)
        case "conflicting":
            return say('"{word}" does not go with the rest: say each thing once.').format(word=word)
        case "which_machine":
            return say("Which machine? Begin with the code on its plate.")
        case "nothing_to_do" if about.get("join"):
            return say("After JOIN come the word on the plate and your name.")
        case "nothing_to_do":
            return say("Nothing in it to save. Write the code on the plate and what was done.")
        case _:
            return _which_time(reading, about, say)


def _which_word(about: Mapping[str, Any], word: str, say: Speech) -> str:
    choices = list(about.get("choices") or ())
    if len(choices) > 1:
        return say('"{word}": is that {choices}?').format(word=word, choices=say(" or ").join(choices[:3]))
    if word == "?":
        return say("Was that a question? If it is done, say it without a question mark.")
    if about.get("volume"):
        return say('"{word}" for the battery needs its volume; for the tank say FILLED.').format(word=word)
    return say('"{word}" can be meant in two ways here: say it in other words.').format(word=word)


def _units(about: Mapping[str, Any]) -> str:
    quantity = about.get("quantity")
    family = quantity.family if isinstance(quantity, Quantity) else ""
    return {"volume": "l, ml, gal", "length": "mm, in", "percent": "%"}.get(family, "l, mm, %")


def _bounds(about: Mapping[str, Any], say: Speech) -> dict[str, str]:
    """From where to where the quantity may go, in the units that people use."""
    quantity = about.get("quantity")
    if not isinstance(quantity, Quantity):  # more heads than a machine has
        return {"low": "1", "high": str(MOST_HEADS)}
    divisor, unit, places = {
        "volume": (1000, " l", 0), "length": (1000, " mm", 0), "percent": (1, " %", 0),
        "gravity": (1000, "", 3), "hours": (3600, " h", 0),
    }[quantity.family]  # fmt: skip
    low = "1 ml" if quantity.family == "volume" and quantity.low < divisor else ""
    return {
        "low": low or figure(quantity.low / divisor, say, places=places) + unit,
        "high": figure(quantity.high / divisor, say, places=places) + unit,
    }


def _which_time(reading: Reading, about: Mapping[str, Any], say: Speech) -> str:
    when = about.get("when")
    if isinstance(when, times.Clock) and when.half in ("am", "pm") and 1 <= when.hour <= 12:
        # Morning or afternoon was said, so it is not what is asked: 12 am is 00:00, and 1 am may have come twice.
        when = replace(when, hour=when.hour % 12 + (12 if when.half == "pm" else 0), open=False, half="")
    clock = f"{when.hour:02d}:{when.minute:02d}" if isinstance(when, times.Clock) else ""
    if reading.refused == "skipped_time":
        return say("The clocks were put forward over {clock}: there was no such time.").format(clock=clock)
    if reading.refused == "future_time":
        return say("{clock} is still to come.").format(clock=clock)
    if reading.refused == "too_old":
        return say("That is more than 14 hours ago: write YESTERDAY and the time.")
    if isinstance(when, times.Clock) and when.open:
        early, late = _plainly(when.hour % 12, when.minute), _plainly(when.hour % 12 + 12, when.minute)
        return say("Morning or afternoon? Write {early} or {late}.").format(early=early, late=late)
    if isinstance(when, times.Clock) and not when.nth and not when.day and not when.half:
        return say("{clock} came twice that night: write FIRST or SECOND behind it.").format(clock=clock)
    return say("Which time do you mean, and of what? Write four figures, as 0510.")


def _plainly(hour: int, minute: int) -> str:
    """A time as it must be written to have one reading: from ten to one the four figures alone would ask again."""
    return f"{hour:02d}{minute:02d}" + {10: " am", 11: " am", 12: " pm"}.get(hour, "")


def named(about: Mapping[str, Any], key: str = "word") -> str:
    """What the sender wrote, short enough to be named."""
    said = str(about.get(key, ""))
    return said if len(said) <= _LONGEST_WORD else said[: _LONGEST_WORD - 2] + ".."


def figure(value: float, say: Speech, *, places: int = 0) -> str:
    """A number with the reader's decimal sign and no needless noughts."""
    said = f"{value:.{places}f}" if places else f"{value:.2f}".rstrip("0").rstrip(".")
    return said.replace(".", say("."))
