"""Who was told of an alert, by which way, when, and whether it arrived; who has answered. In words, by role alone."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from logbook.domain.instants import Instant
from logbook.domain.instants import parse as parse_instant
from logbook.domain.machine import FOREVER
from logbook.domain.register import Register
from logbook.domain.wording import capital, times
from logbook.domain.wording.labels import role_label
from logbook.domain.wording.mark import mark
from logbook.store.tellings import Telling
from logbook.web.pages import Words

_WAYS = {"mail": mark("by mail"), "text": mark("by text")}
_STATES = {
    "waiting": mark("waits to be sent"),
    "failed": mark("could not be sent"),
    "expired": mark("not sent, it had become too late"),
}


@dataclass(frozen=True, slots=True)
class Answer:
    """The last that anybody said to an alert. `to`: who was asked, None where it was taken in hand."""

    kind: str
    at: Instant
    role: str
    until: Instant
    to: str | None = None
    to_role: str = ""


def latest(answers: Sequence[Answer]) -> Answer | None:
    """The last that was said; of one instant, what was recorded later."""
    return max(reversed(answers), key=lambda each: each.at) if answers else None


def answer_of(kind: str, recorded_at: Instant, role: str, data: dict[str, Any], to: str | None) -> Answer:
    """From an entry `acknowledged` or `passed_on`. `to`: the person behind its pseudonym, if known."""
    return Answer(kind, recorded_at, role, parse_instant(data["until"]), to, str(data.get("role", "")))


def told_lines(
    tellings: Iterable[Telling], register: Register, say: Words, place: str, now: Instant
) -> tuple[str, ...]:  # fmt: skip
    """One sentence a message; what several in one role were told alike is said once, with how many they are."""
    counted: dict[tuple[str, str], set[str]] = {}
    for telling in tellings:
        person = register.people.get(telling.person)
        role = role_label(person.role if person is not None else "", say.language)
        counted.setdefault((role, _fate(telling, say, place, now)), set()).add(telling.person)
    lines = []
    for (role, fate), people in counted.items():
        who = capital(role) if len(people) == 1 else f"{capital(role)} × {len(people)}"
        lines.append(say.plain("%(who)s: %(fate)s.", who=who, fate=fate))
    return tuple(lines)


def _fate(telling: Telling, say: Words, place: str, now: Instant) -> str:
    if telling.message == "nobody":
        return say.plain("nobody could be told, no number and no address is known")
    if telling.message is None or telling.state is None:
        if telling.message is not None:
            return say.plain("not sent, it had become too late")
        if telling.ready_at >= FOREVER:
            return say.plain("will read it in the morning's letter")
        if telling.ready_at > now:
            return say.plain("will be told at %(time)s", time=times.moment(telling.ready_at, place, say.language, now))
        return say.plain("is about to be told")
    way = say.plain(_WAYS[telling.route]) if telling.route in _WAYS else str(telling.route)
    at = telling.sent_at or telling.queued_at or telling.at
    facts = {"way": way, "time": times.moment(at, place, say.language, now), "fate": _state(telling, say)}
    if telling.number == 0:
        return say.plain("reminded %(way)s %(time)s, %(fate)s", **facts)
    return say.plain("%(way)s %(time)s, %(fate)s", **facts)


def _state(telling: Telling, say: Words) -> str:
    if telling.state in _STATES:
        return say.plain(_STATES[telling.state])
    if telling.confirming is None:
        return say.plain("sent")
    if telling.arrived is None:
        return say.plain("sent, no word yet that it arrived")
    return say.plain("it arrived") if telling.arrived else say.plain("it did not arrive")


def answer_line(answers: Sequence[Answer], say: Words, place: str, now: Instant) -> str:
    """What was answered last, or that nobody has yet."""
    last = latest(answers)
    if last is None:
        return say.plain("No answer yet.")
    language = say.language
    facts = {
        "who": role_label(last.role, language), "time": times.moment(last.at, place, language, now),
        "until": times.moment(last.until, place, language, now),
    }  # fmt: skip
    if last.kind == "passed_on":
        facts["whom"] = role_label(last.to_role, language)
        if last.until > now:
            return say.plain(
                "Asked at %(time)s (%(who)s): the %(whom)s has until %(until)s, and has not answered.", **facts
            )
        return say.plain(
            "Asked at %(time)s (%(who)s): the %(whom)s had until %(until)s, and has not answered.", **facts
        )
    if last.until <= last.at:
        return say.plain("Given back at %(time)s (%(who)s): nobody has it in hand.", **facts)
    if last.until > now:
        return say.plain("In hand since %(time)s (%(who)s), until %(until)s.", **facts)
    return say.plain("It was in hand from %(time)s (%(who)s); that ended at %(until)s.", **facts)
