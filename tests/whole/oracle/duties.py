"""Every duty that a known history opens, row by row of the table in the rules: opened by, due, ended by.

It promises the whole list, ended duties too; it never looks at alerts, and never at what is not yet known.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from decimal import Decimal

from dateutil.rrule import rrulestr

from . import moments
from .history import Entry, Known, Place, Use


@dataclass(frozen=True)
class Duty:
    """One duty: its identity, its due instant, how and when it ended (None while it has not)."""

    name: str
    opened_by: str
    due: datetime
    site: str
    ended: tuple[datetime, str] | None

    @property
    def identity(self) -> tuple[str, str]:
        return self.name, self.opened_by

    def overdue(self, now: datetime) -> bool:
        return self.due <= now and not (self.ended is not None and self.ended[0] <= self.due)

    def standing(self, now: datetime) -> bool:
        return self.due <= now and self.ended is None


End = tuple[Place, str]


def earliest(known: Known, name: str, opened_by: str, opened: Place, *ends: End | None) -> tuple[datetime, str] | None:
    """The earliest of the ends found, an excuse from its opening on, and the machine's retirement."""
    found = [end for end in ends if end is not None]
    found += [
        (entry.place, "excused")
        for entry in known.of("excused")
        if (entry.data["duty"], entry.data["opened_by"]) == (name, opened_by) and entry.place >= opened
    ]
    if known.retired is not None:
        found.append((known.retired.place, "overtaken"))
    if not found:
        return None
    (at, _), how = min(found)
    return at, how


def met(entry: Entry | None) -> End | None:
    return None if entry is None else (entry.place, "met")


def first(entries: Iterable[Entry], fits: Callable[[Entry], bool]) -> Entry | None:
    return next((entry for entry in entries if fits(entry)), None)


def any_of(*kinds: str) -> Callable[[Entry], bool]:
    return lambda entry: entry.kind in kinds


def opens(known: Known, place: Place) -> bool:
    """Nothing opens after the machine is retired."""
    return known.retired is None or place <= known.retired.place


# ------------------------------------------------------------------ what every use owes


def of_uses(known: Known) -> Iterator[Duty]:
    """`rinse`, `charge` and `squeegee`, opened by each use."""
    uses = known.uses()
    for use, following in zip(uses, [*uses[1:], None], strict=False):
        # An assumed use is opened by its put_away: that is the only entry it has.
        opener = use.starts[0] if use.starts else use.identity
        if not opens(known, opener.place):
            continue
        site = known.site(use.identity.place)
        opened_by = known.root(use.identity.id)
        for name in ("rinse", "charge", "squeegee"):
            if known.numbers.get(name, site) is False:
                continue
            from_ = use.put_away.at if use.put_away else known.cut_off(use)
            due = known.numbers.after(from_, f"{name}.grace", site)
            bound = following.began if following is not None and name == "charge" else None
            act = act_of_use(known, use, name, bound)
            overtaken: End | None = None
            if act is None and bound is not None:
                overtaken = (bound, "overtaken")
            end = earliest(known, name, opened_by, use.began, met(act), overtaken)
            yield Duty(name, opened_by, due, site, end)


def act_of_use(known: Known, use: Use, name: str, bound: Place | None) -> Entry | None:
    """The act that ends one duty of a use, looking at acts before `bound` only."""
    acts = [entry for entry in known.of(name) if bound is None or entry.place < bound]
    if use.put_away is None:
        return first(acts, lambda entry: entry.place > use.starts[0].place)
    home = use.put_away
    since = home.at - moments.exact(known.numbers.get("closing", known.site(home.place)))
    undoing = known.of("start", "unplug") if name == "charge" else known.of("start")

    def in_closing(act: Entry) -> bool:
        begun = act.place > use.starts[0].place if use.starts else act.at >= use.began[0]
        undone = any(act.place < other.place < home.place for other in undoing)
        return begun and since <= act.at and act.place < home.place and not undone

    closing = [act for act in acts if in_closing(act)]
    return closing[-1] if closing else first(acts, lambda entry: entry.place > home.place)


