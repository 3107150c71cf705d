"""The whole board, worked out of what is known: nothing here asks the database or a clock.

Promises that what the fold says decides: a duty that is late stands here although no alert was raised yet, and one
that was met is gone although its alert was not cleared yet. A site that is not among `sites` is not there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from babel.dates import format_date

from logbook.domain.instants import HOUR, Instant
from logbook.domain.register import Register
from logbook.domain.telling.facts import OF_A_USE
from logbook.domain.telling.items import Item
from logbook.domain.wallclock import wall, zone
from logbook.domain.wording import times
from logbook.domain.wording.duties import duty_label
from logbook.domain.wording.mark import mark
from logbook.domain.wording.sentences import worst_first
from logbook.store.alerts import Alert
from logbook.store.heard import Heard
from logbook.store.tellings import Telling
from logbook.web.pages import Words
from logbook.web.tonight import aside
from logbook.web.tonight.axis import axis_of
from logbook.web.tonight.facts import AHEAD, Facts
from logbook.web.tonight.headline import headline, window_title
from logbook.web.tonight.model import Alike, Axis, Board, Due, Mark, Row, Standing
from logbook.web.tonight.rows import Known, hours_of, late_of
from logbook.web.tonight.told import Answer

Trio = tuple[str, str, str]
"""(machine, duty, opened by)"""

STATES = {
    "used": mark("in use"),
    "charging": mark("on charge"),
    "away": mark("put away"),
    "held": mark("held, not to be run"),
    "out": mark("out of service"),
    "new": mark("nothing heard of it yet"),
}
_SINCE = {
    "used": mark("in use since %(time)s"),
    "charging": mark("on charge since %(time)s"),
    "away": mark("put away at %(time)s"),
    "held": mark("held since %(time)s, not to be run"),
    "out": mark("out of service since %(time)s"),
}
_ROUTES = {"mail": mark("Mail"), "text": mark("Texts")}


@dataclass(frozen=True, slots=True)
class Read:
    """What was read at one moment. `looked`: when the clock last acted; `stopped`: too long ago to be relied on.

    `held`: the ways that are not sent by now. `delivering`: whether whatever sends has been seen of late.
    """

    register: Register
    facts: Sequence[Facts]
    alerts: Mapping[Trio, Alert]
    tellings: Mapping[Trio, Sequence[Telling]]
    answers: Mapping[Trio, Sequence[Answer]]
    heard: Sequence[Heard]
    looked: Instant | None
    stopped: bool
    held: frozenset[str]
    delivering: bool


def board(read: Read, sites: frozenset[str], say: Words, now: Instant) -> Board:
    """The page of somebody who has to do with these sites, in the language of `say`."""
    language = say.language
    machines = [facts for facts in read.facts if facts.site in sites]
    zones = {read.register.sites[facts.site].zone for facts in machines}
    place = _zone_of(read, machines, now)
    axis = axis_of(now, place, language, len(zones) > 1)
    known = Known(
        read.register,
        read.alerts,
        read.tellings,
        read.answers,
        now,
        say,
        axis,
        several_zones=len(zones) > 1,
        stopped=read.stopped,
    )
    late, hands, due, later = _rows(machines, known)
    before = times.clock(axis.ends, place, language)
    standing = {facts.uuid: _standing(facts, known, late, hands, due) for facts in machines}
    return Board(
        headline=headline(len(late), len(hands), len(due), before, say),
        title=window_title(len(late), say),
        clock=axis.clock,
        day=format_date(wall(now, zone(place)), "EEEE d MMMM", locale=times.locale(language)),
        looked=read.looked,
        looked_words=_ago(now - read.looked, language) if read.looked is not None else "",
        stopped=read.stopped,
        troubles=_troubles(read, say),
        axis=axis,
        late=tuple(late),
        due=tuple(due),
        later=tuple(later),
        hands=tuple(hands),
        stops=tuple(each for each in standing.values() if each.mark == "stop"),
        clear=sum(each.mark == "clear" for each in standing.values()),
        machines=len(machines),
        sites=_by_site(read.register, machines, standing),
        texts=aside.texts(read.heard, read.register, sites, say, place, now),
        newcomers=aside.newcomers(read.register, sites),
        people=aside.senders(read.register, sites, say),
        due_before=before,
        now=now,
    )


def _zone_of(read: Read, machines: Sequence[Facts], now: Instant) -> str:
    """In whose hours the axis is written: those of the site with most that is late, else with most machines."""
    counted: dict[str, tuple[int, int]] = {}
    for facts in machines:
        name = read.register.sites[facts.site].zone
        late, every = counted.get(name, (0, 0))
        counted[name] = (late + any(item.due_at <= now for item in facts.items), every + 1)
    return max(counted, key=lambda name: (counted[name], name), default=_first_zone(read.register))


def _first_zone(register: Register) -> str:
    return next((site.zone for site in register.sites.values()), "UTC")


def _rows(machines: Sequence[Facts], known: Known) -> tuple[list[Row], list[Row], list[Due], list[Due]]:
    late: list[tuple[Item, Row]] = []
    hands, due, later = [], [], []
    for facts in machines:
        row, hand = late_of(facts, known)
        if row is not None:
            first = (row.first.duty, row.first.opened_by)
            late.append((next(item for item in facts.items if (item.duty, item.opened_by) == first), row))
        if hand is not None:
            hands.append(hand)
        coming = [item for item in facts.items if known.now < item.due_at <= known.now + AHEAD]
        soon = [item for item in coming if item.due_at <= known.axis.ends]
        if soon:
            due.append(_due(facts, soon, known))
        after = [item for item in coming if item not in soon]
        if after:
            later.append(_due(facts, after, known))
    order = {id(item): number for number, item in enumerate(worst_first(item for item, _row in late))}
    late.sort(key=lambda each: order[id(each[0])])
    hands.sort(key=lambda row: (row.until or 0, row.code))
    return (
        [row for _item, row in late],
        hands,
        sorted(due, key=lambda each: (each.by, each.code)),
        sorted(later, key=lambda each: (each.by, each.code)),
    )


def _due(facts: Facts, items: Sequence[Item], known: Known) -> Due:
    language, first = known.say.language, items[0]
    labels = list(dict.fromkeys(duty_label(item.duty, language) for item in items))
    return Due(
        key=f"due-{facts.code}", machine=facts.uuid, code=facts.code, site=first.site_name, by=first.due_at,
        span=times.span(first.due_at - known.now, language),
        by_words=times.moment(first.due_at, first.zone, language, known.now), duties=", ".join(labels),
        excusable=tuple((item.duty, item.opened_by, duty_label(item.duty, language)) for item in items),
        state=_state_words(facts, known), hours_of=hours_of(first.zone, known), alike=_alike(facts, items, known),
    )  # fmt: skip


def _alike(facts: Facts, items: Sequence[Item], known: Known) -> Alike | None:
    """What a machine in ordinary use owes, as all owe it that are out on the same terms; None if it owes aught else.

    What hangs on its put-away is due at the latest at the instant given here, which comes only if none is reported.
    """
    of_use = [item for item in items if item.duty in OF_A_USE]
    if facts.state != "used" or facts.since is None or not of_use:
        return None
    rest = [item for item in items if item not in of_use]
    last = {item.due_at for item in of_use}
    if len(last) > 1 or any(item.duty != "night" for item in rest) or any(i.opened_at < facts.since for i in of_use):
        return None
    language, first = known.say.language, of_use[0]
    return Alike(
        place=first.zone, hours_of=hours_of(first.zone, known), night=tuple(sorted({item.due_at for item in rest})),
        latest=first.due_at, latest_words=times.moment(first.due_at, first.zone, language, known.now),
        duties=", ".join(dict.fromkeys(duty_label(item.duty, language) for item in of_use)),
        others=", ".join(dict.fromkeys(duty_label(item.duty, language) for item in rest)),
    )  # fmt: skip


def _state_words(facts: Facts, known: Known) -> str:
    if facts.since is None or facts.state not in _SINCE:
        return known.say.plain(STATES[facts.state])
    place, language = known.register.sites[facts.site].zone, known.say.language
    # Of this night the hour is enough.
    recent = known.now - facts.since < 18 * HOUR
    at = times.clock(facts.since, place, language) if recent else times.moment(facts.since, place, language, known.now)
    return known.say.plain(_SINCE[facts.state], time=at)


def _standing(facts: Facts, known: Known, late: Sequence[Row], hands: Sequence[Row], due: Sequence[Due]) -> Standing:
    say = known.say
    which: Mark
    if facts.state in ("held", "out"):
        which, word = "stop", say.plain("Do not run")
    elif any(row.machine == facts.uuid for row in late):
        which, word = "late", say.plain("Late")
    elif any(row.machine == facts.uuid for row in hands):
        which, word = "held", say.plain("In hand")
    elif any(row.machine == facts.uuid for row in due):
        which, word = "due", say.plain("Due")
    else:
        which, word = "clear", say.plain("Nothing due")
    return Standing(facts.code, facts.uuid, which, word, _state_words(facts, known), facts.why or "")


def _by_site(
    register: Register, machines: Sequence[Facts], standing: Mapping[str, Standing]
) -> tuple[tuple[str, tuple[Standing, ...]], ...]:
    grouped: dict[str, list[Standing]] = {}
    for facts in machines:
        grouped.setdefault(facts.site, []).append(standing[facts.uuid])
    found = [(register.sites[site].name, tuple(each)) for site, each in grouped.items()]
    return tuple(sorted(found, key=lambda each: each[0].casefold()))


def _troubles(read: Read, say: Words) -> tuple[str, ...]:
    found = [
        say.plain("%(way)s cannot be sent now: what is due to go out waits, and is kept.", way=say.plain(_ROUTES[route]))
        for route in sorted(read.held) if route in _ROUTES
    ]  # fmt: skip
    if not read.delivering:
        found.append(
            say.plain(
                "Nothing is being sent: alerts are raised, but nobody is told. Have somebody look after the server."
            )
        )
    return tuple(found)


def _ago(micros: Instant, language: str) -> str:
    seconds = max(0, micros) // 1_000_000
    return f"{seconds} s" if seconds < 120 else times.span(micros, language)


__all__ = ["Axis", "Board", "Read", "board"]
