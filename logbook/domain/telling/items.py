"""What one alert, one reminder or one letter has to say: facts only, ready for any language.

An `Item` is made when the alert is raised and kept beside the notice, so that the words can be found later, by
another process, in the reader's language, without folding the machine again.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from logbook.domain.instants import Instant

Tell = Literal["now", "urgent", "letter", "remind", "none"]


class Act(msgspec.Struct, frozen=True):
    """The latest act of a kind on this machine: when, and by which role."""

    at: Instant
    role: str


class Item(msgspec.Struct):
    """One duty that somebody is told about.

    machine: the machine's id; `code` is its plate. `serial`: the number by which people answer the alert ("seen 41").
    zone: IANA name; all wall-clock words use it. `outcome`: set when it was over already, or is over since.
    `last`: the latest acts that matter to this duty, by kind (start, put_away, empty, rinse, charge, watering ...).
    `emptied`: for rinse, the tank was emptied since the duty opened, but not rinsed. `charge_pct`: the battery as
    told at the put-away. `least_um`, `head`: the lowest segment reading and which head it was (1 first; 0: one length
    for all). `note`: the reporter's own words, where there are some and the reader may see them. `along`: duties of
    the same machine-night that a `night` item speaks for. `nights`: so many nights running untold, this one included.
    `next_night`: when the machine's next expected night begins. `step`: 1 first told, 2 and up: passed on.
    `held`: quiet hours kept it for the letter. `way`: mail or text, where policy's step names one. `asked_by`: the role
    of whoever asked this reader to see to it.
    """

    duty: str
    opened_by: str
    machine: str
    code: str
    site: str
    site_name: str
    zone: str
    opened_at: Instant
    due_at: Instant
    raised_at: Instant
    tell: Tell
    number: int = 1
    serial: int | None = None
    step: int = 1
    outcome: str | None = None
    last: dict[str, Act] = {}
    emptied: bool = False
    charge_pct: int | None = None
    least_um: int | None = None
    head: int = 0
    note: str | None = None
    along: list[str] = []
    nights: int = 1
    next_night: Instant | None = None
    held: bool = False
    way: str | None = None
    asked_by: str | None = None


class Reminder(msgspec.Struct):
    """What the cleaner still owes on one machine, and by when. `night_date` is set where nothing was told at all.

    `until`: when it must not be sent any more; None: `due_at` (nobody is written to outside the night).
    """

    machine: str
    code: str
    site: str
    site_name: str
    zone: str
    duties: list[str]
    due_at: Instant
    night_date: str | None = None
    until: Instant | None = None


class Week(msgspec.Struct):
    """Monday's figures: this week against the one before. Machines are plates; nobody is named.

    repeats: duties late twice or more on one machine: (code, duty, times). thirsty: (code, ml this week, ml before)
    where a battery drank clearly more. low: segments with an order ready to send: (code, site name, part, count,
    account, contact). faults: open faults by age: (code, days, note). visits: sites worth a visit: (site name, why:
    the duties late there, times).
    """

    nights_untold: int
    nights_untold_before: int
    late: int
    late_before: int
    repeats: list[tuple[str, str, int]] = []
    thirsty: list[tuple[str, int, int]] = []
    low: list[tuple[str, str, str | None, int | None, str | None, str | None]] = []
    faults: list[tuple[str, int, str | None]] = []
    visits: list[tuple[str, list[str], int]] = []


class Letter(msgspec.Struct):
    """One person's morning: exceptions only, worst first.

    items: what is still open, or was late and is over; `done` of them are over. nights_told of nights_expected: last
    night's count. quiet_sites: names of this person's sites with nothing to tell. week: on Mondays. strangers: texts of the
    last day from nobody who is known, which wait until somebody says whose they are.
    """

    date: str
    items: list[Item]
    nights_expected: int
    nights_told: int
    quiet_sites: list[str]
    week: Week | None = None
    strangers: int = 0
