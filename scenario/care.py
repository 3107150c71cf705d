"""The weekly and fortnightly rounds of one machine: when they are done, and what they leave to be noticed.

A careful crew does a round on the last night on which it is still in time. Here and there one is let slip, and
`generate` has the alert of it from the gap between two rounds.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from scenario import walls
from scenario.book import Book, Entry, Expected
from scenario.plan import Calendar
from scenario.shift import Act, Shift, State, told

EVERY = {"watering": 7, "filter": 7, "segments": 14}
REORDER_AT = 6350


@dataclass
class Care:
    """What is due on one machine, and what is to be let slip."""

    book: Book
    rng: random.Random
    state: State
    calendar: Calendar
    due: dict[str, datetime] = field(default_factory=dict)
    opening: dict[str, str] = field(default_factory=dict)
    first_on: dict[str, int] = field(default_factory=dict)
    slipping: dict[str, int] = field(default_factory=dict)
    why: dict[tuple[str, str], str] = field(default_factory=dict)
    segments_are: str = "good"  # good, here (on order, or in the drawer)
    here_at: datetime | None = None
    orders: int = 0
    bare: Entry | None = None

    def renew(self, duty: str, entry: Entry) -> None:
        """A round was done (or a battery fitted, or the machine commissioned): the next counts from here."""
        zone = self.state.where(entry.occurred).zone
        self.due[duty] = walls.noon_after(entry.occurred, EVERY[duty], zone)
        self.opening[duty] = entry.id

    def rounds(self, shift: Shift, following: datetime | None) -> list[Act]:
        """What is to be done tonight, `following` being the closing of the next night on which it could be."""
        acts: list[Act] = []
        night = self.calendar.dates.index(shift.day)
        for duty in EVERY:
            if duty not in self.due or (duty == "watering" and self.state.battery != "flooded"):
                continue
            last_chance = following is None or self.due[duty] < following
            first = self.first_on.get(duty) == night
            if (last_chance or first or duty in self.slipping) and not self._slips(duty, shift.day):
                acts += self._round(duty)
        if self.segments_are == "here" and self.here_at is not None and self.here_at < shift.begun:
            acts = [act for act in acts if act[0] != "segments"] + [("segment_change", {})]
        return acts

    def _slips(self, duty: str, day: date) -> bool:
        """Whether this round is let slip tonight."""
        if duty in self.slipping:
            self.slipping[duty] -= 1
            if self.slipping[duty] > 0:
                return True
            del self.slipping[duty]
            return False
        planned = next((slip for slip in self.calendar.slips if slip[0] <= day and slip[1] == duty), None)
        if planned is None:
            return False
        self.calendar.slips.remove(planned)
        self.slipping[duty] = self.rng.randrange(1, 4)
        self.why[(duty, self.opening[duty])] = f"the round was let slip ({duty})"
        return True

    def _round(self, duty: str) -> list[Act]:
        if duty == "watering":
            return [("watering", {"water_ml": self.rng.randrange(12, 29) * 100})]
        if duty == "filter":
            return [("filter", {})]
        return [("segments", {"left_um": [round(length / 100) * 100 for length in self.state.lengths]})]

    def told_late(self, shift: Shift, acts: list[Act]) -> list[Act]:
        """Take the watering out of tonight's rounds, if it is to be told only when it is overdue; else leave all."""
        planned = next((s for s in self.calendar.slips if s[0] <= shift.day and s[1] == "watering_told_late"), None)
        watering = next((act for act in acts if act[0] == "watering"), None)
        came = walls.at(shift.site.zone, shift.day + walls.DAY, "13:25") + timedelta(minutes=self.rng.randrange(60))
        if planned is None or watering is None or not shift.parked < self.due["watering"] < came:
            return acts
        self.calendar.slips.remove(planned)
        self.why[("watering", self.opening["watering"])] = "watered in time, told only after noon"
        (entry,) = shift.tell(came, [watering], when=shift.after(-9))
        self.renew("watering", entry)
        return [act for act in acts if act is not watering]

    def heard(self, shift: Shift, entries: list[Entry]) -> None:
        """What was told of the rounds is taken note of, and a low reading is answered by an order."""
        for entry in entries:
            if entry.kind in EVERY:
                self.renew(entry.kind, entry)
            if entry.kind == "segment_change":
                self.renew("segments", entry)
                self.state.lengths = [self.state.machine.new_um] * self.state.machine.heads
                self.segments_are = "good"
            low = entry.kind == "segments" and 0 < min(entry.data["left_um"]) <= REORDER_AT
            if low and self.segments_are == "good":
                self._order(shift, entry)

    def _order(self, shift: Shift, reading: Entry) -> None:
        """A reading at or under a quarter of an inch is noticed at once, and the supervisor orders in the morning."""
        boss, code, zone = shift.boss, shift.code, shift.site.zone
        at = walls.at(zone, walls.shown(reading.recorded, zone).date(), "08:40")
        order = self.book.post(boss, code, "ordered", at, part="segments", qty=self.state.machine.heads)
        self.book.expect(
            Expected(code, "segments_low", reading.id, reading.recorded, reading.recorded,
                     "the segments are down to a quarter of an inch", told(order.recorded, "late"))
        )  # fmt: skip
        self.orders += 1
        late = self.orders == 1 and self.rng.random() < 0.3
        days = 13 if late else self.rng.randrange(4, 9)
        came = walls.at(zone, walls.shown(at, zone).date() + days * walls.DAY, "11:10")
        here = self.book.post(boss, code, "received", came, order=order.id, qty=self.state.machine.heads)
        if late:
            due = walls.noon_after(order.occurred, 10, zone)
            why = "the segments took thirteen days to come"
            self.book.expect(Expected(code, "delivery", order.id, due, due, why, told(here.recorded, "late")))
        self.segments_are, self.here_at = "here", came

    def wear(self) -> None:
        """A night's work: hours on the meter, abrasive off the heads. They are never run bare by accident."""
        self.state.meter_s += self.rng.randrange(9_000, 21_600)
        self.state.lengths = [max(900, length - self.rng.randrange(40, 111)) for length in self.state.lengths]


def gone(shift: Shift, care: Care, number: int) -> None:
    """A head has lost its segment. Run once more before it is changed: noticed at the reading, and at the start."""
    start = shift.start()
    if number == 0:
        left = [0] + [round(length / 100) * 100 for length in care.state.lengths[1:]]
        (care.bare,) = shift.tell(shift.after(-9), [("segments", {"left_um": left})])
        care.renew("segments", care.bare)
        shift.close(shift.parked)
        return
    (change,) = shift.tell(shift.after(-9), [("segment_change", {})])
    care.heard(shift, [change])
    shift.close(shift.parked)
    for opening, why in ((care.bare, "a head has no segment left"), (start, "started with a head that has no segment")):
        if opening is not None:
            ends = told(change.recorded, "late")
            shift.expect("segments_gone", opening.id, opening.recorded, why, ends=ends)
    care.bare = None
