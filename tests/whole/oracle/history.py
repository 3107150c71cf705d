"""What is known of one machine: its effective history at one step, the uses in it, and its numbers.

It never looks at an entry recorded after that step, and decides nothing about duties.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from . import moments

Place = tuple[datetime, float]
"""Where something stands in the effective order: its instant, then its seq. Seq 0 is before every entry."""

DEFAULTS: dict[str, Any] = {
    "rinse.grace": "PT30M", "charge.grace": "PT30M", "squeegee.grace": "PT30M",
    "watering.every": "P7D", "filter.every": "P7D",
    "segments.every": "P14D", "segments.reorder_at": "6.35 mm",
    "prepared.grace": "PT15M", "prepared": False,
    "fault.answer_within": "PT4H", "repair.within": "P5D", "delivery.within": "P10D", "night.grace": "PT1H",
    "settle": "PT10M", "longest_use": "PT10H", "closing": "PT2H", "day_turns": "12:00",
}  # fmt: skip


@dataclass(frozen=True)
class Entry:
    """One recorded entry, with its instant as the rules take it."""

    seq: int
    id: str
    kind: str
    at: datetime
    recorded: datetime
    data: dict[str, Any]

    @property
    def place(self) -> Place:
        return self.at, self.seq


@dataclass
class Use:
    """One use: its starts (none when assumed), the `put_away` that ended it if one did, when it began."""

    starts: list[Entry]
    put_away: Entry | None
    began: Place

    @property
    def identity(self) -> Entry:
        parts = [*self.starts, self.put_away] if self.put_away else self.starts
        return min(parts, key=lambda entry: entry.seq)


class Numbers:
    """The policy: the machine's own, else its site's, else the fleet's, else the default."""

    def __init__(self, fleet: dict[str, Any], machine: str) -> None:
        self.sites = {site["code"]: site for site in fleet.get("site", [])}
        mine: list[dict[str, Any]] = [row for row in fleet.get("machine", []) if row["code"] == machine]
        self.machine: dict[str, Any] = mine[0] if mine else {"code": machine}
        self._fleet: dict[str, Any] = fleet.get("policy", {})

    def get(self, key: str, site: str) -> Any:
        """The value in force for this machine while it stands at `site`."""
        mine, here = self.machine.get("policy", {}), self.sites[site].get("policy", {})
        for level in (mine, here, self._fleet, DEFAULTS):
            if key in level:
                return level[key]
        return True  # every duty is on unless someone switched it off

    def zone(self, site: str) -> str:
        return str(self.sites[site]["zone"])

    def after(self, moment: datetime, key: str, site: str) -> datetime:
        """`moment` plus the duration named `key`, by the clock of `site`."""
        return moments.later(moment, self.get(key, site), self.zone(site), self.get("day_turns", site))


@dataclass
class Known:
    """Everything known of one machine at one step."""

    numbers: Numbers
    entries: list[Entry]
    history: list[Entry] = field(init=False)

    def __post_init__(self) -> None:
        struck = {entry.data["entry"] for entry in self.entries if entry.kind == "void"}
        self.history = sorted((e for e in self.entries if e.id not in struck), key=lambda e: e.place)

    def root(self, ident: str) -> str:
        """The id of the first entry in a chain of corrections: the one that names a duty."""
        named = {e.id: str(e.data["corrects"]) for e in self.entries if e.data.get("corrects")}
        while ident in named:
            ident = named[ident]
        return ident

    def of(self, *kinds: str) -> list[Entry]:
        return [entry for entry in self.history if entry.kind in kinds]

    def last(self, place: Place, *kinds: str) -> Entry | None:
        """The last entry of these kinds at or before a place in the effective order."""
        found = [entry for entry in self.of(*kinds) if entry.place <= place]
        return found[-1] if found else None

    def site(self, place: Place) -> str:
        entry = self.last(place, "commissioned", "moved")
        # An assumed start can lie before the commissioning itself.
        return str((entry or self.of("commissioned")[0]).data["site"])

    def battery(self, place: Place) -> str:
        entry = self.last(place, "commissioned", "battery_fitted")
        assert entry is not None
        return str(entry.data["battery"])

    def held(self, place: Place) -> bool:
        entry = self.last(place, "held", "released")
        return entry is not None and entry.kind == "held"

    def out_of_service(self, place: Place) -> bool:
        entry = self.last(place, "out_of_service", "in_service")
        return entry is not None and entry.kind == "out_of_service"

    @property
    def retired(self) -> Entry | None:
        found = self.of("retired")
        return found[0] if found else None

    def cut_off(self, use: Use) -> datetime:
        """The last instant at which the use is still open by itself: `longest_use` after its latest start."""
        latest = use.starts[-1]
        return self.numbers.after(latest.at, "longest_use", self.site(latest.place))

    def uses(self) -> list[Use]:
        """Every use, in the order in which they began."""
        uses: list[Use] = []
        current: Use | None = None
        previous: Entry | None = None  # the put_away before, repeats included
        parted = False  # a start or an unplug since then
        for entry in self.of("start", "unplug", "put_away"):
            if entry.kind == "unplug":
                parted = True
            elif entry.kind == "start":
                parted = True
                if current is not None and entry.at <= self.cut_off(current):
                    current.starts.append(entry)
                else:
                    current = Use([entry], None, entry.place)
                    uses.append(current)
            else:
                closing = moments.exact(self.numbers.get("closing", self.site(entry.place)))
                if current is not None and entry.at <= self.cut_off(current) + closing:
                    current.put_away = entry
                elif previous is not None and entry.at <= previous.at + closing and not parted:
                    pass  # only says it again
                else:
                    began = entry.at - closing
                    if previous is not None:
                        began = max(began, previous.at)
                    uses.append(Use([], entry, (began, 0)))
                current, previous, parted = None, entry, False
        return uses


def read(machine: str, fleet: dict[str, Any], lines: list[dict[str, Any]]) -> tuple[Numbers, list[Entry]]:
    """One machine's numbers and log from all the lines of a file. A repeated id adds nothing."""
    log: list[Entry] = []
    for line in lines:
        if line["machine"] != machine or line["id"] in {entry.id for entry in log}:
            continue
        recorded = moments.parse(line["recorded_at"])
        occurred = min(moments.parse(line["occurred_at"]), recorded)
        assert occurred.tzinfo is UTC
        data = line.get("data") or {}
        log.append(Entry(len(log) + 1, line["id"], line["kind"], occurred, recorded, data))
    return Numbers(fleet, machine), log
