"""The plain-text form of a night: one story that a supervisor can read and a test can play.

Promises that a script is read whole or refused with its file, its line and what to write; that reading it opens no
other file and asks no clock. README.md describes the form; `scenario.play` works a stage by it.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import NoReturn

LEAP = timedelta(hours=20)
"""Lines stand in order of time; a clock time that lies further ahead than this is taken for a mistake."""
OUTCOMES = ("late", "told_late", "excused", "overtaken", "withdrawn", "not_due")
MESSAGES = {"mail": "alert", "letter": "letter", "reminder": "reminder"}
_CLOCK = re.compile(r"([01]\d|2[0-3]):([0-5]\d)(?::([0-5]\d))?", re.ASCII)
_NUMBER = re.compile(r"\+\d{7,15}", re.ASCII)
_WORD = re.compile(r"[A-Za-z][\w-]*", re.ASCII)


class ScriptError(ValueError):
    """A script that cannot be read; the message says where, and what to write instead."""


@dataclass(frozen=True)
class Said:
    """A text arrives at a wall-clock moment of the first site (`at`: naive)."""

    line: int
    at: datetime
    sender: str
    text: str


@dataclass(frozen=True)
class Entered:
    """Somebody enters something on a page."""

    line: int
    at: datetime
    person: str
    kind: str
    machine: str
    data: dict[str, str]


@dataclass(frozen=True)
class Answered:
    """What the answer to the text above must be: `how` is saved, refused, none, has or lacks."""

    line: int
    how: str
    words: str = ""


@dataclass(frozen=True)
class Expectation:
    """Something that must happen at a moment: `what` is alert, cleared, mail, letter or reminder."""

    line: int
    at: datetime
    what: str
    machine: str
    duties: tuple[str, ...]
    outcome: str | None = None
    person: str | None = None


Step = Said | Entered | Answered


@dataclass
class Script:
    """One night's story."""

    file: str
    title: str = ""
    fleet: str = ""
    day: date = date.min
    sites: tuple[str, ...] = ()
    machines: tuple[str, ...] = ()
    steps: list[Step] = field(default_factory=list)
    expected: list[Expectation] = field(default_factory=list)
    nothing_else: bool = False
    until: datetime = datetime(1, 1, 1)  # noqa: DTZ001 - what a wall shows, as all moments of a script are


# ---------------------------------------------------------------- reading


def read(text: str, file: str) -> Script:
    """Read a script. `file` is what errors call it. Raises ScriptError with the first thing that is wrong."""
    return _Reader(text, file).script


