"""The two readings of a log: as recorded, and as it counted at an instant."""

from __future__ import annotations

from logbook.domain.history_rows import Told, rows
from logbook.domain.instants import HOUR, MINUTE

T = 1_800_000_000_000_000


def told(seq: int, kind: str, happened: int, recorded: int | None = None, **data: object) -> Told:
    recorded = happened if recorded is None else recorded
    return Told(seq, f"e{seq}", kind, T + happened * HOUR, T + recorded * HOUR, "cleaner", "text", data, {})


LOG = [
    told(1, "commissioned", 0, site="slip"),
    told(2, "rinse", 5),
    told(3, "charge", 4, 6),
    told(4, "void", 7, entry="e2"),
    told(5, "moved", 8, site="rock"),
    told(6, "rinse", 8, 21),
]


def twelve(site: str, at: int) -> int:
    return 12 * HOUR


def ids(found: list) -> list[str]:
    return [row.told.id for row in found]


def test_as_it_was_recorded_with_what_was_struck():
    found = rows(LOG, twelve)
    assert ids(found) == ["e1", "e2", "e3", "e4", "e5", "e6"]
    assert [row.struck_by for row in found] == [None, "e4", None, None, None, None]
    assert [row.site for row in found] == ["slip"] * 4 + ["rock"] * 2


def test_the_effective_history_known_at_an_instant():
    assert ids(rows(LOG, twelve, known_at=T + 6 * HOUR - 1)) == ["e1", "e2"]
    assert ids(rows(LOG, twelve, known_at=T + 6 * HOUR)) == ["e1", "e3", "e2"]  # recorded at K counts
    assert ids(rows(LOG, twelve, known_at=T + 7 * HOUR)) == ["e1", "e3", "e4"]
    assert ids(rows(LOG, twelve, known_at=T + 30 * HOUR)) == ["e1", "e3", "e4", "e5", "e6"]
    assert rows(LOG, twelve, known_at=T - 1) == []


def test_more_than_the_limit_is_late_by_the_policy_of_site_and_instant():
    asked = []

    def late_after(site, at):
        asked.append((site, at))
        return 13 * HOUR

    assert [row.late for row in rows(LOG, late_after)] == [False] * 6  # 13 h behind is not more than 13 h
    assert asked[-1] == ("rock", T + 21 * HOUR)
    assert rows(LOG, lambda site, at: 13 * HOUR - 1)[5].late


def test_from_and_until_are_included_and_by_what_happened():
    found = rows(LOG, twelve, since=T + 4 * HOUR, until=T + 5 * HOUR)
    assert ids(found) == ["e2", "e3"]
    assert ids(rows(LOG, twelve, since=T + 5 * HOUR + MINUTE)) == ["e4", "e5", "e6"]


def test_an_erased_word_is_null():
    erased = LOG[1]._replace(private={"note": None})
    assert rows([erased], twelve)[0].as_json()["data"] == {"note": None}
