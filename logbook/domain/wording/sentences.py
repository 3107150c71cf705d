"""The sentences that alerts and letters share about one item: what is wrong, since when, by whom last.

Promises the wall clock of the item's own site, roles and never names, and what the log heard rather than what it
guesses. Nothing here decides whether an item is told; that is `logbook.domain.telling`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

import msgspec
from babel.numbers import format_decimal

from logbook.domain.instants import MINUTE, Instant
from logbook.domain.telling.items import Item
from logbook.domain.wallclock import wall, zone
from logbook.domain.wording import speech, times
from logbook.domain.wording.duties import WORDS, duty_label
from logbook.domain.wording.labels import entry_label, role_label
from logbook.domain.wording.mark import mark
from logbook.domain.wording.unquotable import plain, remarks

NOTE_LIMIT = 160
"""Characters of somebody's own words that a message shows; the page shows them all."""

_WORST_FIRST = ("urgent", "now", "letter", "remind", "none")
_OF_A_USE = ("rinse", "squeegee", "charge")
_UM_PER_INCH = 25_400

OUTCOMES: dict[str, str] = {
    "withdrawn": mark("struck from the log since"),
    "excused": mark("excused"),
    "overtaken": mark("missed"),
    "late": mark("late, over by now"),
    "told_late": mark("in time, but told late"),
    "not_due": mark("not due any more"),
}
"""How an alert ended, in the words of reports: kept, told late, late, missed, excused."""


class Text(msgspec.Struct, frozen=True):
    """One message: for mail, a subject and a body of plain text; for a text message, `short` of one segment."""

    subject: str
    body: str
    short: str


def worst_first(items: Iterable[Item]) -> list[Item]:
    """Urgent before now before letter; then what has been due longest; then by plate."""
    return sorted(items, key=lambda item: (_WORST_FIRST.index(item.tell), item.due_at, item.code, item.duty))


def plates(items: Sequence[Item], language: str, most: int = 6) -> str:
    """The machines' codes, each once, worst first: `B7H, C4K and 2 more`."""
    codes = list(dict.fromkeys(plain(item.code) for item in items))
    shown = ", ".join(codes[:most])
    rest = len(codes) - most
    if rest <= 0:
        return shown
    say = speech(language, "alerts")
    return say("%(codes)s and %(n)s more") % {"codes": shown, "n": rest}


def place(code: str, site: str, language: str) -> str:
    """Plate and site: `B7H, North Slip`. A site whose name would make a report of the line gets a word before it."""
    words = ", ".join(part for part in (plain(code), plain(site)) if part)
    if not remarks(words):
        return words
    say = speech(language, "alerts")
    return say("About machine %(place)s") % {"place": words}


def place_of(item: Item, language: str) -> str:
    """Plate and site of an item."""
    return place(item.code, item.site_name, language)


def title(item: Item, language: str) -> str:
    """What is wrong, as a subject says it, in lower case."""
    say = speech(language, "alerts")
    if item.duty == "rinse" and item.emptied:
        return say("dirty-water tank emptied but not rinsed")
    return say(WORDS[item.duty].title)


def length(um: int, language: str) -> str:
    """A length of abrasive in both units: `5.3 mm (0.209 in)`."""
    here = times.locale(language)
    mm = format_decimal(Decimal(um) / 1000, "0.0##", locale=here)
    inches = format_decimal(Decimal(um) / _UM_PER_INCH, "0.00#", locale=here)
    say = speech(language, "alerts")
    return say("%(mm)s mm (%(inches)s in)") % {"mm": mm, "inches": inches}


def happened(item: Item, language: str, now: Instant) -> str:
    """What is wrong, in full sentences after the place, the first in lower case."""
    say = speech(language, "alerts")
    said = [_first(item, language, now)]
    if item.duty == "charge" and item.charge_pct is not None:
        said.append(say("Battery at put-away: %(pct)s %%.") % {"pct": item.charge_pct})
    if item.duty == "charge" and item.next_night is not None:
        said.append(say("Its next night begins %(time)s.") % {"time": _at(item, item.next_night, language, now)})
    if item.duty in _OF_A_USE and _still_out(item):
        said.append(say("It has not been reported put away either."))
    started = item.last.get("start")
    if item.duty == "segments_gone" and started is not None and started.at == item.opened_at:
        said.append(say("It was started all the same."))
    if item.duty == "night" and item.nights > 1:
        running = say.plural("That makes %(n)s night running without a word.",
                             "That makes %(n)s nights running without a word.", item.nights)  # fmt: skip
        said.append(running % {"n": item.nights})
    if item.duty == "night" and item.along:
        owed = ", ".join(duty_label(duty, language) for duty in item.along)
        said.append(say("Not known to be done either: %(duties)s.") % {"duties": owed})
    return " ".join(said)


