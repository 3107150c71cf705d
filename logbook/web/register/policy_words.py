"""The numbers of policy in people's words: a sentence for each key, which its value completes, and values as they are said."""

from __future__ import annotations

from dataclasses import dataclass

from logbook.domain.calendar import parse_duration
from logbook.domain.policy import DUTIES, KEYS, Value
from logbook.domain.policy_keys import Key
from logbook.domain.wording.labels import role_label
from logbook.domain.wording.mark import mark
from logbook.domain.wording.times import days_of, span
from logbook.web.pages import Words

LABELS = {
    "closing": mark("Closing work counts from %(value)s before the put-away on"),
    "longest_use": mark("A use stays open for %(value)s after its latest start"),
    "late_after": mark("What is told later than %(value)s is shown as recorded late"),
    "day_turns": mark("A night's work belongs to the day that ends at %(value)s"),
    "settle": mark("Late news may go on arriving for %(value)s before it rings"),
    "rinse.grace": mark("The tanks are emptied and rinsed within %(value)s of the put-away"),
    "charge.grace": mark("The machine is put on charge within %(value)s of the put-away"),
    "squeegee.grace": mark("The squeegee is seen to within %(value)s of the put-away"),
    "prepared.grace": mark("The look-over may be told until %(value)s after the start"),
    "prepared.window": mark("A look-over counts from %(value)s before the start on"),
    "watering.every": mark("Battery water is seen to every %(value)s"),
    "filter.every": mark("The filter is cleaned every %(value)s"),
    "segments.every": mark("The segments are measured every %(value)s"),
    "segments.reorder_at": mark("New segments are ordered when %(value)s are left"),
    "fault.answer_within": mark("A fault is answered within %(value)s"),
    "repair.within": mark("A repair is done within %(value)s"),
    "delivery.within": mark("What was ordered comes within %(value)s"),
    "night.grace": mark("A night is accounted for within %(value)s of its end"),
    "night.window": mark("A put-away counts for a night from %(value)s before it begins"),
    "escalation": mark("Told of what is late: %(value)s"),
    "remind": mark("The cleaner is reminded once: %(value)s"),
    "remind_before": mark("The reminder goes out %(value)s ahead"),
    "gather": mark("Alerts of one person are gathered for %(value)s"),
    "quiet": mark("Nobody is rung for what can wait in these hours: %(value)s"),
    "cap": mark("A person gets at most %(value)s messages a day"),
    "confirm_within": mark("The next way is tried when %(value)s bring no word of arrival"),
    "charge_before_night": mark("A machine not on charge is told %(value)s before its next night"),
    "nights_untold_urgent": mark("So many nights running without a word are urgent: %(value)s"),
    "lone_machine": mark("A text may leave out the code where there is one machine: %(value)s"),
    "personal_word": mark("New segments by text need the sender's own word: %(value)s"),
    "undo_within": mark("A text can be taken back for %(value)s"),
    "keep_texts": mark("Texts are kept as they came for %(value)s"),
    "keep_photographs": mark("Photographs are kept for %(value)s"),
    "keep_private": mark("Other private words are kept for %(value)s"),
}
OF_DUTY = {
    "": mark("It is asked for at all: %(value)s"),
    "tell": mark("Where it is late, that is told %(value)s"),
    "acknowledge_for": mark("Taken in hand, it is not passed on for %(value)s"),
    "escalate": mark("Told of it: %(value)s"),
}
TELLING = {
    "now": mark("soon, outside quiet hours"),
    "urgent": mark("at any hour"),
    "letter": mark("in the morning letter"),
    "none": mark("on the page alone"),
}
YES, NO, AT_ONCE, AFTER = mark("yes"), mark("no"), mark("at once: %(who)s"), mark("after %(time)s: %(who)s")
_EXACT = ("PT0S", "PT2M", "PT10M", "PT15M", "PT30M", "PT45M", "PT1H", "PT2H", "PT4H", "PT8H", "PT10H", "PT12H")
_NOMINAL = ("P1D", "P3D", "P5D", "P7D", "P10D", "P14D", "P21D", "P30D", "P90D", "P365D", "P730D")


