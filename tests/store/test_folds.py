"""What is kept of machines and of the register equals what their logs make, and is made anew where it is gone."""

from __future__ import annotations

import random
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest
from sqlalchemy import update

from logbook.domain.alerts import Record
from logbook.domain.door import Refused
from logbook.domain.instants import HOUR, MINUTE, parse
from logbook.domain.watchman import EVERY, Watchman
from logbook.store import cache, folds, tables
from tests.whole.histories import history
from tests.whole.live import drowsy, live
from tests.whole.stage import START, Stage, fleet, new_database, stage

Make = Callable[..., Stage]


def state(watchman: Watchman) -> dict[str, Any]:
    """All that a watchman knows, as plain values; what is closed in the ledger waits for the clock to be let go of."""
    return {
        "machine": msgspec.to_builtins(msgspec.msgpack.decode(watchman.machine.freeze())),
        "open": {
            "/".join(key): msgspec.to_builtins(settled(record))
            for key, record in sorted(watchman.ledger.active.items())
            if record.raised_at is not None or record.waits()
        },
    }


def settled(record: Record) -> Record:
    """Since when it is overdue matters until the alert is raised; what is struck and said anew in one instant, but
    in two appends, is two steps to who heard it and one to who reads the log."""
    return record if record.raised_at is None else msgspec.structs.replace(record, since=0, reached=False)


def both(one: Stage, code: str) -> tuple[Watchman, Watchman]:
    """As it is kept, and as the log makes it."""
    with one.program.store.read() as connection:
        register = one.program.registry.current(connection)
        uuid = register.by_code[code].uuid
        book = one.program.intake.book(register, uuid)
        kept, made = folds.load(connection, uuid, book), folds.rebuild(connection, uuid, book)
        made.advance(kept.now)
        known = {row.duty + row.opened_by: row for row in cache.overdue_of(connection, uuid)}
        for key, record in made.ledger.records.items():
            row = known[key[0] + key[1]]
            old = msgspec.msgpack.decode(row.state, type=Record)
            assert (old.count, old.raised_at, old.gone, old.over) == (
                record.count, record.raised_at, record.gone, record.over,
            ), key  # fmt: skip
        return kept, made


def anew(one: Stage) -> None:
    """Empty both caches."""
    one.program.store.write(cache.forget)


@pytest.mark.parametrize("seed", range(100, 108))
@pytest.mark.parametrize("way", [live, drowsy])
def test_what_is_kept_is_what_the_log_makes(seed: int, way: Callable[..., None], tmp_path: Path) -> None:
    one = stage(new_database(tmp_path), seed=seed)
    try:
        way(one, history(seed), random.Random(seed))
        for code in one.register.by_code:
            kept, made = both(one, code)
            assert state(kept) == state(made)
    finally:
        one.close()


@pytest.mark.parametrize("seed", range(110, 114))
def test_a_life_goes_on_the_same_after_the_caches_were_emptied(seed: int, tmp_path: Path) -> None:
    """Half of a history, the caches emptied, the other half: the same alerts as without."""
    told = history(seed)
    logs = []
    for emptied in (False, True):
        one = stage(new_database(tmp_path), seed=seed)
        try:
            rng = random.Random(seed)
            steps = 0

            def act(at: int | None = None, *, go: Any = one.step, on: Stage = one, empty: bool = emptied) -> Any:
                nonlocal steps
                steps += 1
                if empty and steps % 7 == 0:
                    anew(on)
                return go(at)

            one.step = act  # type: ignore[method-assign,assignment]
            live(one, told, rng)
            logs.append([one.entries(code, "alert_raised", "alert_cleared") for code in sorted(one.register.by_code)])
        finally:
            one.close()
    assert strip(logs[0]) == strip(logs[1])


def strip(logs: Any) -> Any:
    return [[(k, at, {n: v for n, v in d.items() if n != "serial"}) for k, at, d in rows] for rows in logs]


def test_who_only_reads_may_ask_for_what_is_not_kept(make: Make) -> None:
    """After an update, or a backup put back, what is kept may be unusable: pages and texts must work all the same."""
    one = make()
    one.tell("B7H", "start")
    uuid = one.machine("B7H")
    for spoil in (anew, spoilt):
        spoil(one)
        with one.program.store.read() as connection:
            register = one.program.registry.current(connection)
            watchman = folds.load(connection, uuid, one.program.intake.book(register, uuid))
        assert watchman.machine.use is not None
        assert watchman.machine.use.first == START
    one.tell("B7H", "put_away")
    kept, made = both(one, "B7H")
    assert state(kept) == state(made)


