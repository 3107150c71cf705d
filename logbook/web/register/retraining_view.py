"""Where training would help: duties counted by site, never by person. Pure.

Promises that where a site has so few cleaners that a count would be one person's, nothing shorter than four weeks is
counted, and that this is said. It counts with the words of `logbook.domain.reporting`, and with no others.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from logbook.domain.instants import DAY, Instant
from logbook.domain.reporting import Judged, Word
from logbook.domain.wording.mark import mark

WEEKS = (1, 4, 13, 26)
FEW = 3
"""With fewer cleaners than these, somebody who works there reads a count as a colleague's."""
LEAST = 4
"""Weeks: the shortest span that is counted at such a site."""
TRAINABLE = ("rinse", "charge", "squeegee", "watering", "filter", "segments", "prepared", "night", "segments_gone")
"""Duties of those who work with the machine; the others are their leaders' own."""
TOPICS = (
    mark("putting the machine away: empty, rinse, squeegee"), mark("charging"), mark("battery watering"),
    mark("cleaning the filter"), mark("measuring the segments"), mark("what to look at before the start"),
    mark("telling the log what was done"), mark("acid, hydrogen, wet floors: working safely"),
)  # fmt: skip
BY = (mark("supervisor"), mark("owner"), mark("the dealer"), mark("the maker"))


@dataclass(frozen=True, slots=True)
class Row:
    """One duty at one site. `owed` is what was kept, told late, late and missed; excused ones stand apart."""

    duty: str
    owed: int
    kept: int
    told_late: int
    late: int
    missed: int
    excused: int

    @property
    def undone(self) -> int:
        """Late or missed: what training is for."""
        return self.late + self.missed

    @property
    def share(self) -> int:
        """Late or missed, in percent of what was owed."""
        return round(100 * self.undone / self.owed) if self.owed else 0


@dataclass(frozen=True, slots=True)
class SiteCount:
    """One site's rows, the worst first. `few`: a count would be one person's; `hidden`: so it is not shown."""

    site: str
    name: str
    few: bool
    hidden: bool
    rows: tuple[Row, ...]


def counts(
    found: Iterable[Judged], sites: Mapping[str, str], cleaners: Mapping[str, int], weeks: int, now: Instant
) -> list[SiteCount]:
    """`sites`: code to name, those the reader may see; `cleaners`: how many work at each; duties of others are left out."""
    since = now - weeks * 7 * DAY
    told: dict[str, dict[str, Counter[Word]]] = defaultdict(lambda: defaultdict(Counter))
    for each in found:
        duty = each.duty
        if duty.site in sites and duty.duty in TRAINABLE and since < duty.due <= now:
            told[duty.site][duty.duty][each.word] += 1
    made = []
    for code, name in sorted(sites.items(), key=lambda each: each[1]):
        few = cleaners.get(code, 0) < FEW
        hidden = few and weeks < LEAST
        rows = [] if hidden else [_row(duty, words) for duty, words in told[code].items()]
        rows.sort(key=lambda row: (-row.share, -row.undone, row.duty))
        made.append(SiteCount(code, name, few, hidden, tuple(rows)))
    return made


def _row(duty: str, words: Counter[Word]) -> Row:
    kept, told_late, late, missed = (words[word] for word in ("kept", "told_late", "late", "missed"))
    return Row(duty, kept + told_late + late + missed, kept, told_late, late, missed, words["excused"])