def _still_out(item: Item) -> bool:
    """The latest that was heard of this machine is a start."""
    started, put_away = item.last.get("start"), item.last.get("put_away")
    return started is not None and (put_away is None or put_away.at < started.at)


def _first(item: Item, language: str, now: Instant) -> str:
    say = speech(language, "alerts")
    emptied = item.last.get("empty")
    if item.duty == "rinse" and item.emptied and emptied is not None:
        told = say("the dirty-water tank was emptied at %(time)s, but nobody has reported it rinsed.")
        return told % {"time": _at(item, emptied.at, language, now)}
    if item.duty == "rinse" and item.emptied:
        return say("the dirty-water tank was emptied, but nobody has reported it rinsed.")
    if item.duty == "segments_low" and item.least_um is not None:
        left = length(item.least_um, language)
        if item.head:
            return say("head %(head)s has only %(length)s of abrasive left.") % {
                "head": item.head,
                "length": left,
            }
        return say("the segments have only %(length)s of abrasive left.") % {"length": left}
    if item.duty == "segments_gone" and item.head:
        return say("head %(head)s has no abrasive left.") % {"head": item.head}
    if item.duty == "night":
        told = say("nobody has said whether it was used in the night of %(day)s.")
        return told % {"day": times.day(night_of(item), language)}
    return say(WORDS[item.duty].happened)


def night_of(item: Item) -> str:
    """The local date on which the item's night begins: its identity says it."""
    _site, _slash, date = item.opened_by.rpartition("/")
    try:
        times.day(date, "en")
    except ValueError:
        return wall(item.opened_at, zone(item.zone)).date().isoformat()
    return date


def when(item: Item, language: str, now: Instant) -> str:
    """Since when, and by whom the machine was last seen to."""
    say = speech(language, "alerts")
    if WORDS[item.duty].at_once:
        said = [say("Known since %(time)s.") % {"time": _at(item, item.opened_at, language, now)}]
    else:
        due = {"time": _at(item, item.due_at, language, now), "span": times.span(now - item.due_at, language)}
        late = now - item.due_at >= MINUTE
        said = [(say("Due %(time)s, late by %(span)s.") if late else say("Due %(time)s.")) % due]
    acts = [(act.at, kind, act.role) for kind, act in item.last.items() if kind in WORDS[item.duty].last]
    if acts:
        at, kind, role = max(acts)
        last = say("Last: %(done)s %(time)s (%(role)s).")
        done, who = entry_label(kind, language), role_label(role, language)
        said.append(last % {"done": done, "time": _at(item, at, language, now), "role": who})
    if item.asked_by is not None:
        who = role_label(item.asked_by, language)
        said.append(say("You are asked to see to it (%(role)s); until you answer, nobody has it.") % {"role": who})
    elif item.step > 1:
        said.append(say("Passed on to you, for nobody has answered so far."))
    return " ".join(said)


def short_when(item: Item, language: str, now: Instant) -> str:
    """Since when, for a text message: `due 06:12`."""
    say = speech(language, "alerts")
    if WORDS[item.duty].at_once:
        return times.since(item.opened_at, item.zone, language, now)
    return say("due %(time)s") % {"time": _at(item, item.due_at, language, now)}


def note_line(note: str, language: str) -> str:
    """The reporter's own words, on one line, so that every piece of them stands behind words that do nothing."""
    words = plain(note)
    if len(words) > NOTE_LIMIT:
        words = words[: NOTE_LIMIT - 1].rstrip() + "…"
    say = speech(language, "alerts")
    return say("As the reporter wrote, “%(note)s”") % {"note": words}


def over(item: Item, language: str, now: Instant) -> str:
    """One line about what is over: `B7H, North Slip: tank rinse, due 06:12: late, over by now.`"""
    say, outcome = speech(language, "alerts"), OUTCOMES[item.outcome or "withdrawn"]
    return say("%(place)s: %(duty)s, due %(time)s: %(outcome)s.") % {
        "place": place_of(item, language),
        "duty": duty_label(item.duty, language),
        "time": _at(item, item.due_at, language, now),
        "outcome": say(outcome),
    }


def _at(item: Item, at: Instant, language: str, now: Instant) -> str:
    return times.moment(at, item.zone, language, now)
