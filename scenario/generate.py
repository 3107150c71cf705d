"""Make the nights: `python -m scenario --seed 7 --nights 120 --out DIR`.

Promises the same bytes for the same seed and number of nights, on every machine; reads nothing but fleet.toml; and
writes five files that README.md describes. It knows what it meant and never asks the program.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from scenario import ordinary, truth, walls
from scenario.book import Book, Entry
from scenario.care import Care, gone
from scenario.fleet import Fleet, load
from scenario.plan import STORIES, Calendar, draw
from scenario.shift import Shift, State

FIRST = date(2026, 1, 10)
"""The evening of the day on which fleet.toml has the machines commissioned."""
FEWEST, MOST = 14, 330


@dataclass
class Nights:
    """All that one run made up."""

    fleet: Fleet
    book: Book
    truth: list[dict[str, Any]]
    states: dict[str, State]
    first: date
    until: datetime


def make(seed: int, nights: int = 120) -> Nights:
    """Make up so many nights of the whole fleet. Raises ValueError for fewer or more than it has stories for."""
    if not FEWEST <= nights <= MOST:
        raise ValueError(f"the scenario makes {FEWEST} to {MOST} nights, not {nights}")
    return _Simulation(seed, nights).run()


class _Simulation:
    """The fleet, night after night."""

    def __init__(self, seed: int, nights: int) -> None:
        self.rng = random.Random(f"kittiwake {seed}")
        self.fleet = load()
        self.book = Book(self.rng)
        first = self.first = FIRST
        # Morning after the last night, before the noon on which the weekly rounds fall due.
        self.until = walls.at(self.fleet.sites["north-slip"].zone, first + nights * walls.DAY, "09:00")
        self.days = [first + number * walls.DAY for number in range(nights)]
        self.states: dict[str, State] = {}
        self.cares: dict[str, Care] = {}
        calendars: dict[str, Calendar] = {}
        for machine in self.fleet.machines:
            site = self.fleet.sites[machine.site]
            calendars[machine.code] = Calendar(walls.nights(site.rule, first, nights))
        self._events(calendars)
        draw(self.rng, self.fleet, calendars, nights)
        for machine in self.fleet.machines:
            site = self.fleet.sites[machine.site]
            lengths = [self.rng.randrange(7_500, machine.new_um + 1, 100)] * machine.heads
            state = State(machine, site, machine.battery, lengths, self.rng.randrange(200, 900) * 3600)
            state.stood.append((machine.commissioned, site))
            self.states[machine.code] = state
            self.cares[machine.code] = Care(self.book, self.rng, state, calendars[machine.code])
            self._commission(state)

    def _events(self, calendars: dict[str, Calendar]) -> None:
        """What happens once in these nights: a machine moves, two get a new battery, one leaves."""
        for code, share, event in (
            ("E4B", 0.6, "move fogbell"), ("D3H", 0.35, "battery flooded"), ("T3R", 0.7, "battery sealed"),
            ("B8F", 0.92, "retire"),
        ):  # fmt: skip
            dates = calendars[code].dates
            calendars[code].events.setdefault(dates[round(len(dates) * share)], []).append(event)
            if event == "retire":
                del dates[round(len(dates) * share) :]

    def _commission(self, state: State) -> None:
        """The first entry of its log, as the fleet file has it."""
        row, at = state.machine.row, state.machine.commissioned
        data = {key: row[key] for key in ("site", "battery", "serial", "battery_set", "warranty_from") if key in row}
        owner = next(person for person in self.fleet.people.values() if person.role == "owner")
        entry = self.book.post(owner, state.machine.code, "commissioned", at, **data)
        care = self.cares[state.machine.code]
        for duty, latest in (("watering", 6), ("filter", 6), ("segments", 12)):
            if duty != "watering" or state.battery == "flooded":
                care.renew(duty, entry)
                care.first_on[duty] = self.rng.randrange(min(latest, len(care.calendar.dates) - 1))

    def run(self) -> Nights:
        """Every night, every site, every machine; then what must have been noticed."""
        for day in self.days:
            for code, care in self.cares.items():
                for event in care.calendar.events.get(day, ()):
                    self._event(code, event, day)
            for site_code in self.fleet.sites:
                self._site_night(site_code, day)
        for entry in list(self.book.entries):
            if entry.kind == "retired":
                self.book.close(entry.machine, entry.recorded)
        rows = truth.lines(self.book, self.fleet, self.states, self.cares, self.until)
        return Nights(self.fleet, self.book, rows, self.states, self.first, self.until)

    def _event(self, code: str, event: str, day: date) -> None:
        """Something that a supervisor enters on the afternoon before the night."""
        state, care = self.states[code], self.cares[code]
        boss, at = state.site.supervisor, walls.at(state.site.zone, day, "14:00")
        what, _space, rest = event.partition(" ")
        if what == "move":
            self.book.post(boss, code, "moved", at, site=rest)
            state.site = self.fleet.sites[rest]
            state.stood.append((at, state.site))
        elif what == "battery":
            entry = self.book.post(boss, code, "battery_fitted", at, battery=rest, set=f"set-{code.lower()}-2")
            state.battery = rest
            care.due.pop("watering", None)
            if rest == "flooded":
                care.renew("watering", entry)
        elif what == "retire":
            self.book.post(boss, code, "retired", at, why="returned to the lessor")
            state.retired = True

    def _site_night(self, site_code: str, day: date) -> None:
        """One cleaner, alone, with the site's machines."""
        shifts = []
        working = [s for s in self.states.values() if s.site.code == site_code and not s.retired]
        working = [s for s in working if day in self.cares[s.machine.code].calendar.dates]
        for number, state in enumerate(working):
            site = state.site
            begun = site.begins(day) + timedelta(minutes=5 + 12 * number + self.rng.randrange(6))
            parked = site.ends(day) - timedelta(minutes=80 - 25 * number - self.rng.randrange(3))
            who = site.cleaner(day)
            shifts.append(Shift(self.book, self.rng, state, site, who, day, begun, parked, lone=self._lone(who.sites)))
        todo = [(shift, self._rounds(shift)) for shift in shifts]
        stories = any(shift.day in self.cares[shift.code].calendar.stories for shift in shifts)
        if len(shifts) > 1 and not stories and not any(acts for _shift, acts in todo) and self.rng.random() < 0.15:
            ordinary.together(shifts)
            for shift in shifts:
                self.cares[shift.code].wear()
            return
        for shift, acts in todo:
            self._machine_night(shift, acts, calm=stories)

    def _lone(self, sites: Sequence[str]) -> bool:
        """Whether the sender's sites hold one machine only, so that its code may be left out."""
        return sum(1 for state in self.states.values() if state.site.code in sites) == 1

    def _rounds(self, shift: Shift) -> list[Any]:
        """Tonight's weekly rounds. None on a night that has a story."""
        care = self.cares[shift.code]
        calendar = care.calendar
        if shift.day in calendar.stories and not self._passes_over(care, shift.day):
            return []
        later = [day for day in calendar.dates if day > shift.day and day not in calendar.stories]
        following = walls.at(shift.site.zone, later[0] + walls.DAY, "03:30") if later else None
        return care.told_late(shift, care.rounds(shift, following))

    def _passes_over(self, care: Care, day: date) -> bool:
        """Whether a story falls away because it does not fit what the machine is like."""
        name, number = care.calendar.stories[day]
        if name != "segments_gone":
            return False
        falls = care.segments_are != "good" if number == 0 else care.bare is None
        if falls:
            del care.calendar.stories[day]
            care.calendar.plain.add(day)
        return falls

    def _machine_night(self, shift: Shift, acts: list[Any], *, calm: bool) -> None:
        care = self.cares[shift.code]
        story = care.calendar.stories.get(shift.day)
        if story is None:
            before = len(self.book.entries)
            ordinary.night(shift, acts, plain=shift.day in care.calendar.plain, calm=calm)
            care.heard(shift, [e for e in self.book.entries[before:] if e.machine == shift.code])
            care.wear()
            return
        name, number = story
        if name in STORIES:
            STORIES[name](shift)
            care.wear()
        elif name == "segments_gone":
            gone(shift, care, number)
        elif name == "silent_run":
            STORIES["silent"](shift)
        else:
            self._stands(shift, name, number)

    def _stands(self, shift: Shift, name: str, number: int) -> None:
        """Nights on which a machine is out of service, or held: some hold it to, one takes it out all the same."""
        boss, code, zone = shift.boss, shift.code, shift.site.zone
        following = self._night_after(shift)
        afternoon = walls.at(zone, shift.day, "15:30")
        back = walls.at(zone, following, "15:30")
        is_last = number == {"out_of_service": 3, "held": 2, "held_start": 2}[name]
        if name == "out_of_service":
            if number == 0:
                self.book.post(boss, code, "out_of_service", afternoon, why="waiting for a vacuum motor")
            if is_last:
                self.book.post(boss, code, "in_service", back)
            return
        if number == 0:
            self.book.post(boss, code, "held", afternoon, why="smell from the battery box")
        if name == "held_start" and number == 1:
            start = shift.start()
            made = shift.close(shift.parked)
            why = "taken out although it was held"
            shift.expect("held_start", start.id, start.recorded, why, ends=lambda _all: (made[0].recorded, "late"))
        else:
            shift.tell(shift.begun, [("not_used", {})])
        if is_last:
            self.book.post(boss, code, "released", back)

    def _night_after(self, shift: Shift) -> date:
        """The date of this machine's next night."""
        return next(day for day in self.cares[shift.code].calendar.dates if day > shift.day)


