"""What a history says first: what the machine is, how many entries there are, how the year's duties went.

Promises the counts of `logbook.domain.reporting`, and that a log with a gap says so before anything else.
"""

from __future__ import annotations

from logbook.domain.standing import stop_of
from logbook.domain.wallclock import wall, zone
from logbook.domain.wording import capital, times
from logbook.domain.wording.duties import WORDS
from logbook.web.history.saying import BATTERIES, Sayer
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
             capital(plain(BATTERIES.get(machine.battery, machine.battery))) + "."]  # fmt: skip
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
    if year.on_time:
        in_time: str = plural(
            "In 52 weeks, %(done)s of %(all)s duties was done in time.",
            "In 52 weeks, %(done)s of %(all)s duties were done in time.",
            year.on_time, done=say.number(year.on_time), all=say.number(year.all),
        )  # fmt: skip
    elif year.all == 1:
        in_time = plain("In 52 weeks, the one duty that came due was not done in time.")
    else:
        in_time = plain("In 52 weeks, none of %(all)s duties was done in time.", all=say.number(year.all))
    said.append(in_time)
    counts = year.counts
    if counts["told_late"]:
        told = plural(
            "%(total)s of those was told only after an alert.", "%(total)s of those were told only after an alert.",
            counts["told_late"], total=say.number(counts["told_late"]),
        )  # fmt: skip
        said.append(told)
    late, missed, excused = counts["late"], counts["missed"], counts["excused"]
    named = [
        plural("%(total)s late", "%(total)s late", late, total=say.number(late)),
        plural("%(total)s missed", "%(total)s missed", missed, total=say.number(missed)) + _open(year, say),
        plural("%(total)s excused", "%(total)s excused", excused, total=say.number(excused)),
    ]
    # A number is not parted from its word at a line's end.
    parts = [
        one.replace(" ", "\u00a0", 1) for number, one in zip((late, missed, excused), named, strict=True) if number
    ]
    if parts:
        said.append(", ".join(parts) + ".")
    at_once = sum(row.counts["late"] + row.counts["missed"] for row in year.rows if WORDS[row.duty].at_once)
    if at_once:
        said.append(
            plural("%(total)s of these was due the moment it arose.", "%(total)s of these were due the moment they arose.",
                   at_once, total=say.number(at_once))
        )  # fmt: skip
    return tuple(said)


def _open(year: Year, say: Sayer) -> str:
    """Of the missed, those that nobody has ended by the moment known: they are among them, not beside them."""
    if not year.standing:
        return ""
    if year.standing == year.counts["missed"]:
        return " " + say.words.plural("(still open)", "(all still open)", year.standing)
    return " " + say.words.plural(
        "(%(n)s of them still open)", "(%(n)s of them still open)", year.standing, n=say.number(year.standing)
    )
