"""Alerts of one duty are numbered on, however the history that opens it was folded again."""

from __future__ import annotations

from collections.abc import Callable

from logbook.domain.instants import HOUR, MINUTE
from logbook.domain.watchman import EVERY
from logbook.store import folds
from tests.whole.stage import START, Stage

Make = Callable[..., Stage]


def test_a_duty_struck_and_said_anew_long_after_has_its_second_alert(make: Make) -> None:
    """Its first was closed before the copy from which the correction is folded in, and is remembered all the same."""
    one = make()
    told = one.tell("B7H", "fault", START).entries[0].id
    one.until(START + 5 * HOUR)
    assert [data["number"] for _k, _at, data in one.entries("B7H", "alert_raised") if data["duty"] == "fault"] == [1]
    one.tell("B7H", "repair_requested", who="lee")
    one.step()
    one.tell("B7H", "void", entry=told, why="slip", who="lee")
    for _ in range(3 * EVERY):
        one.now += 3 * MINUTE
        one.tell("B7H", "wipe")
    one.tell("B7H", "fault", one.now - 5 * HOUR, corrects=told)
    one.until(one.now + HOUR)
    numbers = [data["number"] for _k, _at, data in one.entries("B7H", "alert_raised") if data["duty"] == "fault"]
    assert numbers == [1, 2]
    uuid = one.machine("B7H")
    with one.program.store.read() as connection:
        book = one.program.intake.book(one.program.registry.current(connection), uuid)
        kept, made = folds.load(connection, uuid, book), folds.rebuild(connection, uuid, book)
    assert kept.ledger.active["fault", told].count == made.ledger.records["fault", told].count == 2
