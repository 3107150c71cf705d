"""The numbers of policy in people's words: a label for each key, and each value as it is said."""

from __future__ import annotations

from logbook.domain.calendar import parse_duration
from logbook.domain.policy import DUTIES, KEYS, Value
from logbook.domain.policy_keys import Key
from logbook.domain.wording.labels import role_label
from logbook.domain.wording.mark import mark
from logbook.domain.wording.times import days_of, span
from logbook.web.pages import Words

LABELS = {
    "closing": mark("Closing work may lie so long before the put-away"),
    "longest_use": mark("A use stays open after its latest start"),
    "late_after": mark("Shown as recorded late after"),
    "day_turns": mark("A working day ends at"),
    "settle": mark("Late news may go on arriving for"),
    "rinse.grace": mark("Time to empty and rinse after the put-away"),
    "charge.grace": mark("Time to put on charge after the put-away"),
    "squeegee.grace": mark("Time to see to the squeegee after the put-away"),
    "prepared.grace": mark("The look-over may be told after the start for"),
    "prepared.window": mark("A look-over counts before the start for"),
    "watering.every": mark("Battery water is seen to every (the battery maker's word comes first)"),
    "filter.every": mark("The filter is seen to every"),
    "segments.every": mark("Segments are measured every"),
    "segments.reorder_at": mark("New segments are ordered at"),
    "fault.answer_within": mark("A fault is answered within"),
    "repair.within": mark("A repair is done within"),
    "delivery.within": mark("What was ordered comes within"),
    "night.grace": mark("A night is accounted for, after its end, within"),
    "night.window": mark("A put-away counts for a night, before its beginning, from"),
    "escalation": mark("Who is told, one after another"),
    "remind": mark("The cleaner is reminded once"),
    "remind_before": mark("The reminder goes out ahead by"),
    "gather": mark("Alerts of one person are gathered for"),
    "quiet": mark("Quiet hours"),
    "cap": mark("Messages a person a day, at most"),
    "confirm_within": mark("The next way is tried after"),
    "charge_before_night": mark("Not on charge is told before the next night by"),
    "nights_untold_urgent": mark("Nights without a word that are urgent"),
    "lone_machine": mark("A text may leave out the code where there is one machine"),
    "personal_word": mark("New segments by text need the sender's own word"),
    "undo_within": mark("A text can be taken back for"),
    "keep_texts": mark("Raw texts are kept for (the local law decides)"),
    "keep_photographs": mark("Photographs are kept for (the local law decides)"),
    "keep_private": mark("Other private words are kept for (the local law decides)"),
}
OF_DUTY = {
    "": mark("It is kept"),
    "tell": mark("How it is told"),
    "acknowledge_for": mark("Taken in hand holds for"),
    "escalate": mark("Who is told of it, one after another"),
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
    """What a key is about, to be translated."""
    if name in LABELS:
        return LABELS[name]
    return OF_DUTY["" if name in DUTIES else name.rpartition(".")[2]]


def groups() -> list[tuple[str, list[Key]]]:
    """("", the numbers of no duty), then each duty with its own."""
    found: dict[str, list[Key]] = {"": [], **{duty: [] for duty in DUTIES}}
    for key in KEYS.values():
        duty = key.name.partition(".")[0]
        found[duty if duty in DUTIES else ""].append(key)
    return list(found.items())


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