# ------------------------------------------------------------------ what comes round again


def recurring(known: Known, name: str, overtaking: tuple[str, ...], acts: tuple[str, ...]) -> Iterator[Duty]:
    """A duty that each act ends and opens anew, and that each excuse of it does too."""
    current: tuple[Entry, str] | None = None  # its opening entry, the site it stood at

    def close(entry: Entry | None, how: str) -> Duty:
        assert current is not None
        opening, site = current
        due = known.numbers.after(opening.at, f"{name}.every", site)
        return Duty(name, known.root(opening.id), due, site, (entry.at, how) if entry else None)

    for entry in known.history:
        excuse = (
            entry.kind == "excused"
            and current is not None
            and (entry.data["duty"], entry.data["opened_by"]) == (name, known.root(current[0].id))
        )
        turn = entry.kind in ("commissioned", *overtaking, *acts)
        if not (turn or excuse or entry.kind == "retired"):
            continue
        if current is not None:
            how = "met" if entry.kind in acts else "excused" if excuse else "overtaken"
            yield close(entry, how)
            current = None
        if entry.kind == "retired":
            return
        site = known.site(entry.place)
        thirsty = name != "watering" or known.battery(entry.place) == "flooded"
        if thirsty and known.numbers.get(name, site) is not False:
            current = entry, site
    if current is not None:
        yield close(None, "")


# ------------------------------------------------------------------ what one entry asks for


def asked(
    known: Known, name: str, entry: Entry, due: str | None, ends: Callable[[Entry], bool] | Entry | None
) -> Iterator[Duty]:
    """A duty opened by one entry, due after the duration named `due` or at once, ended by what fits first."""
    site = known.site(entry.place)
    if not opens(known, entry.place) or known.numbers.get(name, site) is False:
        return
    act = first((e for e in known.history if e.place > entry.place), ends) if callable(ends) else ends
    opened_by = known.root(entry.id)
    end = earliest(known, name, opened_by, entry.place, met(act))
    at = known.numbers.after(entry.at, due, site) if due else entry.recorded
    yield Duty(name, opened_by, at, site, end)


def of_segments(known: Known) -> Iterator[Duty]:
    """`segments_low` and `segments_gone`; a change forgets every reading before it."""
    part = known.numbers.machine.get("segments", {}).get("part")
    reading: Entry | None = None
    for entry in known.of("segments", "segment_change", "start"):
        if entry.kind == "segment_change":
            reading = None
            continue
        limit = micrometres(known.numbers.get("segments.reorder_at", known.site(entry.place)))

        def relieves(other: Entry, limit: int = limit) -> bool:
            if other.kind == "ordered":
                return other.data.get("part") in (None, "segments", part)
            return other.kind == "segment_change" or (other.kind == "segments" and least(other) > limit)

        def restores(other: Entry) -> bool:
            return other.kind == "segment_change" or (other.kind == "segments" and least(other) > 0)

        if entry.kind == "start":
            if reading is not None and least(reading) == 0:
                yield from asked(known, "segments_gone", entry, None, restores)
            continue
        if 0 < least(entry) <= limit and (reading is None or least(reading) > limit):
            yield from asked(known, "segments_low", entry, None, relieves)
        if least(entry) == 0:
            yield from asked(known, "segments_gone", entry, None, restores)
        reading = entry


def micrometres(length: str) -> int:
    """A length as the policy writes it: `6.35 mm`."""
    number, unit = length.split()
    return int(Decimal(number) * {"mm": 1000, "in": 25400}[unit])


def least(entry: Entry) -> int:
    return int(min(entry.data["left_um"]))


