"""Duties by weeks: of each duty and week, the worst word, and how many of the year were done in time.

Promises the counts of `logbook.domain.reporting` and no others. A week turns on Monday at noon, by the wall clock of
the site, so that no night is cut in two.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from logbook.domain.duties import DUTIES
from logbook.domain.instants import Instant
from logbook.domain.reporting import DEPARTURES, Judged, Word, count
from logbook.web.history.nights import night_of, noon

WEEKS = 52
_WORST: tuple[Word, ...] = ("missed", "late", "excused", "told_late", "kept")


@dataclass(frozen=True, slots=True)
class Cell:
    """One duty in one week: the worst of its words, and how many there were of it."""

    week: int
    worst: Word
    times: int


@dataclass(frozen=True, slots=True)
class DutyRow:
    """One duty over the year. Weeks in which nothing of it came due have no cell."""

    duty: str
    cells: tuple[Cell, ...]
    counts: Counter[Word]
    longest: Instant | None = None
    """The longest that any took from due to done, microseconds; None while none was late."""

    @property
    def on_time(self) -> int:
        """Done in time, those told late included."""
        return self.counts["kept"] + self.counts["told_late"]

    @property
    def all(self) -> int:
        """All that were judged; what is not yet due is none of them."""
        return sum(self.counts.values()) - self.counts["not_due"]


@dataclass(frozen=True, slots=True)
class Year:
    """52 weeks up to the moment known. `mondays`: the date on which each begins."""

    mondays: tuple[date, ...]
    begins: Instant
    rows: tuple[DutyRow, ...]
    counts: Counter[Word]
    standing: int
    """Missed so far: due has come, and they have not ended."""
    carded: int
    departures: tuple[Judged, ...]

    @property
    def on_time(self) -> int:
        """Done in time, those told late included."""
        return self.counts["kept"] + self.counts["told_late"]

    @property
    def all(self) -> int:
        """All that were judged."""
        return sum(self.counts.values()) - self.counts["not_due"]


def year(judged: Sequence[Judged], zone: ZoneInfo, known_at: Instant) -> Year:
    """The 52 weeks up to and with the one of `known_at`; the newest departure first."""
    tonight = night_of(known_at, zone)
    monday = tonight - timedelta(days=tonight.weekday())
    mondays = tuple(monday - timedelta(weeks=WEEKS - 1 - week) for week in range(WEEKS))
    starts = [noon(day, zone) for day in mondays]
    within = [each for each in judged if each.word == "not_due" or each.at >= starts[0]]
    rows = []
    for duty in DUTIES:
        own = [each for each in within if each.duty.duty == duty]
        if own:
            rows.append(DutyRow(duty, _cells(own, starts), count(own), _longest(own)))
    return Year(
        mondays, starts[0], tuple(rows), count(within),
        sum(each.word == "missed" and each.duty.ended_at is None for each in within),
        sum(each.card for each in within),
        tuple(each for each in reversed(within) if each.word in DEPARTURES),
    )  # fmt: skip


def _longest(own: Sequence[Judged]) -> Instant | None:
    late = (each.duty for each in own if each.word == "late")
    return max((duty.ended_at - duty.due for duty in late if duty.ended_at is not None), default=None)


def _cells(own: Sequence[Judged], starts: Sequence[Instant]) -> tuple[Cell, ...]:
    by_week: dict[int, Counter[Word]] = {}
    for each in own:
        if each.word == "not_due":
            continue
        week = bisect_right(starts, each.at) - 1
        by_week.setdefault(week, Counter())[each.word] += 1
    found = []
    for week, words in sorted(by_week.items()):
        worst = next(word for word in _WORST if words[word])
        found.append(Cell(week, worst, words[worst]))
    return tuple(found)
