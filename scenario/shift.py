"""One machine's night as one cleaner works it: the hands that do, the thumb that tells.

A `Shift` puts acts into words and writes down what they mean. Which acts, and when, is decided elsewhere:
`ordinary` for nights on which nothing is missing, `misses` for those on which something is.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from scenario import phrases, walls
from scenario.book import Book, Entry, Expected, Meant
from scenario.fleet import Machine, Person, Site

Act = tuple[str, dict[str, Any]]
CLOSING: tuple[Act, ...] = (("empty", {}), ("rinse", {}), ("squeegee", {}), ("charge", {}), ("put_away", {}))
LONGEST_USE = 10 * walls.HOUR
SETTLE = 10 * walls.MINUTE


@dataclass
class State:
    """What a machine is like just now."""

    machine: Machine
    site: Site
    battery: str
    lengths: list[int]
    meter_s: int
    # Where it stood, from when on: a deadline keeps the clock of the site at which it began.
    stood: list[tuple[datetime, Site]] = field(default_factory=list)
    out: bool = False
    retired: bool = False

    def where(self, moment: datetime) -> Site:
        """The site at which it stood at that moment."""
        return [site for since, site in self.stood if since <= moment][-1]


@dataclass
class Shift:
    """One machine, one night, one cleaner."""

    book: Book
    rng: random.Random
    state: State
    site: Site
    who: Person
    day: date
    begun: datetime
    parked: datetime
    lone: bool = False
    opener: Entry | None = None

    @property
    def code(self) -> str:
        """The machine's plate."""
        return self.state.machine.code

    @property
    def boss(self) -> Person:
        """The site's supervisor."""
        return self.site.supervisor

    def morning(self, clock: str, days: int = 1) -> datetime:
        """A wall-clock time of the site on the morning after this night, or so many days after its evening."""
        return walls.at(self.site.zone, self.day + days * walls.DAY, clock)

    def after(self, minutes: float) -> datetime:
        """So many minutes after the machine was put away."""
        return self.parked + timedelta(minutes=minutes)

    def minute(self, moment: datetime) -> datetime:
        """The whole minute that a thumb would type for a moment."""
        return moment.replace(second=0, microsecond=0)

    # ------------------------------------------------------------ telling

    def tell(
        self, at: datetime, acts: Sequence[Act], *, when: datetime | None = None, slip: float = 0.0
    ) -> list[Entry]:
        """One text with one time or none, for this machine."""
        return self.tell_timed(at, [(acts, when)], slip=slip)

    def tell_timed(
        self, at: datetime, groups: Sequence[tuple[Sequence[Act], datetime | None]], *, slip: float = 0.0
    ) -> list[Entry]:
        """One text in which each group of acts has its own time; the time stands after its words."""
        rng, language = self.rng, self.who.language
        said, meant = [], []
        for acts, when in groups:
            words = phrases.sentence(language, rng, list(acts), slip)
            moment = None if when is None else self.minute(when)
            if moment is not None:
                words += " " + phrases.clock(moment, self.site.zone, rng, language)
            said.append(words)
            meant += [Meant(self.code, kind, moment, data) for kind, data in acts]
        body = rng.choice((", ", ". ")).join(said)
        untimed = all(when is None for _acts, when in groups)
        if (
            self.lone
            and not any(kind in {"start", "prepared"} for acts, _when in groups for kind, _ in acts)
            and rng.random() < 0.5
        ):
            text = body
        elif untimed and rng.random() < 0.12:
            text = f"{body} {self.code}"
        else:
            text = phrases.dressed(f"{phrases.code(self.code, rng)} {body}", language, rng)
        return self.book.say(self.who, at, text, *meant)

    def start(self, *, checked: bool = True, slip: float = 0.0, at: datetime | None = None) -> Entry:
        """The start, told as it happens; where the look-over is asked for, it is told in the same breath."""
        acts: list[Act] = [("start", {})]
        if self.site.prepared and checked:
            acts.insert(0, ("prepared", {}))
        made = self.tell(at or self.begun, acts, slip=slip)
        if self.opener is None:
            self.opener = made[-1]
        return made[-1]

    def close(
        self,
        at: datetime,
        *,
        without: Sequence[str] = (),
        when: datetime | None = None,
        slip: float = 0.0,
        percent: bool = True,
    ) -> list[Entry]:
        """The whole closing in one text, less what is named."""
        acts = [act for act in CLOSING if act[0] not in without]
        self.rng.shuffle(acts)
        return self.tell(at, self._with_percent(acts) if percent else acts, when=when, slip=slip)

    def _with_percent(self, acts: list[Act]) -> list[Act]:
        """Sometimes the charge is told with the put-away, but never beside a charge, which would swallow it."""
        if self.rng.random() < 0.4:
            kinds = [kind for kind, _data in acts]
            if "put_away" in kinds:
                place = kinds.index("put_away")
                if "charge" not in kinds[max(0, place - 1) : place + 2]:
                    acts[place] = ("put_away", {"charge_pct": self.rng.randrange(15, 90)})
        return acts

    def identity(self, entries: Sequence[Entry]) -> str:
        """The id by which this night's use is known: its start's if that was told first, else its put-away's."""
        if self.opener is not None:
            return self.opener.id
        return next(entry.id for entry in entries if entry.kind == "put_away")

    # ------------------------------------------------------------ what ought to be noticed

    def expect(
        self,
        duty: str,
        opened_by: str,
        due: datetime,
        why: str,
        *,
        raised: datetime | None = None,
        ends: Callable[[Sequence[Entry]], tuple[datetime, str] | None] = lambda _entries: None,
    ) -> None:
        """An alert that must come: at its due instant, unless another is named."""
        self.book.expect(Expected(self.code, duty, opened_by, due, raised or due, why, ends))

    def owed_after_use(self, duty: str) -> datetime:
        """When a duty of this use falls due, its put-away being known; a put-away told without a time is the text's."""
        return self.parked + self.site.grace(duty)

    def next(
        self, kinds: set[str], after: datetime, outcome: str
    ) -> Callable[[Sequence[Entry]], tuple[datetime, str] | None]:
        """Cleared when the first such act after a moment is told."""
        code = self.code

        def find(entries: Sequence[Entry]) -> tuple[datetime, str] | None:
            fits = [
                e
                for e in entries
                if e.machine == code and e.kind in kinds and e.occurred > after and e.struck_at is None
            ]
            return (min(fits, key=lambda e: e.occurred).recorded, outcome) if fits else None

        return find


def told(moment: datetime, outcome: str) -> Callable[[Sequence[Entry]], tuple[datetime, str] | None]:
    """Cleared at a moment that is known already."""
    return lambda _entries: (moment.replace(microsecond=0), outcome)