# ---------------------------------------------------------------- the files


def entry_line(entry: Entry) -> dict[str, Any]:
    """An entry as a line of ENTRIES."""
    return {
        "id": entry.id, "machine": entry.machine, "kind": entry.kind, "occurred_at": walls.rfc3339(entry.occurred),
        "recorded_at": walls.rfc3339(entry.recorded), "reporter": entry.reporter, "channel": entry.channel,
        "data": entry.data,
    }  # fmt: skip


def entries(nights: Nights) -> list[dict[str, Any]]:
    """All entries up to the end, in order of recording."""
    kept = [entry for entry in nights.book.entries if entry.recorded <= nights.until]
    return [entry_line(entry) for entry in sorted(kept, key=lambda entry: entry.recorded)]


def texts(nights: Nights) -> list[dict[str, Any]]:
    """All texts up to the end, in order of arrival."""
    kept = sorted((text for text in nights.book.texts if text.at <= nights.until), key=lambda text: text.at)
    return [{"id": one.id, "at": walls.rfc3339(one.at), "from": one.sender, "text": one.text} for one in kept]


def write(nights: Nights, folder: Path, seed: int, count: int) -> None:
    """Write the five files. Raises OSError."""
    folder.mkdir(parents=True, exist_ok=True)
    lines = entries(nights)
    _jsonl(folder / "texts.jsonl", texts(nights))
    _jsonl(folder / "entries.jsonl", lines)
    _jsonl(folder / "direct.jsonl", (e for e in lines if e["channel"] == "form" and e["kind"] != "commissioned"))
    _jsonl(folder / "truth.jsonl", nights.truth)
    period = {"seed": seed, "nights": count, "first": nights.first.isoformat(), "until": walls.rfc3339(nights.until)}
    (folder / "period.json").write_text(json.dumps(period, indent=1) + "\n", encoding="utf-8")


def _jsonl(file: Path, rows: Iterable[dict[str, Any]]) -> None:
    with file.open("w", encoding="utf-8", newline="\n") as out:
        out.writelines(json.dumps(row, ensure_ascii=False) + "\n" for row in rows)


def main(arguments: Sequence[str] | None = None) -> int:
    """The command line. Answers with the exit status."""
    parser = argparse.ArgumentParser(prog="python -m scenario", description="Make up nights of an invented fleet.")
    parser.add_argument("--seed", type=int, default=7, help="the same seed makes the same nights (default 7)")
    parser.add_argument("--nights", type=int, default=120, help=f"how many, {FEWEST} to {MOST} (default 120)")
    parser.add_argument("--out", type=Path, required=True, help="the folder to write to")
    given = parser.parse_args(arguments)
    try:
        nights = make(given.seed, given.nights)
    except ValueError as error:
        print(f"{error}. Nothing was written.", file=sys.stderr)
        return 2
    write(nights, given.out, given.seed, given.nights)
    told, made, due = len(texts(nights)), len(entries(nights)), len(nights.truth)
    print(f"{given.out}: {told} texts, {made} entries, {due} alerts that must come.", file=sys.stderr)
    return 0
