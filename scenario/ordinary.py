"""Nights on which nothing is missing, told in all the ways in which people tell things.

Promises that no duty of a use is late here, however it is told: in pieces, with slips, twice, taken back and said
again, or from a phone that had no signal. Each way is one function with its own name.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta

from scenario import phrases
from scenario.book import Meant
from scenario.shift import CLOSING, Act, Shift

SLIP = 0.15


def night(shift: Shift, care: Sequence[Act], *, plain: bool, calm: bool) -> None:
    """One ordinary night. `care`: the weekly rounds done on it. `plain`: the start is certain to be told.

    `calm`: nothing is taken back, because another machine's story may send a text in between. On a plain night
    nothing is taken back either: what it makes up for would come back with it.
    """
    rng = shift.rng
    if plain or rng.random() < 0.9:
        begin(shift)
    if care:
        closed_with_care(shift, care)
        return
    way = rng.choices(WAYS, WEIGHTS)[0]
    (in_one if (calm or plain) and way is taken_back else way)(shift)


def begin(shift: Shift) -> None:
    """The start is told, now and then with something before or after it."""
    rng = shift.rng
    chance = rng.random()
    if chance < 0.06:
        shift.book.say(
            shift.who, shift.begun - timedelta(minutes=1), phrases.refusable(shift.code, shift.who.language, rng)
        )
    shift.start(slip=SLIP)
    if chance > 0.94:
        # The same text once more: the thumb was not sure that it went. The use goes on.
        shift.start(at=shift.begun + timedelta(seconds=rng.randrange(20, 90)))
    elif chance > 0.90:
        shift.book.again(shift.begun + timedelta(seconds=rng.randrange(5, 60)))
    elif chance > 0.80:
        shift.tell(shift.begun + timedelta(minutes=2), [("fill", {"water_ml": rng.randrange(40, 100, 5) * 1000})])
    elif chance > 0.72:
        # After the break, in the middle of the night.
        shift.start(at=shift.begun + timedelta(minutes=200 + rng.randrange(20)))


def closed_with_care(shift: Shift, care: Sequence[Act]) -> None:
    """The week's rounds in one text, the closing in the next."""
    # Without a time in it: a length and a time side by side are two numbers too many at five in the morning.
    shift.tell(shift.after(-9), care, slip=SLIP)
    shift.close(shift.parked, slip=SLIP)


def in_one(shift: Shift) -> None:
    """Everything in one text."""
    shift.close(shift.parked, slip=SLIP)


def by_card(shift: Shift) -> None:
    """The closing card: one word for the whole."""
    word = {"en": shift.rng.choice(("all", "all done")), "es": "todo"}[shift.who.language]
    meant = [Meant(shift.code, kind, None, {"told": "card"}) for kind, _data in CLOSING]
    shift.book.say(shift.who, shift.parked, f"{phrases.code(shift.code, shift.rng)} {word}", *meant)


def in_two(shift: Shift) -> None:
    """The tank and the squeegee first, the rest when the machine stands at its socket."""
    shift.tell(shift.after(-8), CLOSING[:3], slip=SLIP)
    shift.tell(shift.parked, CLOSING[3:], slip=SLIP)


def parked_first(shift: Shift) -> None:
    """Put away first, seen to within the half hour that is allowed."""
    shift.tell(shift.parked, CLOSING[4:], slip=SLIP)
    shift.tell(shift.after(9), [CLOSING[1], CLOSING[2], CLOSING[3]], slip=SLIP)


def with_times(shift: Shift) -> None:
    """Told some minutes later, each part with its time."""
    groups = [(CLOSING[:3], shift.after(-8)), (CLOSING[3:], shift.parked)]
    shift.tell_timed(shift.after(shift.rng.randrange(3, 12)), groups, slip=SLIP)


def refused_first(shift: Shift) -> None:
    """A text that cannot be read, a question back, and the whole again."""
    shift.book.say(shift.who, shift.after(-2), phrases.refusable(shift.code, shift.who.language, shift.rng))
    shift.close(shift.parked)


def taken_back(shift: Shift) -> None:
    """Sent too soon, taken back, and sent again with what was wrong put right."""
    first = shift.close(shift.parked, percent=False)
    undo = {"en": shift.rng.choice(("UNDO", "undo")), "es": shift.rng.choice(("deshacer", "BORRAR"))}[
        shift.who.language
    ]
    shift.book.undo(shift.who, shift.after(2), undo, first)
    shift.close(shift.after(4))


def told_twice(shift: Shift) -> None:
    """The same text, typed and sent again: two texts, two lots of entries, one closing."""
    made = shift.close(shift.parked)
    again = [Meant(entry.machine, entry.kind, None, entry.data) for entry in made]
    shift.book.say(
        shift.who, shift.parked + timedelta(seconds=shift.rng.randrange(25, 100)), shift.book.texts[-1].text, *again
    )


def delivered_twice(shift: Shift) -> None:
    """One text that the gateway delivers twice, under one id."""
    shift.close(shift.parked)
    shift.book.again(shift.parked + timedelta(seconds=shift.rng.randrange(3, 200)))


def kept_on_phone(shift: Shift) -> None:
    """No signal in the hall: the texts carry their times and come together, the put-away before what went before it."""
    came = shift.after(shift.rng.randrange(32, 44))
    shift.tell(came, CLOSING[4:], when=shift.parked)
    shift.tell(_later(came, 20), CLOSING[:2], when=shift.after(-10))
    shift.tell(_later(came, 45), CLOSING[2:4], when=shift.after(-4))


def with_extras(shift: Shift) -> None:
    """The closing, and what else a careful person notes."""
    shift.state.meter_s = round(shift.state.meter_s / 360) * 360
    extras: list[Act] = [("hours", {"meter_s": shift.state.meter_s})]
    if shift.rng.random() < 0.5:
        extras.append(("wipe", {}))
    if shift.state.battery == "flooded" and shift.rng.random() < 0.4:
        extras.append(("gravity", {"gravity_milli": shift.rng.randrange(1150, 1281, 5)}))
    shift.tell(shift.after(-6), extras)
    shift.close(shift.parked, slip=SLIP)


def _later(moment: datetime, seconds: int) -> datetime:
    return moment + timedelta(seconds=seconds)


_WAYS: dict[Callable[[Shift], None], float] = {
    in_one: 5, by_card: 3, in_two: 5, parked_first: 3, with_times: 4, refused_first: 1.5, taken_back: 1, told_twice: 1,
    delivered_twice: 1, kept_on_phone: 2, with_extras: 2,
}  # fmt: skip
WAYS = list(_WAYS)
WEIGHTS = list(_WAYS.values())


def together(shifts: Sequence[Shift]) -> None:
    """One text for all machines of the night, when the last of them stands at its socket."""
    rng, first, last = shifts[0].rng, shifts[0], shifts[-1]
    for shift in shifts:
        shift.start()
    language = first.who.language
    acts = list(CLOSING)
    if rng.random() < 0.5:
        glue = {"en": " and ", "es": " y "}[language]
        text = glue.join(shift.code for shift in shifts) + " " + phrases.sentence(language, rng, acts)
    else:
        text = ". ".join(f"{shift.code} {phrases.sentence(language, rng, acts)}" for shift in shifts)
    last.book.say(
        last.who, last.parked, text, *(Meant(s.code, kind, None, data) for s in shifts for kind, data in acts)
    )
