"""Plays a script on a stage, and says in sentences what went otherwise than the script has it.

A `Stage` is any logbook whose clock is in the script's hand: `scenario.stage` has the real one. Nothing here knows the
program or its rules; what happened is held against what was expected, moment by moment.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

from scenario.script import MESSAGES, Answered, Said, Script


@dataclass(frozen=True)
class Happened:
    """An alert raised (`outcome` None) or cleared."""

    at: datetime
    machine: str
    duty: str
    outcome: str | None


@dataclass(frozen=True)
class Told:
    """A message to somebody: `kind` is alert, letter or reminder; `about` the plates and duties it speaks of."""

    at: datetime
    person: str
    kind: str
    about: frozenset[tuple[str, str]]
    subject: str
    body: str


@dataclass(frozen=True)
class Reply:
    """What became of a text: whether it was saved, and the answer, if there is one."""

    saved: bool
    text: str | None


class Stage(Protocol):
    """What a script is played on: a logbook whose clock is in the script's hand. Moments are aware, in UTC."""

    def text(self, sender: str, text: str, at: datetime) -> Reply:
        """A text arrives, and the clock acts."""

    def enter(self, person: str, kind: str, machine: str, data: dict[str, str], at: datetime) -> None:
        """Somebody enters something on a page, and the clock acts."""

    def wait(self, until: datetime) -> None:
        """The clock acts whenever something is due, up to but not at a moment: what is told at it comes first."""

    def alerts(self) -> list[Happened]:
        """Every raising and clearing so far, in order."""

    def messages(self) -> list[Told]:
        """Every message queued so far, in order."""


def play(script: Script, stage: Stage, zone: ZoneInfo) -> list[str]:
    """Play a script to its end; answers with a sentence for everything that was otherwise than expected."""

    def moment(wall: datetime) -> datetime:
        return wall.replace(tzinfo=zone).astimezone(UTC)

    wrong: list[str] = []
    reply: Reply | None = None
    for step in script.steps:
        if isinstance(step, Answered):
            if reply is not None and not _fits(step, reply):
                wanted = f"{step.how} {step.words!r}" if step.words else step.how
                wrong.append(f"{script.file}, line {step.line}: the answer was {reply.text!r}, expected: {wanted}")
            continue
        stage.wait(moment(step.at))
        if isinstance(step, Said):
            reply = stage.text(step.sender, step.text, moment(step.at))
        else:
            stage.enter(step.person, step.kind, step.machine, step.data, moment(step.at))
    stage.wait(moment(script.until) + timedelta(microseconds=1))
    return wrong + list(_compare(script, stage, zone))


def _fits(wanted: Answered, reply: Reply) -> bool:
    answer = reply.text or ""
    return {
        "saved": reply.saved,
        "refused": not reply.saved,
        "none": reply.text is None,
        "has": reply.text is not None and wanted.words in answer,
        "lacks": reply.text is not None and wanted.words not in answer,
    }[wanted.how]


def _compare(script: Script, stage: Stage, zone: ZoneInfo) -> Iterator[str]:
    alerts, messages = stage.alerts(), stage.messages()
    # What happened, as a script would have said it; each expectation takes one of them away.
    happened: list[tuple[datetime, str, str, frozenset[str], str | None]] = []
    for alert in alerts:
        what = "alert" if alert.outcome is None else "cleared"
        happened.append((_wall(alert.at, zone), what, alert.machine, frozenset({alert.duty}), alert.outcome))
    for told in messages:
        what = next(name for name, kind in MESSAGES.items() if kind == told.kind)
        for machine in sorted({machine for machine, _duty in told.about}):
            duties = frozenset(duty for code, duty in told.about if code == machine)
            happened.append((_wall(told.at, zone), what, machine, duties, told.person))
    left = list(happened)
    for one in script.expected:
        row = (one.at, one.what, one.machine, frozenset(one.duties), one.outcome or one.person)
        if row in left:
            left.remove(row)
            continue
        near = [_said(other) for other in left if other[1:3] == row[1:3]]
        seen = "; there was " + ", ".join(near) if near else "; there was none"
        yield f"{script.file}, line {one.line}: expected {_said(row)}{seen}"
    # The morning's letter comes or not for reasons of its own: a script names it where it matters.
    over = [row for row in left if row[1] != "letter"]
    if script.nothing_else and over:
        yield f"{script.file}: nothing else was expected, but there was {', '.join(map(_said, over))}"


def _wall(at: datetime, zone: ZoneInfo) -> datetime:
    return at.astimezone(zone).replace(tzinfo=None)


def _said(row: tuple[datetime, str, str, frozenset[str], str | None]) -> str:
    at, what, machine, duties, more = row
    named = " and ".join(sorted(duties))
    if what in MESSAGES:
        return f"{at:%Y-%m-%d %H:%M:%S} {what} to {more} about {machine} {named}"
    return f"{at:%Y-%m-%d %H:%M:%S} {what} {named} {machine}{f' {more}' if more else ''}"