def label(name: str) -> str:
    """The sentence that a key's value completes, to be translated; of a duty's own, `it` is the duty."""
    if name in LABELS:
        return LABELS[name]
    return OF_DUTY["" if name in DUTIES else name.rpartition(".")[2]]


NOTES = {
    "watering.every": mark("The battery maker's word comes first."),
    "keep_texts": mark("The law of the place decides; settle it with licensed advice."),
    "keep_photographs": mark("The law of the place decides; settle it with licensed advice."),
    "keep_private": mark("The law of the place decides; settle it with licensed advice."),
}
"""What is to be thought of before a number is changed, by key."""
_TELLING = (
    "escalation", "quiet", "cap", "gather", "confirm_within", "remind", "remind_before", "charge_before_night",
    "nights_untold_urgent",
)  # fmt: skip
_WORDS = ("keep_texts", "keep_photographs", "keep_private")
_TEXTS = ("lone_machine", "personal_word", "undo_within")


@dataclass(frozen=True, slots=True)
class Group:
    """Numbers that belong together. `duty`: whose they are; else `title`, to be translated; `first` are not folded."""

    keys: tuple[Key, ...]
    title: str = ""
    duty: str = ""
    first: bool = False


def groups() -> list[Group]:
    """Every number once: who is told, then each duty with its own, then what is rarer."""
    left = dict(KEYS)

    def some(*names: str) -> tuple[Key, ...]:
        return tuple(left.pop(name) for name in names if name in left)

    telling, texts, kept = some(*_TELLING), some(*_TEXTS), some(*_WORDS)
    # A duty's own number stands before how it is told.
    duties = [
        Group(some(*(n for n in KEYS if n.startswith(f"{duty}.") and n.rpartition(".")[2] not in OF_DUTY),
                   *(n for n in KEYS if n.startswith(f"{duty}.")), duty), duty=duty)
        for duty in DUTIES
    ]  # fmt: skip
    rest = tuple(left.values())
    return [
        Group(telling, mark("Who is told, and when"), first=True),
        *duties,
        Group(rest, mark("Uses, days and late news")),
        Group(texts, mark("Texts from cleaners")),
        Group(kept, mark("What people wrote, and how long it is kept")),
    ]


def said(value: Value | None, say: Words) -> str:
    """A value as people say it."""
    if value is None:
        return say.plain(mark("as everywhere"))
    if isinstance(value, bool):
        return say.plain(YES if value else NO)
    if isinstance(value, list):
        return "; ".join(_step(str(step), say) for step in value)
    if isinstance(value, str) and value in TELLING:
        return say.plain(TELLING[value])
    return _time(value, say) if isinstance(value, str) and value.startswith("P") else str(value)


def _time(value: str, say: Words) -> str:
    length = parse_duration(value)
    return days_of(length.days, say.language) if length.days else span(length.micros, say.language)


def _step(step: str, say: Words) -> str:
    delay, role, *way = step.split()
    who = role_label(role, say.language) + (f" ({' '.join(way)})" if way else "")
    if not parse_duration(delay).micros and not parse_duration(delay).days:
        return say.plain(AT_ONCE, who=who)
    return say.plain(AFTER, time=_time(delay, say), who=who)


def steps(key: Key, say: Words) -> list[tuple[str, str]]:
    """Sensible values to choose from, as (kept, said); none where it is better typed."""
    if key.form.name == "switch":
        return [("true", say.plain(YES)), ("false", say.plain(NO))]
    if key.form.name == "telling":
        return [(name, say.plain(words)) for name, words in TELLING.items()]
    if not key.form.name.endswith("duration"):
        return []
    found = []
    for each in (*_EXACT, *_NOMINAL):
        try:
            key.form.read(each)
        except ValueError:
            continue
        found.append((each, _time(each, say)))
    return found


def typed(key: Key, written: str) -> Value:
    """What was typed, as its form reads it: switches, whole numbers, steps one a line."""
    if written in ("true", "false"):
        return written == "true"
    if key.form.name == "number" and written.isdecimal() and len(written) < 9:
        return int(written)
    if key.form.name == "steps":
        return [line.strip() for line in written.replace(",", "\n").splitlines() if line.strip()]
    return written
