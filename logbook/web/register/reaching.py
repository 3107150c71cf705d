"""A person's ways of being told something, and what became of the last messages by each, in plain words. Pure.

Promises that what a message was about is not said: to whom a reminder went is nobody's business but theirs. Only a
link and a trial are called what they are, because whoever had them sent waits for them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from logbook.domain.instants import Instant
from logbook.domain.people import Person
from logbook.domain.wording.mark import mark
from logbook.domain.wording.times import moment
from logbook.store.reached import Reached
from logbook.web.pages import Words

MOST = 3
"""How many messages are told of by each way."""
TRIAL = "trial"
NAMES = {"text": mark("By text"), "mail": mark("By mail")}
_SOME = mark("a message")
_KINDS = {TRIAL: mark("the trial message"), "link": mark("the link")}
# What servers and carriers say, by what it comes to (enhanced status codes: RFC 3463, section 3).
_REASONS = (
    (r"\b5\.1\.(1|2|3|6|10)\b|user unknown|unknown user|no such (user|mailbox|address)|mailbox unavailable",
     mark("there is no such address")),
    (r"\b5\.2\.1\b|disabled", mark("that mailbox is closed")),
    (r"\b[45]\.2\.2\b|quota|mailbox (is )?full", mark("that mailbox is full")),
    (r"no (phone )?number|not a phone number|unreachable number|invalid number", mark("no text can go to that number")),
    (r"\b5\.7\.\d+\b|spam|policy|blocked", mark("the other side takes no mail from us")),
    (r"cannot be reached|did not answer|broke off|hung up|took too long", mark("the other side could not be reached")),
)  # fmt: skip
_OTHER = mark("the other side refused it")


@dataclass(frozen=True, slots=True)
class Fate:
    """One message. `shape`: the mark beside it; `said`: what the other side said, in its own words, "" if nothing."""

    shape: str
    words: str
    said: str = ""


@dataclass(frozen=True, slots=True)
class Way:
    """One way. `stopped`: messages are never sent by it, and why, to be translated; `held`: nor at present, and why."""

    name: str
    address: str
    fates: tuple[Fate, ...]
    stopped: str = ""
    held: str = ""


def reason_of(said: str) -> str:
    """What an answer of a server or carrier comes to, to be translated."""
    return next((words for pattern, words in _REASONS if re.search(pattern, said, re.IGNORECASE)), _OTHER)


def ways_of(
    person: Person, last: Mapping[str, Sequence[Reached]], routes: Iterable[str], held: Mapping[str, str], say: Words,
    place: str, now: Instant, shown: Callable[[str], str],
) -> list[Way]:  # fmt: skip
    """Every way that has an address, in the order in which they are tried. `shown`: an address as it is written."""
    found = []
    for route, address in (("text", person.phone), ("mail", person.email)):
        if not address:
            continue
        if route in person.opted_out:
            stopped = mark("They asked for no texts.") if route == "text" else mark("They asked for no mail.")
        else:
            stopped = "" if route in set(routes) else mark("This logbook has no settings to send by it.")
        fates = tuple(_fate(each, say, place, now) for each in last.get(route, ()))
        found.append(Way(NAMES[route], shown(address), fates, stopped, held.get(route, "")))
    return found


def _fate(each: Reached, say: Words, place: str, now: Instant) -> Fate:
    at = each.said_at or each.sent_at or each.queued_at
    what = say.plain(_KINDS.get(each.kind, _SOME))
    facts = {"what": what[:1].upper() + what[1:], "time": moment(at, place, say.language, now)}
    said = each.detail if each.arrived == 0 else each.error
    why = say.plain(reason_of(said or ""))
    if each.state == "waiting":
        if not each.attempts:
            return Fate("due", say.plain("%(what)s waits to be sent since %(time)s.", **facts))
        again = moment(max(each.next_at, now), place, say.language, now)
        return Fate("due", say.plain("%(what)s is tried again at %(again)s: %(why)s.", again=again, why=why, **facts),
                    said or "")  # fmt: skip
    if each.state == "expired":
        return Fate("late", say.plain("%(what)s was not sent: it had become too late.", **facts))
    if each.state == "failed":
        return Fate("late", say.plain("%(what)s did not go out, %(time)s: %(why)s.", why=why, **facts), said or "")
    if each.arrived == 0:
        return Fate("late", say.plain("%(what)s did not arrive, %(time)s: %(why)s.", why=why, **facts), said or "")
    if each.arrived:
        return Fate("held", say.plain("%(what)s arrived, %(time)s.", **facts))
    if each.confirming is not None:
        return Fate("due", say.plain("%(what)s was sent, %(time)s; no word yet that it arrived.", **facts))
    return Fate("clear", say.plain("%(what)s was sent, %(time)s.", **facts))
