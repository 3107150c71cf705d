"""What a history says first: what the machine is, how many entries there are, how the year's duties went.

Promises the counts of `logbook.domain.reporting`, and that a log with a gap says so before anything else.
"""

from __future__ import annotations

from logbook.domain.standing import stop_of
from logbook.domain.wallclock import wall, zone
from logbook.domain.wording import times
from logbook.web.history.saying import BATTERIES, Sayer, up
from logbook.web.history.seen import Seen
from logbook.web.history.weeks import Year


def facts(found: Seen, say: Sayer) -> tuple[str, ...]:
    """What the machine is: since when, its battery, its meter."""
    plain, machine = say.words.plain, found.folded.machine
    if machine.commissioned_at is None:
        return ()
    day = times.day(wall(machine.commissioned_at, zone(found.zone)).date().isoformat(), say.language)
    year = wall(machine.commissioned_at, zone(found.zone)).year
    said = [plain("In the fleet since %(day)s %(year)s.", day=day, year=year),
             up(plain(BATTERIES.get(machine.battery, machine.battery))) + "."]  # fmt: skip
    if found.meter is not None:
        said.append(plain("Hour meter %(hours)s.", hours=say.hours(found.meter)))
    stop = stop_of(machine)
    if machine.retired_at is not None:
        said.append(plain("It left the fleet %(at)s.", at=say.stamp(machine.retired_at, found.zone)))
    elif stop == "out_of_service":
        said.append(plain("Out of service."))
    elif stop == "held":
        said.append(plain("Held: it must not be run."))
    return tuple(said)


def summary(found: Seen, year: Year, say: Sayer, *, full: bool) -> tuple[str, ...]:
    """How many entries, and how the duties of the year went."""
    plural, plain = say.words.plural, say.words.plain
    if found.gap is not None:
        said = [plain("Entry %(n)s is missing from this log: have it audited.", n=say.number(found.gap))]
    else:
        count = len(found.rows)
        said = [
            plural("%(total)s entry without a gap.", "%(total)s entries without a gap.", count, total=say.number(count))
        ]
    if not full:
        own = len(found.mine)
        mine = plural("%(total)s of them is yours.", "%(total)s of them are yours.", own, total=say.number(own))
        return (*said, mine)
    if not year.all:
        return tuple(said)
    said.append(
        plain("In 52 weeks, %(done)s of %(all)s duties were done in time.", done=say.number(year.on_time),
              all=say.number(year.all))
    )  # fmt: skip
    counts = year.counts
    if counts["told_late"]:
        told = plural(
            "%(total)s of those was told only after an alert.", "%(total)s of those were told only after an alert.",
            counts["told_late"], total=say.number(counts["told_late"]),
        )  # fmt: skip
        said.append(told)
    apart = (
        plural("%(total)s late", "%(total)s late", counts["late"], total=say.number(counts["late"])),
        plural("%(total)s missed", "%(total)s missed", counts["missed"], total=say.number(counts["missed"])),
        plural("%(total)s excused", "%(total)s excused", counts["excused"], total=say.number(counts["excused"])),
    )
    # A number is not parted from its word at a line's end.
    numbers = (counts["late"], counts["missed"], counts["excused"])
    named = [one.replace(" ", "\u00a0") for number, one in zip(numbers, apart, strict=True) if number]
    if named:
        said.append(", ".join(named) + ".")
    if not year.standing:
        return tuple(said)
    if found.past:
        standing = plural(
            "%(total)s stood open then.", "%(total)s stood open then.", year.standing, total=say.number(year.standing)
        )
    else:
        standing = plural(
            "%(total)s stands open now.", "%(total)s stand open now.", year.standing, total=say.number(year.standing)
        )
    said.append(standing)
    return tuple(said)
