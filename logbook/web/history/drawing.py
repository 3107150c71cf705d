"""Where everything of a chart goes: nights and weeks as shapes with their places, for templates to print as SVG.

Promises that no two marks of a line lie on each other, and that every shape stands in the words as well. Lengths are
in the chart's own units. It knows no language: words come in with the shapes they belong to.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta

from logbook.domain.instants import Instant
from logbook.domain.reporting import Judged
from logbook.domain.wallclock import wall, zone
from logbook.web.history.nights import Night
from logbook.web.history.weeks import DutyRow

DAY_MINUTES = 24 * 60
MARKS = {
    "empty": "emptied", "rinse": "rinsed", "watering": "watered", "segments": "measured", "segment_change": "changed",
    "fault": "fault",
}  # fmt: skip
"""The acts that are drawn, each by its mark; the others stand in the words alone."""
_LETTER = 8.1
"""How wide a letter of an axis is, about, in the wide chart's units."""


@dataclass(frozen=True, slots=True)
class Plan:
    """One form of the chart of nights. `left`: where noon is; `width`: from noon to noon."""

    left: float
    width: float
    row: float
    gap: float
    said: float = 0

    def x(self, at: Instant, night: Night) -> float:
        """The place of an instant, by the wall clock: an hour that comes twice is drawn once."""
        since = wall(at, zone(night.zone)) - datetime.combine(night.day, time(12))
        minutes = min(max(since / timedelta(minutes=1), 0), DAY_MINUTES)
        return round(self.left + self.width * minutes / DAY_MINUTES, 1)


WIDE = Plan(left=104, width=844, row=36, gap=15, said=20)
NARROW = Plan(left=0, width=340, row=30, gap=13)


@dataclass(frozen=True, slots=True)
class Bar:
    """Work or charging. `open`: which ends are not told: "", "left", "right", "both"."""

    what: str
    x: float
    width: float
    open: str


@dataclass(frozen=True, slots=True)
class Mark:
    """One mark: an act's, or a departure's word (late, missed, excused)."""

    what: str
    x: float


@dataclass(frozen=True, slots=True)
class Line:
    """One night as it is drawn. `y`: its top; `said`: the departures in words, at `said_x`."""

    night: Night
    y: float
    height: float
    bars: tuple[Bar, ...]
    marks: tuple[Mark, ...]
    now: float | None
    said: str
    said_x: float


def lines(
    nights: Sequence[Night], plan: Plan, words: Callable[[Judged], str], silence: Callable[[Night], str]
) -> tuple[list[Line], float]:
    """The lines of a chart, the oldest on top, and the height of all."""
    found, y = [], 0.0
    for night in nights:
        said, first = "", plan.left
        if plan.said:
            said = " · ".join(words(each) for each in night.departures)
            if night.departures:
                first = plan.x(night.departures[0].at, night)
            elif night.idle:
                said, first = silence(night), plan.left + plan.width * 0.36
        height = plan.row + (plan.said if night.departures and plan.said else 0)
        longest = plan.left + plan.width - len(said) * _LETTER
        found.append(
            Line(
                night, y, height, _bars(night, plan), _marks(night, plan),
                None if night.now is None else plan.x(night.now, night), said, round(max(min(first, longest), plan.left), 1),
            )
        )  # fmt: skip
        y += height
    return found, y


def _bars(night: Night, plan: Plan) -> tuple[Bar, ...]:
    found = []
    for spell in night.spells:
        left, right = plan.x(spell.begins, night), plan.x(spell.ends, night)
        ends = {(True, True): "", (False, True): "left", (True, False): "right", (False, False): "both"}
        width = round(max(right - left, 2), 1)
        found.append(Bar(spell.what, left, width, ends[spell.begun, spell.over]))
    return tuple(found)


def _marks(night: Night, plan: Plan) -> tuple[Mark, ...]:
    wanted = [(act.occurred_at, MARKS[act.kind]) for act in night.acts if act.kind in MARKS]
    wanted += [(each.at, each.word) for each in night.departures]
    # A start that came again and again would fill the line; each act once in a few minutes is enough.
    placed: list[Mark] = []
    for at, what in sorted(wanted):
        x = plan.x(at, night)
        if placed and placed[-1].what == what and x - placed[-1].x < 1:
            continue
        placed.append(Mark(what, max(x, placed[-1].x + plan.gap) if placed else x))
    # What was pushed out at the right comes back, from the end.
    limit = plan.left + plan.width - plan.gap / 2
    for index in range(len(placed) - 1, -1, -1):
        placed[index] = Mark(placed[index].what, round(min(placed[index].x, limit), 1))
        limit = placed[index].x - plan.gap
    return tuple(placed)


def hours(plan: Plan, every: int = 3) -> list[tuple[str, float]]:
    """The hours of the axis, noon to noon, and their places."""
    return [
        (f"{(12 + hour) % 24:02d}", round(plan.left + plan.width * hour / 24, 1)) for hour in range(0, 25, every)
    ]  # fmt: skip


# -- weeks ------------------------------------------------------------------------------------------------------

WEEK = 12.5
WEEK_LEFT = 210
HALF = 26


@dataclass(frozen=True, slots=True)
class WeekMark:
    """A departure's mark, or a told-late's, at its place."""

    what: str
    x: float


@dataclass(frozen=True, slots=True)
class WeekLine:
    """One duty's year, or half of it. `kept`: a path of one bar a week that was kept."""

    kept: str
    marks: tuple[WeekMark, ...]


def week_line(row: DutyRow, left: float, first: int = 0, last: int = 52) -> WeekLine:
    """Weeks `first` to before `last` of a duty, the first at `left`."""
    kept, marks = [], []
    for cell in row.cells:
        if not first <= cell.week < last:
            continue
        x = round(left + (cell.week - first + 0.5) * WEEK, 1)
        if cell.worst == "kept":
            kept.append(f"M{x:g} 9v14")
        else:
            marks.append(WeekMark(cell.worst, x))
    return WeekLine("".join(kept), tuple(marks))
