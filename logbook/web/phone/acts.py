"""The acts that the phone page offers, what each is called on its button, and how its quantities are read.

The quantities' fields and bounds are the catalogue's. A field of the form is named `kind.field`, its value in the
unit in which it is kept; `kind.field:1000` is a number as people write it, to be multiplied. Several fields of one
name are a list, one a head, or sentences of one note. Pure.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation
from typing import Any

from logbook.domain.entries import Quantity, catalogue
from logbook.domain.wording.mark import mark

BUTTONS: dict[str, str] = {
    "start": mark("Started work"),
    "prepared": mark("Looked it over"),
    "empty": mark("Emptied, not rinsed yet"),
    "rinse": mark("Emptied and rinsed"),
    "fill": mark("Filled clean water"),
    "squeegee": mark("Wiped the squeegee"),
    "wipe": mark("Wiped it down"),
    "charge": mark("Plugged in to charge"),
    "unplug": mark("Unplugged"),
    "put_away": mark("Put away"),
    "not_used": mark("Not used tonight"),
    "watering": mark("Watered the battery"),
    "filter": mark("Cleaned the water filter"),
    "gravity": mark("Read the acid's gravity"),
    "hours": mark("Read the hour meter"),
    "segments": mark("Measured the segments"),
    "segment_change": mark("Fitted new segments"),
    "fault": mark("Something is wrong"),
    "repaired": mark("Repaired it"),
    "note": mark("Left a remark"),
}
"""Every kind that a phone may tell, and its button. What a leader decides is told on other pages."""

START_CARD = ("prepared", "fill", "unplug", "start")
END_CARD = ("rinse", "squeegee", "charge", "put_away")
"""In the order in which they are entered: all carry one time, and the log's order is then theirs. The end card's
`rinse` says that the tank was emptied too, which `empty` before it spells out."""
CARDS: dict[str, tuple[str, ...]] = {"begin": START_CARD, "end": ("empty", *END_CARD)}
"""By names that no kind has."""
NOTE_MOST = 1_000
LEFT_OUT = "-"
"""What the field of a head says whose length nobody chose."""


class Unreadable(Exception):
    """A quantity that cannot be taken. `sentence` is one of the room's catalogue."""

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


NO_NUMBER = mark("That number cannot be read. Nothing was saved. Write it like 3.5.")
OUT_OF_RANGE = mark(
    "That number cannot be right for this machine. Nothing was saved. Look at its unit, and at the point."
)
MISSING = mark("The number is missing. Nothing was saved. Choose one, then tap once more.")
HEADS = mark("Choose a length for every head, or one for all. Nothing was saved.")


def quantity_of(kind: str) -> Quantity | None:
    """The number that belongs to an act, by the catalogue."""
    if kind == "segment_change":
        return None  # new ones are as long as the register says
    found = catalogue.newest(kind)
    return None if found is None or found.words is None else found.words.quantity


def data_of(kind: str, fields: Iterable[tuple[str, str]]) -> dict[str, Any]:
    """The data of an act, from the fields of a form. Raises Unreadable."""
    mine = _mine(kind, fields)
    data: dict[str, Any] = {}
    quantity = quantity_of(kind)
    if quantity is not None:
        numbers = _numbers(quantity, mine)
        if numbers:
            data[quantity.field] = numbers if quantity.many else numbers[-1]
        elif quantity.required:
            raise Unreadable(MISSING)
    said = ". ".join(part.strip().rstrip(".") for part in mine.get("note", ()) if part.strip())[:NOTE_MOST]
    if said and "note" in _fields_of(kind):
        data["note"] = said
    return data


def _fields_of(kind: str) -> Mapping[str, Any]:
    found = catalogue.newest(kind)
    return {} if found is None else found.model_fields


def _mine(kind: str, fields: Iterable[tuple[str, str]]) -> dict[str, list[str]]:
    """What the form says of one kind: the field's name, its factor left on, and every value that is not blank."""
    mine: dict[str, list[str]] = {}
    for name, value in fields:
        of, _dot, field = name.partition(".")
        if of == kind and value.strip():
            mine.setdefault(field, []).append(value)
    return mine


def _numbers(quantity: Quantity, mine: Mapping[str, list[str]]) -> list[int]:
    """The numbers of a quantity. What somebody wrote outweighs what they chose."""
    written: list[int] = []
    chosen: list[int] = []
    left_out = False
    for field, values in mine.items():
        name, colon, times = field.partition(":")
        if name != quantity.field:
            continue
        for value in values:
            if value == LEFT_OUT:
                left_out = True
            else:
                (written if colon else chosen).append(_number(value, times or "1"))
    if chosen and left_out and not written:
        raise Unreadable(HEADS)
    numbers = written[-1:] or chosen
    for number in numbers:
        if not quantity.low <= number <= quantity.high:
            raise Unreadable(OUT_OF_RANGE)
    return numbers


def _number(text: str, times: str) -> int:
    try:
        if len(text) > 12 or not (times.isascii() and times.isdigit()) or len(times) > 6:
            raise InvalidOperation
        value = Decimal(text.strip().replace(",", ".")) * int(times)
        if not value.is_finite() or abs(value) > 10**12:
            raise InvalidOperation
        return int(value.to_integral_value(ROUND_HALF_UP))
    except InvalidOperation:
        raise Unreadable(NO_NUMBER) from None