def of_starts(known: Known) -> Iterator[Duty]:
    """`prepared` and `held_start`, opened by each reported start."""
    unused = known.of("prepared")
    for start in known.of("start"):
        since = start.at - timedelta(hours=2)
        taken = next((entry for entry in unused if entry.at >= since), None)
        for duty in asked(known, "prepared", start, "prepared.grace", taken):
            # What ends nothing is not used up: a start that owes nothing, or was excused by then, leaves it.
            if taken is not None and duty.ended == (taken.at, "met"):
                unused.remove(taken)
            yield duty
        if known.held(start.place) or known.out_of_service(start.place):
            yield from asked(known, "held_start", start, None, any_of("put_away", "released", "in_service"))


def of_faults_and_orders(known: Known) -> Iterator[Duty]:
    """`fault`, `repair` and `delivery`."""
    for entry in known.of("fault"):
        yield from asked(known, "fault", entry, "fault.answer_within", any_of("repair_requested", "repaired"))
    for entry in known.of("repair_requested"):
        yield from asked(known, "repair", entry, "repair.within", any_of("repaired"))
    for entry in known.of("ordered"):
        order = known.root(entry.id)

        def arrives(other: Entry, order: str = order) -> bool:
            return other.kind == "received" and known.root(other.data["order"]) == order

        yield from asked(known, "delivery", entry, "delivery.within", arrives)


# ------------------------------------------------------------------ what the calendar expects


def of_nights(known: Known, horizon: datetime) -> Iterator[Duty]:
    """`night`: each expected night that begins before `horizon`, by the clock of the site it belongs to."""
    numbers = known.numbers
    commissioned = known.of("commissioned")[0]
    for site in numbers.sites:
        zone = numbers.zone(site)
        calendar = numbers.machine.get("nights") or numbers.sites[site].get("nights") or []
        anchor = datetime.combine(moments.wall(commissioned.at, zone).date() - timedelta(days=1), time())
        for night in calendar:
            left_out = {str(day) for day in night.get("except", [])}
            opening, closing = time.fromisoformat(night["from"]), time.fromisoformat(night["to"])
            last = moments.wall(horizon, zone)
            for day in rrulestr(night["rule"], dtstart=anchor).between(anchor, last, inc=True):
                if day.date().isoformat() in left_out:
                    continue
                begins = moments.instant(datetime.combine(day, opening), zone)
                next_day = day + timedelta(days=1) if closing <= opening else day
                ends = moments.instant(datetime.combine(next_day, closing), zone)
                yield from one_night(known, site, day.date().isoformat(), begins, ends)


def one_night(known: Known, site: str, date: str, begins: datetime, ends: datetime) -> Iterator[Duty]:
    """The duty of one night, if it is expected of this machine. Entries at its very beginning count."""
    dusk: Place = begins, float("inf")
    retired = known.retired
    expected = (
        begins >= known.of("commissioned")[0].at
        and not (retired is not None and retired.place <= dusk)
        and known.site(dusk) == site
        and not known.out_of_service(dusk)
        and known.numbers.get("night", site) is not False
    )
    if not expected:
        return
    due = known.numbers.after(ends, "night.grace", site)
    told = first(known.of("put_away", "not_used"), lambda e: begins - timedelta(hours=1) <= e.at <= due)
    name = f"{site}/{date}"
    yield Duty("night", name, due, site, earliest(known, "night", name, (begins, 0), met(told)))


def all_duties(known: Known, horizon: datetime) -> list[Duty]:
    """Every duty that the history known opens, nights up to `horizon` among them."""
    found = [
        *of_uses(known),
        *recurring(known, "watering", ("battery_fitted",), ("watering",)),
        *recurring(known, "filter", (), ("filter",)),
        *recurring(known, "segments", (), ("segments", "segment_change")),
        *of_segments(known),
        *of_starts(known),
        *of_faults_and_orders(known),
        *of_nights(known, horizon),
    ]
    assert len({duty.identity for duty in found}) == len(found), "two duties with one identity"
    return found
