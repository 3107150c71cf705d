"""What stands on the page, as a template prints it and a test reads it: words, marks and instants, no markup.

Instants are microseconds UTC; `places` on the axis are hundredths of its width, 0 to 100.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from logbook.domain.instants import Instant

Mark = Literal["late", "due", "held", "stop", "clear"]


@dataclass(frozen=True, slots=True)
class Tick:
    """One hour on the axis."""

    place: float
    label: str
    anchor: str


@dataclass(frozen=True, slots=True)
class Axis:
    """Twelve hours around now. `zone`: in whose hours it is written, where the sites differ; else ""."""

    ticks: tuple[Tick, ...]
    now: float
    clock: str
    begins: Instant
    ends: Instant
    zone: str


@dataclass(frozen=True, slots=True)
class Bar:
    """From `start` to `end`; `cut`: it began before the axis does."""

    start: float
    end: float
    cut: bool


@dataclass(frozen=True, slots=True)
class Matter:
    """One duty of a row. `serial`: its alert's, None while none is raised. `doing` says what to do next."""

    duty: str
    opened_by: str
    label: str
    title: str
    happened: str
    last: str
    doing: str
    cost: str
    care: str
    note: str
    due: Instant
    due_words: str
    serial: int | None


@dataclass(frozen=True, slots=True)
class Choice:
    """Somebody who may be asked, or whose a text may be. Named: they are chosen, not looked up behind an entry."""

    person: str
    name: str
    role: str


@dataclass(frozen=True, slots=True)
class Row:
    """One machine with all of it that is late, or in somebody's hands. `since`: what its time counts from.

    `seen`: what the page knew of who has it, so that a form that comes back late is noticed. `told`: who was told, how,
    when, and whether it arrived. `answer`: who has answered. `asked`: the person whose turn it is, if one was asked.
    `last`: the entry by which the cleaner's name can be opened; "" if there is none.
    """

    key: str
    mark: Mark
    word: str
    machine: str
    code: str
    site: str
    hours_of: str
    since: Instant
    span: str
    since_words: str
    matters: tuple[Matter, ...]
    also: tuple[tuple[str, str, str], ...]
    serials: tuple[int, ...]
    told: tuple[str, ...]
    answer: str
    asked: str | None
    seen: str
    last: str
    last_words: str
    bar: Bar | None
    choices: tuple[Choice, ...]
    until: Instant | None = None
    until_words: str = ""

    @property
    def first(self) -> Matter:
        """The most pressing."""
        return self.matters[0]

    @property
    def excusable(self) -> tuple[tuple[str, str, str], ...]:
        """(duty, opened by, label) of all that may be excused here."""
        return (*((each.duty, each.opened_by, each.label) for each in self.matters), *self.also)


@dataclass(frozen=True, slots=True)
class Alike:
    """What machines in ordinary use owe on the same terms. `night`: when the night's word is due, if it is owed, named
    by `others`; `duties` hang on the put-away, and are due at `latest` if none is reported. `place`: an IANA zone.
    """

    place: str
    hours_of: str
    night: tuple[Instant, ...]
    latest: Instant
    latest_words: str
    duties: str
    others: str


@dataclass(frozen=True, slots=True)
class Due:
    """One machine with what falls due on it: `by` the earliest, in words `by_words`."""

    key: str
    machine: str
    code: str
    site: str
    by: Instant
    span: str
    by_words: str
    duties: str
    excusable: tuple[tuple[str, str, str], ...]
    state: str
    hours_of: str = ""
    alike: Alike | None = None


@dataclass(frozen=True, slots=True)
class Standing:
    """One machine in the list of all: its mark, and its state in words."""

    code: str
    machine: str
    mark: Mark
    word: str
    state: str
    why: str


@dataclass(frozen=True, slots=True)
class Text:
    """A text that was kept aside. `from_`: the sender's last digits; `whole` only when it is opened."""

    id: str
    at: str
    way: str
    from_: str
    whole: str
    text: str
    stranger: bool
    about: str


@dataclass(frozen=True, slots=True)
class Newcomer:
    """A number that waits for yes or no."""

    person: str
    name: str
    number: str
    site: str


@dataclass(frozen=True, slots=True)
class Board:
    """The whole page. `sites` lists every machine, by site. `troubles`: sentences about sending that is held."""

    headline: str
    title: str
    clock: str
    day: str
    looked: Instant | None
    looked_words: str
    stopped: bool
    troubles: tuple[str, ...]
    axis: Axis
    late: tuple[Row, ...] = ()
    due: tuple[Due, ...] = ()
    later: tuple[Due, ...] = ()
    hands: tuple[Row, ...] = ()
    stops: tuple[Standing, ...] = ()
    clear: int = 0
    machines: int = 0
    sites: tuple[tuple[str, tuple[Standing, ...]], ...] = ()
    texts: tuple[Text, ...] = ()
    newcomers: tuple[Newcomer, ...] = ()
    people: tuple[Choice, ...] = ()
    due_before: str = ""
    now: Instant = 0

    @property
    def due_together(self) -> tuple[tuple[Due, ...], ...]:
        """What falls due, with what machines in ordinary use owe on the same terms said once for all of them."""
        found: dict[object, list[Due]] = {}
        for each in self.due:
            found.setdefault((each.alike, each.by) if each.alike is not None else each.key, []).append(each)
        return tuple(tuple(each) for each in found.values())
