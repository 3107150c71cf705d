"""Uses: the spells of work into which starts and put-aways fall.

A `start` opens a use or goes on with the open one; `put_away` ends it, up to `closing` after it was cut off. Any
other put-away closes a use whose start went unreported, unless it only says the last one again.

Rules that hang on uses give a `UseRule`; they are called after the use itself has changed.
"""

from __future__ import annotations

from typing import Protocol

from logbook.domain.history import Entry
from logbook.domain.instants import Instant
from logbook.domain.machine import Machine, Use, on


class UseRule(Protocol):
    """What a duty that every use opens must answer to."""

    def opened(self, machine: Machine, use: Use, before: Use | None) -> None:
        """A use began; `before` is the one that came before it."""

    def went_on(self, machine: Machine, use: Use) -> None:
        """A further start went on with the open use."""

    def ended(self, machine: Machine, use: Use, since: Instant) -> None:
        """The use was put away; its closing began at `since`."""

    def renamed(self, machine: Machine, use: Use, old: str) -> None:
        """The use is known by another entry's id than before."""


use_rules: list[UseRule] = []


def _named(machine: Machine, use: Use, entry: Entry) -> None:
    """The use's identity is its entry with the lowest seq, so that news heard later rarely changes it."""
    if entry.seq >= use.name_seq:
        return
    old, use.name = use.name, entry.name
    use.name_seq, use.name_recorded, use.site = entry.seq, entry.recorded_at, machine.site
    if old != use.name:
        for rule in use_rules:
            rule.renamed(machine, use, old)


def _opened(machine: Machine, use: Use) -> None:
    before, machine.use = machine.use, use
    for rule in use_rules:
        rule.opened(machine, use, before)


@on("start")
def started(machine: Machine, entry: Entry) -> None:
    """A start opens a use, or goes on with the open one up to and at its cut-off."""
    at, use = entry.occurred_at, machine.use
    policy = machine.policy(entry.recorded_at)
    machine.stirred = True
    if use is not None and use.put_away is None and at <= use.cut_off:
        use.cut_off = at + policy.longest_use
        _named(machine, use, entry)
        for rule in use_rules:
            rule.went_on(machine, use)
        return
    _opened(
        machine,
        Use(entry.name, entry.seq, entry.recorded_at, at, at + policy.longest_use, machine.site),
    )


@on("unplug")
def unplugged(machine: Machine, entry: Entry) -> None:
    """After an unplug, a further put-away is news and not a repetition."""
    machine.stirred = True


@on("put_away")
def put_away(machine: Machine, entry: Entry) -> None:
    """A put-away ends the open use, says the last one again, or closes a use whose start went unreported."""
    at, use, previous = entry.occurred_at, machine.use, machine.put_away_at
    closing = machine.policy(entry.recorded_at).closing
    machine.put_away_at = at
    if use is not None and use.put_away is None and at <= use.cut_off + closing:
        _named(machine, use, entry)
    elif previous is not None and at - previous <= closing and not machine.stirred:
        return
    else:
        assumed = at - closing if previous is None else max(at - closing, previous)
        use = Use(entry.name, entry.seq, entry.recorded_at, assumed, assumed, machine.site, assumed=True)
        _opened(machine, use)
    machine.stirred = False
    use.put_away = at
    since = max(at - closing, use.first) if use.assumed else at - closing
    for rule in use_rules:
        rule.ended(machine, use, since)
