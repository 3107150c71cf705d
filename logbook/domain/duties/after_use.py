"""What rinse, squeegee and charge have in common: every use owes one, by a little after it is put away.

Due at the put-away plus the duty's grace. While no put-away is known, or when the use was cut off, due at the
latest start plus `longest_use` plus grace. Met by the latest such act in the closing (the last `closing` before
the put-away) with no start after it, else by the first after the put-away; while no put-away is known, by the
first after the first start.
"""

from __future__ import annotations

from logbook.domain.calendar import Duration, after
from logbook.domain.history import Entry
from logbook.domain.instants import Instant
from logbook.domain.machine import Duty, Machine, Use, on
from logbook.domain.policy import Policy
from logbook.domain.uses import use_rules


class AfterUse:
    """One such duty. `act` is the kind of entry that meets it, and its name."""

    def __init__(self, act: str) -> None:
        self.act = act
        self.grace = f"{act}.grace"
        on(act)(self.done)
        use_rules.append(self)

    def done(self, machine: Machine, entry: Entry) -> None:
        """The act: ends every open one, and is remembered in case it was done just before the put-away."""
        machine.acts[self.act] = entry.occurred_at
        for duty in machine.open_duties(self.act):
            self._met(machine, duty, entry.occurred_at)

    def _met(self, machine: Machine, duty: Duty, at: Instant) -> None:
        if machine.use is not None and duty.opened_by == machine.use.name:
            machine.end(duty, at, "met")
        else:
            machine.finish(duty, at, "met")

    def _due(self, machine: Machine, use: Use, at: Instant, policy: Policy | None = None) -> Instant:
        """A grace after `at`, by the numbers in force when the use's naming entry was recorded, at its site."""
        if policy is None:
            policy = machine.book.policy(use.site, use.name_recorded)
        grace: Duration = policy.duration(self.grace)
        if grace.days == 0:
            return at + grace.micros
        return after(at, grace, machine.book.zone(use.site, use.name_recorded), policy.day_turns)

    def opened(self, machine: Machine, use: Use, before: Use | None) -> None:
        """A use begins: it owes one. What the use before has settled can change no more."""
        if not use.assumed:
            machine.acts.pop(self.act, None)
        settled = machine.member(self.act, before.name) if before is not None else None
        if settled is not None and settled.ended_at is not None:
            machine.close(settled)
        self._owe(machine, use)

    def _owe(self, machine: Machine, use: Use) -> None:
        policy: Policy = machine.book.policy(use.site, use.name_recorded)
        if self.act not in policy.on:
            return
        duty = machine.open(self.act, use.name, use.first, self._due(machine, use, use.cut_off, policy))
        if duty is not None and use.assumed:
            self._excused_before(machine, duty)

    def _excused_before(self, machine: Machine, duty: Duty) -> None:
        """An excuse may come before the entry that names the use, and yet after the use began."""
        excused = machine.excuses.get(f"{self.act} {duty.opened_by}")
        if excused is not None and excused >= duty.opened_at:
            duty.excused_at = excused
            if duty.ended_at is None:
                machine.end(duty, excused, "excused")

    def went_on(self, machine: Machine, use: Use) -> None:
        """A further start moves the due instant, and what was done before it was not the closing."""
        machine.acts.pop(self.act, None)
        duty = machine.member(self.act, use.name)
        if duty is not None:
            duty.due = self._due(machine, use, use.cut_off)
            machine.changed.append(duty)

    def renamed(self, machine: Machine, use: Use, old: str) -> None:
        """Another entry names the use: site and numbers are those in force at that one, and excuses must name it."""
        duty = machine.member(self.act, old)
        owed = self.act in machine.book.policy(use.site, use.name_recorded).on
        if duty is None:
            if owed and machine.use is use:
                self._owe(machine, use)
            return
        if not owed:  # where it is named, and when that was recorded, nobody owes this
            machine.forget(duty)
            return
        machine.rename(duty, use.name)
        duty.site = use.site
        if duty.excused_at is not None:  # that excuse named a duty which there is not
            duty.excused_at = None
            if duty.how == "excused":
                machine.reopen(duty)
        self._excused_before(machine, duty)

    def latest(self, machine: Machine, since: Instant) -> Instant | None:
        """The latest act since the closing began, with no start after it."""
        at = machine.acts.get(self.act)
        return at if at is not None and at >= since else None

    def ended(self, machine: Machine, use: Use, since: Instant) -> None:
        """The use is put away: from now on the due instant is certain, and the closing counts."""
        duty = machine.member(self.act, use.name)
        if duty is None or use.put_away is None:
            return
        duty.due = self._due(machine, use, use.put_away)
        latest = self.latest(machine, since)
        if latest is not None:
            machine.end(duty, latest, "met")
        else:
            machine.reopen(duty)