class _Reader:
    def __init__(self, text: str, file: str) -> None:
        self.script = Script(file)
        self.number = 0
        self.now: datetime | None = None  # what the wall showed at the line before
        self.answerable = False
        for self.number, raw in enumerate(text.splitlines(), start=1):
            line = raw.strip()
            if line.startswith("#"):
                self.script.title = self.script.title or line.lstrip("# ").strip()
            elif line:
                self._line(line)
        if not self.script.steps and not self.script.expected:
            self._wrong("nothing happens in this script", 'write lines such as: at 22:05 +19025550150 text "B7H start"')

    def _wrong(self, what: str, instead: str) -> NoReturn:
        raise ScriptError(f"{self.script.file}, line {self.number}: {what}; {instead}. Nothing was played.")

    def _line(self, line: str) -> None:
        try:
            words = shlex.split(line, posix=True) if '"' in line else line.split()
        except ValueError:
            self._wrong("a quotation mark has no partner", 'write the words as "B7H start"')
        verb, rest = words[0], words[1:]
        known = {
            "fleet": self._fleet, "from": self._from, "machines": self._machines, "on": self._on, "at": self._at,
            "answer": self._answer, "expect": self._expect, "until": self._until,
        }  # fmt: skip
        if verb not in known:
            self._wrong(f"{verb!r} begins no line", f"begin it with {', '.join(known)} or #")
        if verb not in ("fleet", "from", "machines") and self.now is None:
            self._wrong("the night has not begun", "write a line such as: from 2026-03-09 north-slip")
        known[verb](rest)

    def _fleet(self, rest: list[str]) -> None:
        if len(rest) != 1:
            self._wrong("one fleet file is wanted", "write: fleet fleet.toml")
        self.script.fleet = rest[0]

    def _from(self, rest: list[str]) -> None:
        if len(rest) < 2:
            self._wrong("a date and at least one site are wanted", "write: from 2026-03-09 north-slip")
        if not self.script.fleet:
            self._wrong("no fleet file was named", "write a line before it: fleet fleet.toml")
        self.script.day, self.script.sites = self._date(rest[0]), tuple(rest[1:])
        self.now = datetime.combine(self.script.day, time(12))

    def _machines(self, rest: list[str]) -> None:
        if not rest or self.script.steps:
            self._wrong("machines are named before anything happens", "write: machines B7H C4J")
        self.script.machines = tuple(rest)

    def _on(self, rest: list[str]) -> None:
        """The lines that follow happen from the midnight on with which that date begins."""
        if len(rest) != 1:
            self._wrong("one date is wanted", "write: on 2026-03-11")
        begins = datetime.combine(self._date(rest[0]), time(0))
        if self.now is not None and begins < self.now and begins.date() != self.now.date():
            self._wrong(f"{rest[0]} is over already", "put the lines in order of time")
        self.now = max(begins, self.now or begins)

    def _until(self, rest: list[str]) -> None:
        if len(rest) != 1:
            self._wrong("one time is wanted", "write: until 08:00")
        self._time(rest[0])

    def _at(self, rest: list[str]) -> None:
        if len(rest) == 4 and rest[2] == "text":
            if not _NUMBER.fullmatch(rest[1]):
                self._wrong(f"{rest[1]!r} is no number", 'write: at 22:05 +19025550150 text "B7H start"')
            self.script.steps.append(Said(self.number, self._time(rest[0]), rest[1], rest[3]))
            self.answerable = True
            return
        if len(rest) >= 5 and rest[2] == "enters":
            data = dict(self._pairs(rest[5:]))
            self.script.steps.append(
                Entered(self.number, self._time(rest[0]), rest[1], self._word(rest[3]), rest[4], data)
            )
            self.answerable = False
            return
        form = 'at 22:05 +19025550150 text "B7H start", or: at 07:20 jo enters repair_requested B7H note="workshop"'
        self._wrong("this is neither a text nor an entry", f"write: {form}")

    def _pairs(self, words: Sequence[str]) -> Iterator[tuple[str, str]]:
        for word in words:
            key, equals, value = word.partition("=")
            if not equals or not key:
                self._wrong(f"{word!r} gives no field", 'write fields as: note="workshop comes"')
            yield key, value

    def _answer(self, rest: list[str]) -> None:
        if not self.answerable:
            self._wrong("there is no text above to answer", "put the line under the text it belongs to")
        if len(rest) == 2 and rest[0] in ("has", "lacks"):
            self.script.steps.append(Answered(self.number, rest[0], rest[1]))
        elif len(rest) == 1 and rest[0] in ("saved", "refused", "none"):
            self.script.steps.append(Answered(self.number, rest[0]))
        else:
            self._wrong(
                "this says nothing of an answer", 'write: answer has "Still owed", answer saved, or answer none'
            )

    def _expect(self, rest: list[str]) -> None:
        if rest == ["nothing", "else"]:
            self.script.nothing_else = True
            return
        form = (
            "expect 05:50 alert charge B7H, expect 06:05 cleared charge B7H late, "
            "expect 05:50 mail to jo about B7H charge"
        )
        if len(rest) < 4:
            self._wrong("too little is expected", f"write: {form}")
        at, what = self._time(rest[0]), rest[1]
        if what == "alert" and len(rest) == 4:
            made = Expectation(self.number, at, what, rest[3], (self._word(rest[2]),))
        elif what == "cleared" and len(rest) == 5 and rest[4] in OUTCOMES:
            made = Expectation(self.number, at, what, rest[3], (self._word(rest[2]),), outcome=rest[4])
        elif what in MESSAGES and len(rest) >= 7 and rest[2] == "to" and rest[4] == "about":
            duties = tuple(self._word(word) for word in rest[6:] if word != "and")
            made = Expectation(self.number, at, what, rest[5], duties, person=rest[3])
        else:
            self._wrong("this is no expectation", f"write: {form} (an outcome is one of {', '.join(OUTCOMES)})")
        self.script.expected.append(made)

    # ------------------------------------------------------------ times and words

    def _word(self, word: str) -> str:
        if not _WORD.fullmatch(word):
            self._wrong(f"{word!r} is no name of a duty or a kind", "write it as in `logbook kinds`, such as put_away")
        return word

    def _date(self, word: str) -> date:
        try:
            return date.fromisoformat(word)
        except ValueError:
            self._wrong(f"{word!r} is no date", "write it like 2026-03-09")

    def _time(self, word: str) -> datetime:
        """The first such time at or after the line before."""
        match = _CLOCK.fullmatch(word)
        if match is None:
            self._wrong(f"{word!r} is no time", "write it like 05:50")
        before = self.now or self.script.until
        at = datetime.combine(before.date(), time(int(match[1]), int(match[2]), int(match[3] or 0)))
        if at < before:
            at += timedelta(days=1)
        if at - before > LEAP:
            self._wrong(
                f"{word} lies {LEAP // timedelta(hours=1)} hours and more after the line before",
                "put the lines in order of time, or name the day first: on 2026-03-11",
            )
        self.now = at
        # A play goes on to its last line, or longer if that says so.
        self.script.until = max(self.script.until, at)
        return at


def scripts(folder: Path | None = None) -> list[Path]:
    """The scripts of a folder, by name; without one, those beside this file."""
    return sorted((folder or Path(__file__).with_name("nights")).glob("*.night"))
