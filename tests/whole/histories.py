"""Seeded random histories that strain the rules: an honest door would take every entry in them.

A history is one small fleet over some nights around a change of the clocks, told the way people tell things:
late, twice, in the wrong order, wrongly and then rightly. The same seed always gives the same history. What
is true in it does not matter; only that two readings of the rules agree about it.
"""

from __future__ import annotations

import random
import uuid
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from tests.whole import oracle
from tests.whole.policies import make_fleet
from tests.whole.worked import LEADERS

MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)
# Each of these is followed within the week by a change of some site's clocks.
EVES = (
    "2026-03-03",
    "2026-03-06",
    "2026-10-28",
    "2026-10-31",
    "2026-03-31",
    "2026-04-03",
    "2026-09-30",
    "2026-10-02",
)
LENGTHS = (0, 2000, 6000, 6350, 6351, 9000)

Line = dict[str, Any]


@dataclass(frozen=True)
class History:
    """What a replay is given: the fleet's file, the entries in order of recording, the last instant."""

    fleet: dict[str, Any]
    entries: list[Line]
    until: str


@dataclass
class Act:
    """Something done at `at` and told at `told`; or a moment to tamper with the log (kind in capitals)."""

    kind: str
    at: datetime
    told: datetime
    data: dict[str, Any] = field(default_factory=dict)


def text(moment: datetime) -> str:
    stem = moment.strftime("%Y-%m-%dT%H:%M:%S")
    return stem + (f".{moment.microsecond:06d}".rstrip("0") if moment.microsecond else "") + "Z"


def history(seed: int) -> History:
    """The history of one seed."""
    rng = random.Random(f"history {seed}")
    eve = datetime.fromisoformat(rng.choice(EVES)).replace(tzinfo=UTC)
    fleet = make_fleet(rng, eve)
    lines: list[Line] = []
    for machine in fleet["machine"]:
        lines += Telling(rng, fleet, machine, eve).log()
    lines.sort(key=lambda line: datetime.fromisoformat(line["recorded_at"]))
    last = datetime.fromisoformat(lines[-1]["recorded_at"])
    return History(fleet, lines, text(last + rng.choice([0 * HOUR, HOUR, 9 * HOUR, 3 * DAY, 8 * DAY])))