def spoilt(one: Stage) -> None:
    """A state that another version has written."""
    one.program.store.write(lambda c: c.execute(update(tables.snapshot).values(state=b"\xc1")))


def test_copies_are_thinned_and_late_news_starts_from_one(make: Make) -> None:
    one = make()
    for number in range(EVERY * 40 // 8):
        one.now = START + number * MINUTE
        one.program.intake.record([one.draft("B7H", "rinse") for _ in range(8)], one.by("ana"))
    uuid = one.machine("B7H")
    places = one.read(lambda c: cache.frontiers(c, uuid))
    assert 12 <= len(places) <= 26
    assert places == sorted(places, reverse=True)
    one.tell("B7H", "start", START + 2 * HOUR)
    kept, made = both(one, "B7H")
    assert state(kept) == state(made)


def test_the_log_is_believed_about_an_alert_that_no_rule_explains(make: Make) -> None:
    """An alert of another day's rules is cleared as withdrawn, and its number is not given twice."""
    one = make(policy={"rinse.grace": "PT30M"})
    one.tell("B7H", "put_away")
    one.step(START + 31 * MINUTE)
    raised = one.entries("B7H", "alert_raised")
    assert [data["duty"] for _k, _at, data in raised] == ["charge", "rinse", "squeegee"]
    with one.program.store.read() as connection:
        register = one.program.registry.current(connection)
        uuid = register.by_code["B7H"].uuid
        ledger = folds.rebuild(connection, uuid, one.program.intake.book(register, uuid)).ledger
    key = ("rinse", "an entry that opens nothing")
    ledger.did(key, 3, raised=True, at=one.now, due_at=START)
    said = ledger.decide(one.now, lambda _duty: 0)
    assert [(each.duty.key, each.number, each.outcome) for each in said] == [(key, 3, "withdrawn")]


def test_an_entry_that_comes_in_the_instant_of_an_alert_is_told_of_after_it(make: Make) -> None:
    """The clock acted, and then somebody's word was recorded at the very same instant. Folded anew, both count."""
    one = make(policy={"charge": False, "squeegee": False})
    one.tell("B7H", "put_away")
    due = START + 30 * MINUTE
    one.step(due)
    assert one.alert("B7H", "rinse").cleared_at is None
    one.tell("B7H", "rinse", due)  # at the due instant itself: in time, heard just after
    anew(one)
    one.tell("B7H", "wipe")
    one.step()
    one.program.store.write(lambda c: c.execute(update(tables.due).values(at=due)))
    one.step()
    assert one.alert("B7H", "rinse").outcome == "told_late"
    kept, made = both(one, "B7H")
    assert state(kept) == state(made)


# ---------------------------------------------------------------------------------------------------- the register


def test_a_fleet_that_could_not_be_founded_can_be_founded_after_all(make: Make) -> None:
    one = make(apply=False)
    future = [{"code": "B7H", "site": "HX", "battery": "flooded", "commissioned_at": "2027-03-01T12:00:00Z"}]
    with pytest.raises(Refused, match="has not come yet"):
        one.apply(fleet(machine=future))
    one.apply(fleet())
    assert set(one.register.by_code) == {"B7H", "B8F"}


def test_a_register_does_not_change_under_the_hands_of_another_thread(make: Make) -> None:
    one = make()
    with one.program.store.read() as connection:
        mine = one.program.registry.current(connection)
    people = iter(mine.people.values())
    next(people)
    more = [*fleet()["person"], {"key": "new", "role": "cleaner", "name": "New", "phone": "+19025550119"}]
    other = threading.Thread(target=one.apply, args=(fleet(person=more),))
    other.start()
    other.join()
    assert len(list(people)) == 3  # and no "dictionary changed size during iteration"
    assert mine.person_by_key("new") is None
    assert one.register.person_by_key("new") is not None


def test_the_register_is_what_the_asking_transaction_sees(make: Make) -> None:
    one = make()
    with one.program.store.read() as older:
        assert len(one.program.registry.current(older).people) == 4
        one.apply(fleet(policy={"rinse.grace": "PT5M"}))
        assert "rinse.grace" not in one.program.registry.current(older).settings()
    assert one.register.settings() == {"rinse.grace": "PT5M"}
    assert parse("2026-03-02T12:00:00Z") == one.register.since
