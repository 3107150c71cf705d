"""The one answer to a text: what was saved and what is still owed, or what was not understood.

Promises one segment of the short-message alphabet, whatever was sent; the way back in every answer that saved
something; and that an answer sent back by mistake, whole or a line of it, never becomes an entry.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import timedelta
from itertools import groupby
from typing import Any

from logbook.channels.text import gsm7
from logbook.channels.text.reading import CARD, Draft, Fleet, Reading
from logbook.channels.text.refusals import figure, named, refused
from logbook.domain import instants
from logbook.domain.entries import Quantity, catalogue
from logbook.domain.wording import LANGUAGES, Speech, speech

DOMAIN = "answers"


def answer(
    reading: Reading,
    *,
    fleet: Fleet,
    owed: Mapping[str, Sequence[str]] | None,
    repeated: bool = False,
    language: str,
) -> str:
    """The answer to a reading, in one segment (160 septets, 3GPP TS 23.038).

    `owed`: what would still be owed on each machine if it were put away now, as names of duties by its code; None
    where nobody knows. `repeated`: the same text had been saved before. A language that is not spoken becomes English.
    """
    say = speech(language if language in LANGUAGES else "en", DOMAIN)
    if reading.refused is not None:
        lines = refused(reading, say)
    elif reading.control is not None:
        lines = _commanded(reading, owed, say)
    else:
        lines = _saved(reading, fleet, owed, repeated, say)
    return _fitting(lines)


def as_json(reading: Reading, reply: str) -> dict[str, Any]:
    """A reading and its answer as the command line prints them."""
    return {
        "entries": [
            {
                "machine": draft.machine,
                "kind": draft.kind,
                "occurred_at": instants.text(draft.occurred_at),
                "data": draft.data,
            }
            for draft in reading.drafts
        ],
        "refused": reading.refused,
        "control": reading.control,
        "reply": reply,
    }


def _fitting(lines: Iterator[str]) -> str:
    """The first wording that fits into one segment; the last one is cut if even that is too long."""
    said = ""
    for line in lines:
        said = gsm7.spell(" ".join(line.split()))
        if gsm7.length(said) <= gsm7.ONE:
            return said
    while gsm7.length(said) > gsm7.ONE:
        said = said[:-1]
    return said


# ------------------------------------------------------------------------------------------------------------ saved


def _saved(
    reading: Reading, fleet: Fleet, owed: Mapping[str, Sequence[str]] | None, repeated: bool, say: Speech
) -> Iterator[str]:
    """From the fullest wording to the barest, all with what was saved, what is owed, and the way back."""
    first = say("Saved before: ") if repeated else ""
    back = say("Wrong? UNDO")
    for amounts, short in ((True, False), (False, False), (False, True)):
        told = _told(reading, fleet, say, amounts=amounts, short=short)
        yield f"{first}{told} {_owed(reading, owed, say, short=False)} {back}"
        yield f"{first}{told} {_owed(reading, owed, say, short=True)} {back}"
    codes = len({draft.machine for draft in reading.drafts})
    count = len(reading.drafts)
    saved = say.plural("{count} entry saved", "{count} entries saved", count).format(count=count)
    machines = say.plural("on {count} machine.", "on {count} machines.", codes).format(count=codes)
    yield f"{first}{saved} {machines} {_owed(reading, owed, say, short=True)} {back}"


def _told(reading: Reading, fleet: Fleet, say: Speech, *, amounts: bool, short: bool) -> str:
    """What was saved, by machine and time; machines of which the same was said are named together."""
    lines: dict[str, list[str]] = {}
    for code, drafts in groupby(reading.drafts, key=lambda draft: draft.machine):
        acts = []
        for moment, at_once in groupby(drafts, key=lambda draft: draft.occurred_at):
            what = _acts(list(at_once), say, amounts=amounts, short=short)
            acts.append(f"{_moment(moment, code, fleet, reading, say)} {what}")
        lines.setdefault("; ".join(acts), []).append(code)
    return " ".join(f"{', '.join(codes)} {acts}." for acts, codes in lines.items())


def _acts(drafts: list[Draft], say: Speech, *, amounts: bool, short: bool) -> str:
    if tuple(draft.kind for draft in drafts) == CARD and all("told" in draft.data for draft in drafts):
        return say("all done (emptied, rinsed, squeegee, charged, parked)")
    if short:
        return say.plural("{count} entry", "{count} entries", len(drafts)).format(count=len(drafts))
    return ", ".join(_done(draft, say) + (_amount(draft, say) if amounts else "") for draft in drafts)


def _done(draft: Draft, say: Speech) -> str:
    """What was done, in a word or two."""
    return {
        "start": say("started"),
        "prepared": say("checked"),
        "empty": say("emptied"),
        "rinse": say("rinsed"),
        "fill": say("filled"),
        "squeegee": say("squeegee"),
        "wipe": say("wiped"),
        "charge": say("charged"),
        "unplug": say("unplugged"),
        "put_away": say("parked"),
        "watering": say("battery watered"),
        "filter": say("filter"),
        "gravity": say("gravity"),
        "segments": say("segments"),
        "segment_change": say("new segments"),
        "hours": say("hours"),
        "fault": say("fault noted"),
        "repaired": say("repair noted"),
        "not_used": say("not used"),
        "note": say("note kept"),
    }.get(draft.kind, draft.kind)


def _amount(draft: Draft, say: Speech) -> str:
    """The quantity of an entry as people read it, with a blank before it; nothing if there is none."""
    kind = catalogue.newest(draft.kind)
    for name, value in draft.data.items():
        family = _family(name, kind.words.quantity if kind is not None and kind.words is not None else None)
        if family == "volume":
            return f" {figure(value / 1000, say)} l" if value >= 1000 else f" {value} ml"
        if family == "percent":
            return f" {value} %"
        if family == "gravity":
            return " " + figure(value / 1000, say, places=3)
        if family == "hours":
            return f" {figure(value / 3600, say)} h"
        if family == "length":
            return " " + " ".join(figure(each / 1000, say) for each in value) + " mm"
    return ""


def _family(name: str, quantity: Quantity | None) -> str:
    if quantity is not None and quantity.field == name:
        return quantity.family
    return "length" if name == "left_um" else ""


def _moment(moment: int, code: str, fleet: Fleet, reading: Reading, say: Speech) -> str:
    """The wall clock at the machine, with the day if it is not the day of the text."""
    zone = fleet.zone_of(code)
    local = instants.to_datetime(moment).astimezone(zone)
    days = (instants.to_datetime(reading.at).astimezone(zone).date() - local.date()) // timedelta(days=1)
    clock = f"{local:%H:%M}"
    if days == 0:
        return clock
    return say("yesterday {clock}").format(clock=clock) if days == 1 else f"{local:%Y-%m-%d} {clock}"


def _owed(reading: Reading, owed: Mapping[str, Sequence[str]] | None, say: Speech, *, short: bool) -> str:
    if owed is None:
        return ""
    codes = list(dict.fromkeys(draft.machine for draft in reading.drafts))
    left = {code: list(owed.get(code, ())) for code in codes}
    if not any(left.values()):
        return say("Nothing owed.")
    if short:
        count = sum(map(len, left.values()))
        return say.plural("{count} duty owed, ask OWED.", "{count} duties owed, ask OWED.", count).format(count=count)
    if len(codes) == 1:
        return say("Still owed: {duties}.").format(duties=", ".join(_duty(name, say) for name in left[codes[0]]))
    each = "; ".join(f"{code} {', '.join(_duty(name, say) for name in names)}" for code, names in left.items() if names)
    return say("Still owed: {duties}.").format(duties=each)


def _duty(name: str, say: Speech) -> str:
    """A duty as the answer names it: by what is still to be done."""
    return {
        "rinse": say("rinse"),
        "charge": say("charge"),
        "squeegee": say("squeegee"),
        "watering": say("battery water"),
        "filter": say("filter"),
        "prepared": say("check before start"),
        "segments": say("segment reading"),
        "segments_low": say("segments to order"),
        "segments_gone": say("segments to change"),
        "fault": say("answer to the fault"),
        "repair": say("repair"),
        "held_start": say("machine is held"),
        "delivery": say("delivery"),
        "night": say("report of the night"),
    }.get(name, name)


# --------------------------------------------------------------------------------------------------------- commands


def _commanded(reading: Reading, owed: Mapping[str, Sequence[str]] | None, say: Speech) -> Iterator[str]:
    """The answer to a command as far as the text alone decides it; whoever carries it out may say more."""
    about = reading.argument
    match reading.control:
        case "help":
            yield say(
                "Send the code on the plate and what was done. OWED asks what is left, UNDO takes your last text back, "
                "STOP ends all messages."
            )
        case "opt_out":
            yield say(
                "You get no more messages from here. Send START to get them again. "
                "To take a text back, the word is UNDO, not STOP."
            )
        case "opt_in":
            yield say("You get messages again. HELP tells what to send, STOP ends them.")
        case "undo" if about.get("machine"):
            yield say("UNDO: your last text about {machine} is taken back.").format(machine=about["machine"])
        case "undo":
            yield say("UNDO: your last text is taken back.")
        case "owed":
            yield from _what_is_owed(about.get("machine"), owed, say)
        case "seen":
            yield say("Alert {number} is in your hands.").format(number=about["number"])
        case "join":
            name = named(about, "name")
            yield say(
                "Hello {name}. Kept: texts 90 days, photos 1 year, name and notes 2 years. Your supervisor "
                "confirms you. STOP ends messages."
            ).format(name=name)
        case "accept":
            yield say("{to} is accepted.").format(to=named(about, "to"))
        case _:
            yield say("{to} is set aside.").format(to=named(about, "to"))


def _what_is_owed(machine: str | None, owed: Mapping[str, Sequence[str]] | None, say: Speech) -> Iterator[str]:
    if owed is None:
        yield say("What is owed can only be told from the log.")
        return
    left = {code: names for code, names in owed.items() if names and machine in (None, code)}
    if not left:
        yield say("Nothing owed.")
        return
    each = [f"{code}: {', '.join(_duty(name, say) for name in names)}" for code, names in left.items()]
    for count in range(len(each), 0, -1):
        more = len(each) - count
        yield say("Owed: {duties}.").format(duties="; ".join(each[:count])) + (f" +{more}" if more else "")
    count = sum(map(len, left.values()))
    yield say.plural("{count} duty owed, ask OWED.", "{count} duties owed, ask OWED.", count).format(count=count)