class Telling:
    """One machine's nights, and how they came to be told."""

    def __init__(self, rng: random.Random, fleet: dict[str, Any], machine: dict[str, Any], eve: datetime) -> None:
        self.rng, self.fleet, self.machine = rng, fleet, machine
        self.began = datetime.fromisoformat(machine["commissioned_at"])
        self.days = rng.randint(3, 7)
        # On a coarse grid instants often coincide, and what coincides is what readings differ about.
        self.grid = rng.choice([1, 5, 15, 30])
        self.eve, self.acts, self.lines = eve, list[Act](), list[Line]()

    def maybe(self, chance: float) -> bool:
        return self.rng.random() < chance

    def span(self, low: float, high: float) -> timedelta:
        """Between `low` and `high` hours, on the grid, seldom off it."""
        ticks = round(self.rng.uniform(low, high) * 60 / self.grid)
        odd = timedelta(seconds=self.rng.randint(1, 59)) if self.maybe(0.03) else timedelta()
        return ticks * self.grid * MINUTE + odd

    # -------------------------------------------------------------- what was done

    def log(self) -> list[Line]:
        for day in range(self.days):
            evening = self.eve + day * DAY + self.span(18, 30)
            if self.maybe(0.85):
                self.night(evening)
            elif self.maybe(0.6):
                self.tell([Act("not_used", evening, evening)])
            for _ in range(self.rng.choice([0, 1, 1, 2, 3])):
                self.by_day(self.eve + day * DAY + self.span(0, 24))
            for _ in range(self.rng.choice([0, 0, 1, 1, 2])):
                moment = self.eve + day * DAY + self.span(12, 40)
                kind = self.rng.choice(["VOID", "VOID", "CORRECT", "CORRECT", "EXCUSE", "EXCUSE", "TWICE"])
                self.acts.append(Act(kind, moment, moment))
        if self.maybe(0.15):
            moment = self.eve + self.days * DAY - self.span(0, 30)
            self.tell([Act("retired", moment, moment)])
        return self.record()

    def night(self, evening: datetime) -> None:
        """One night's work: out, perhaps out again, what is done in the closing and after it, away."""
        acts: list[Act] = []

        def add(kind: str, at: datetime, chance: float = 1.0) -> None:
            if self.maybe(chance):
                acts.append(Act(kind, at, at))

        add("unplug", evening - self.span(0, 0.5), 0.4)
        add("prepared", evening - self.span(-0.5, 3), 0.4)
        add("start", evening, 0.85)
        add("start", evening + self.span(0, 0.3), 0.15)
        away = evening + self.span(0.5, self.rng.choice([2, 6, 6, 12]))
        add("start", evening + self.span(0.5, 6), 0.2)
        for kind in ("rinse", "squeegee", "charge", "empty", "rinse", "charge"):
            add(kind, away - self.span(-0.6, 1.5), 0.45)
        add("unplug", away - self.span(-1, 1), 0.1)
        add("put_away", away, 0.85)
        again = away
        while self.maybe(0.3):
            again += self.span(0, 3)
            add("put_away", again)
            add("unplug", again - self.span(0, 1), 0.15)
        for kind in ("rinse", "squeegee", "charge"):
            add(kind, away + self.span(0, 12), 0.3)
        self.tell(acts)

    def by_day(self, at: datetime) -> None:
        """What happens to a machine besides its nights; seldom when some site's clocks may be changing."""
        rng = self.rng
        if self.maybe(0.2):
            midnight = at.replace(hour=0, minute=0, second=0)
            at = midnight + rng.choice([4, 5, 15]) * HOUR + rng.choice([0, 15, 30, 45]) * MINUTE
        kind = rng.choice([
            "watering", "watering", "filter", "filter", "segments", "segments", "segments", "segment_change",
            "fault", "repair_requested", "repaired", "held", "released", "out_of_service", "in_service",
            "moved", "battery_fitted", "ordered", "ordered", "RECEIVED", "note", "start", "put_away",
        ])  # fmt: skip
        data: dict[str, Any] = {}
        if kind == "segments":
            data = {"left_um": [rng.choice(LENGTHS) for _ in range(rng.choice([1, 1, 2, 3]))]}
        elif kind == "segment_change" and self.maybe(0.3):
            data = {"left_um": [rng.choice(LENGTHS[3:])]}
        elif kind in ("held", "out_of_service"):
            data = {"why": "waiting for a part"}
        elif kind == "moved":
            data = {"site": rng.choice(self.fleet["site"])["code"]}
        elif kind == "battery_fitted":
            data = {"battery": rng.choice(["flooded", "flooded", "sealed", "lithium"])}
        elif kind == "ordered":
            data = rng.choice([{}, {"part": "segments", "qty": 3}, {"part": "DS-3"}, {"part": "hose"}])
        elif kind == "watering" and self.maybe(0.3):
            data = {"water_ml": 2100}
        if kind.isupper():
            self.acts.append(Act(kind, at, at))
        else:
            self.tell([Act(kind, at, at, data)])

    # -------------------------------------------------------------- when it was told

    def tell(self, acts: list[Act]) -> None:
        """Say when these acts were told: at once, from a phone out of reach, in pieces, singly late."""
        manner = self.rng.choice(["at once", "at once", "at once", "in one", "in pieces", "singly"])
        last = max((act.at for act in acts), default=self.eve)
        batch = last + self.span(0, self.rng.choice([1, 4, 20]))
        for act in acts:
            if manner == "in one":
                act.told = batch
            elif manner == "in pieces":
                act.told = batch + self.rng.choice([0, 0, 1, 3, 10, 11]) * MINUTE
            elif manner == "singly" and self.maybe(0.4):
                act.told = act.at + self.span(0, 14)
            elif self.maybe(0.05):
                act.told = act.at - self.rng.randint(1, 5) * MINUTE  # the phone's clock is ahead
            elif self.maybe(0.1):
                act.told = act.at + timedelta(
                    seconds=self.rng.randint(0, 90), microseconds=self.rng.choice([0, 250000])
                )
        self.acts += acts

    # -------------------------------------------------------------- what the log holds

    def record(self) -> list[Line]:
        first = {"site": self.machine["site"], "battery": self.machine["battery"]}
        self.write("commissioned", self.began, self.began + self.rng.choice([0, 0, 1, 90]) * MINUTE, first)
        since = datetime.fromisoformat(self.lines[0]["recorded_at"])
        self.rng.shuffle(self.acts)
        for act in sorted(self.acts, key=lambda act: act.told):
            if act.told < since or act.at < self.began:
                continue
            if act.kind.isupper():
                getattr(self, act.kind.lower())(act.told)
            else:
                self.write(act.kind, act.at, act.told, act.data)
        return self.lines

    def write(self, kind: str, at: datetime, told: datetime, data: dict[str, Any]) -> None:
        self.lines.append({
            "id": str(uuid.UUID(int=self.rng.getrandbits(128), version=4)), "machine": self.machine["code"],
            "kind": kind, "occurred_at": text(at), "recorded_at": text(told),
            "reporter": "sup" if kind in LEADERS else "ana", "channel": "form", "data": dict(data),
        })  # fmt: skip

    def strikable(self) -> list[Line]:
        struck = {line["data"]["entry"] for line in self.lines if line["kind"] == "void"}
        fixed = ("void", "commissioned")
        return [line for line in self.lines if line["kind"] not in fixed and line["id"] not in struck]

    def void(self, now: datetime) -> Line | None:
        if not self.strikable():
            return None
        # What was told last is what people take back; older things are struck too.
        line = self.rng.choice(self.strikable()[-self.rng.choice([3, 10, 80]) :])
        self.write("void", now, now, {"entry": line["id"], "why": "slip"})
        return line

    def correct(self, now: datetime) -> None:
        old = self.void(now)
        if old is None:
            return
        kind, data = old["kind"], {**old["data"], "corrects": old["id"]}
        if kind in ("start", "put_away", "rinse", "charge") and self.maybe(0.1):
            kind = self.rng.choice(["start", "put_away", "rinse", "charge"])
        if kind == "segments":
            data["left_um"] = [self.rng.choice(LENGTHS)]
        at = datetime.fromisoformat(old["occurred_at"])
        at += self.rng.choice([0 * HOUR, self.span(-0.5, 0.5), self.span(-3, 3)])
        self.write(kind, min(max(at, self.began), now), now, data)

    def twice(self, now: datetime) -> None:
        line = self.rng.choice(self.lines)
        self.lines.append({**line, "recorded_at": text(now)})

    def received(self, now: datetime) -> None:
        orders = [line for line in self.strikable() if line["kind"] == "ordered" and "corrects" not in line["data"]]
        if orders:
            self.write("received", now, now, {"order": self.rng.choice(orders)["id"]})

    def excuse(self, now: datetime) -> None:
        """Excuse a duty that is open now; of nights only one that is over, or nothing is there to excuse."""
        code = self.machine["code"]
        duties = [duty for duty in oracle.known_duties(self.fleet, self.lines, code, text(now)) if not duty.ended]
        duties = [duty for duty in duties if duty.name != "night" or duty.due <= now]
        if not duties:
            return
        duty = self.rng.choice(duties)
        back = self.span(0, self.rng.choice([2, 12])) if self.maybe(0.2) else 0 * HOUR
        data = {"duty": duty.name, "opened_by": duty.opened_by, "why": "closed"}
        self.write("excused", max(now - back, self.began), now, data)
