"""The watchman's fold: nothing but the effective history decides, in whatever order and pieces it was heard.

Histories are those of tests/whole/histories.py (three zones, one of them with half-hour offsets and one whose clocks
change by half an hour, both changes of the year, voids and corrections), and small ones that hypothesis shrinks.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from functools import cache
from itertools import groupby
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.domain.book import MachineBook
from logbook.domain.fleetentries import register_of
from logbook.domain.fleetfile import FleetFile
from logbook.domain.history import Entry, History
from logbook.domain.instants import HOUR, MINUTE, SECOND, Instant, parse
from logbook.domain.machine import FOREVER, Machine
from logbook.domain.watchman import EVERY, Memory, Watchman
from logbook.replay import Line, accepted, replay_machine
from tests.whole.histories import history
from tests.whole.worked import fleet as worked_fleet

SEEDS = st.integers(0, 100_000)


@cache
def lives(seed: int) -> list[tuple[MachineBook, list[Entry], Instant]]:
    """The machines of one random history: book, entries as the door accepts them, the history's last instant."""
    told = history(seed)
    register = register_of(FleetFile.model_validate(told.fleet), -FOREVER)
    found = []
    for code in register.by_code:
        lines = [
            Line(n, e["id"], e["kind"], parse(e["occurred_at"]), parse(e["recorded_at"]), dict(e["data"]))
            for n, e in enumerate(told.entries)
            if e["machine"] == code
        ]
        entries = list(accepted(lines, register.sites))
        found.append((MachineBook(register, code), entries, parse(told.until)))
    return found


def fresh(entry: Entry) -> Entry:
    """A history writes a correction's name into the entry it is given."""
    return msgspec.structs.replace(entry, name=entry.id)


def state(machine: Machine) -> Any:
    """Facts and duties, as plain values."""
    return msgspec.msgpack.decode(machine.freeze())


def effective(entries: list[Entry]) -> list[Entry]:
    whole = History()
    for entry in entries:
        whole.add(fresh(entry))
    return list(whole.after((-FOREVER, 0)))


def folded(book: MachineBook, entries: list[Entry], now: Instant) -> Machine:
    """A fold of the effective history, from its beginning, in one go."""
    machine = Machine(book=book)
    for entry in effective(entries):
        machine.hear(entry)
    machine.reach(now)
    machine.drain()
    return machine


def steps(entries: list[Entry]) -> Iterator[tuple[Instant, list[Entry]]]:
    for at, group in groupby(entries, key=lambda entry: entry.recorded_at):
        yield at, [fresh(entry) for entry in group]


def heard(watchman: Watchman, entries: list[Entry], now: Instant) -> None:
    watchman.advance(now - 1)
    watchman.hear(entries, now)
    watchman.advance(now)


@given(SEEDS)
def test_the_incremental_fold_is_a_fresh_one_after_every_step(seed: int) -> None:
    for book, entries, until in lives(seed):
        watchman, known = Watchman(book, Memory()), list[Entry]()
        for at, group in steps(entries):
            known += group
            heard(watchman, group, at)
            watchman.decide(at)
            assert state(watchman.machine) == state(folded(book, known, at))
        watchman.advance(until)
        assert state(watchman.machine) == state(folded(book, known, max(until, watchman.now)))


def shuffled(entries: list[Entry], rng: random.Random) -> list[list[Entry]]:
    """Another order of arrival, in pieces. What names another entry comes after it, as it must in any log."""
    waiting, done, order = list(entries[1:]), {entries[0].id}, [entries[0]]
    ids = {entry.id for entry in entries}
    while waiting:
        ready = [e for e in waiting if {e.data.get("entry"), e.data.get("corrects")} & ids <= done]
        chosen = rng.choice(ready)
        waiting.remove(chosen)
        done.add(chosen.id)
        order.append(chosen)
    pieces: list[list[Entry]] = []
    while order:
        size = rng.choice([1, 1, 2, 5, 40])
        pieces.append([fresh(entry) for entry in order[:size]])
        del order[:size]
    return pieces


@given(SEEDS, st.randoms(use_true_random=False))
def test_any_order_of_arrival_gives_the_same_state(seed: int, rng: random.Random) -> None:
    for book, entries, until in lives(seed):
        end = max(until, entries[-1].recorded_at)
        watchman = Watchman(book, Memory())
        for piece in shuffled(entries, rng):
            watchman.hear(piece, end)
        watchman.advance(end)
        assert state(watchman.machine) == state(folded(book, entries, end))


@given(SEEDS, st.data())
def test_a_frozen_copy_and_the_rest_equal_the_whole(seed: int, data: st.DataObject) -> None:
    for book, entries, until in lives(seed):
        order = effective(entries)
        whole, piecewise = Machine(book=book), Machine(book=book)
        cut = data.draw(st.integers(0, len(order)))
        for number, entry in enumerate(order):
            if number == cut:
                piecewise = Machine.thaw(piecewise.freeze(), book)
            whole.hear(entry)
            piecewise.hear(entry)
            whole.drain()
            piecewise.drain()
            assert state(whole) == state(piecewise)
        whole.reach(until)
        piecewise = Machine.thaw(piecewise.freeze(), book)
        piecewise.reach(until)
        whole.drain()
        piecewise.drain()
        assert state(whole) == state(piecewise)


@given(SEEDS)
def test_a_frozen_copy_reads_back_as_it_was(seed: int) -> None:
    for book, entries, until in lives(seed):
        machine = folded(book, entries, until)
        again = Machine.thaw(machine.freeze(), book)
        assert again.freeze() == machine.freeze()


@given(SEEDS, st.integers(0, 30))
def test_looking_at_the_clock_more_often_changes_nothing(seed: int, looks: int) -> None:
    """Extra visits of the clock, at odd moments, write the same alerts."""
    rng = random.Random(seed)
    for book, entries, until in lives(seed):
        ought = [
            (at, each.duty.key, each.number, each.outcome, each.due_at)
            for at, each in replay_machine(book, [fresh(entry) for entry in entries], until)
        ]
        moments = sorted(rng.randint(entries[0].recorded_at, max(until, entries[0].recorded_at)) for _ in range(looks))
        watchman, said = Watchman(book, Memory()), list[Any]()

        def act(at: Instant, watchman: Watchman = watchman, said: list[Any] = said) -> None:
            watchman.advance(at)
            said += [(at, e.duty.key, e.number, e.outcome, e.due_at) for e in watchman.decide(at)]

        def wait(end: Instant, watchman: Watchman = watchman, moments: list[Instant] = moments, act: Any = act) -> None:
            while True:
                soonest = min(watchman.next_moment(), moments[0] if moments else FOREVER)
                if soonest > end:
                    return
                if moments and moments[0] <= soonest:
                    moments.pop(0)
                act(max(soonest, watchman.now))

        for at, group in steps([entry for entry in entries if entry.recorded_at <= until]):
            wait(at - 1)
            watchman.advance(at - 1)
            watchman.hear(group, at)
            act(at)
        wait(until)
        assert said == ought


# ------------------------------------------------------------------------------------------------------ small histories

QUARTER = 15 * MINUTE
KINDS = ("start", "put_away", "rinse", "charge", "unplug", "squeegee", "watering", "prepared", "not_used", "retired")
BEGUN = {"2026-03-08": parse("2026-03-07T22:00:00Z"), "2026-11-01": parse("2026-10-31T22:00:00Z")}
"""Saturday evenings before the clocks change in Newfoundland (UTC-3:30 and -2:30), in spring and in autumn."""


@cache
def small_book() -> MachineBook:
    nights = {"nights": [{"rule": "FREQ=DAILY", "from": "22:00", "to": "02:15"}]}
    duties = ("rinse", "charge", "squeegee", "watering", "prepared", "night")
    plan = worked_fleet(duties, {"watering.every": "P1D", "longest_use": "PT3H"}, SJ=nights, machine={"site": "SJ"})
    return MachineBook(register_of(FleetFile.model_validate(plan), -FOREVER), "B7H")


@st.composite
def small_lives(draw: st.DrawFn) -> list[Entry]:
    """Up to a dozen acts within a day around a change of the clocks, told late and out of order, some struck."""
    first = draw(st.sampled_from(sorted(BEGUN.values())))
    entries = [Entry(1, "e1", "commissioned", first, first, "e1", {"site": "SJ", "battery": "flooded"})]
    now = first
    for seq in range(2, draw(st.integers(3, 14))):
        now += draw(st.integers(0, 8)) * QUARTER
        strikable = [entry.id for entry in entries if entry.kind not in ("commissioned", "void")]
        if strikable and draw(st.integers(0, 5)) == 0:
            kind, data, at = "void", {"entry": draw(st.sampled_from(strikable))}, now
        else:
            kind, data = draw(st.sampled_from(KINDS)), {}
            at = max(first, now - draw(st.sampled_from([0, 0, 1, 2, 4, 9, 30])) * QUARTER)
        entries.append(Entry(seq, f"e{seq}", kind, at, now, f"e{seq}", dict(data)))
    return entries


@given(small_lives())
def test_small_histories_step_by_step(entries: list[Entry]) -> None:
    book = small_book()
    watchman, known = Watchman(book, Memory()), list[Entry]()
    for at, group in steps(entries):
        known += group
        heard(watchman, group, at)
        watchman.decide(at)
        assert state(watchman.machine) == state(folded(book, known, at))
        for record in watchman.ledger.active.values():
            if not record.gone:
                assert record.duty.key in {duty.key for duty in watchman.machine.duties()} or record.duty.ended_at


@given(small_lives(), st.randoms(use_true_random=False))
def test_small_histories_in_any_order(entries: list[Entry], rng: random.Random) -> None:
    book, end = small_book(), entries[-1].recorded_at
    watchman = Watchman(book, Memory())
    for piece in shuffled(entries, rng):
        watchman.hear(piece, end)
    watchman.advance(end)
    assert state(watchman.machine) == state(folded(book, entries, end))


@given(small_lives())
def test_a_live_alert_belongs_to_a_standing_duty_and_each_standing_duty_has_one(entries: list[Entry]) -> None:
    """Whatever was told, and however late: once the news has settled, alerts and overdue duties are the same."""
    book = small_book()
    watchman = Watchman(book, Memory())
    for at, group in steps(entries):
        heard(watchman, group, at)
        watchman.decide(at)
    end = watchman.now + HOUR
    while (moment := watchman.next_moment()) <= end:
        watchman.advance(moment)
        watchman.decide(moment)
    watchman.advance(end)
    watchman.decide(end)
    live = {key for key, record in watchman.ledger.active.items() if record.raised_at is not None}
    waiting = {key for key, record in watchman.ledger.active.items() if record.waits()}
    standing = {duty.key for duty in folded(book, entries, end).duties() if duty.standing(end)}
    assert live | waiting == standing
    assert waiting == set()


# ----------------------------------------------------------------------------------------------------------- by hand


def watched(*rows: tuple[str, str, str]) -> tuple[Watchman, list[tuple[Instant, str, str]]]:
    """(kind, occurred, told), times of 10 March 2026 UTC, on a machine at St John's; and what was decided."""
    day = "2026-03-10T"
    begun = parse(day + "00:00:00Z")
    entries = [Entry(1, "e1", "commissioned", begun, begun, "e1", {"site": "SJ", "battery": "sealed"})]
    for seq, (kind, at, told) in enumerate(rows, 2):
        moment, recorded = parse(f"{day}{at}:00Z"), parse(f"{day}{told}:00Z")
        entries.append(Entry(seq, f"e{seq}", kind, moment, recorded, f"e{seq}", {}))
    plan = worked_fleet(("rinse",), {}, machine={"site": "SJ"})
    book = MachineBook(register_of(FleetFile.model_validate(plan), -FOREVER), "B7H")
    found = [(at, each.duty.duty, each.reason) for at, each in replay_machine(book, entries, parse(day + "23:00:00Z"))]
    watchman = Watchman(book, Memory())
    for now, group in steps(entries):
        heard(watchman, group, now)
    return watchman, list(found)


def reasons(*rows: tuple[str, str, str]) -> list[str]:
    return [reason for _at, _duty, reason in watched(*rows)[1]]


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ([("put_away", "05:00", "05:00")], ["came_due"]),
        ([("put_away", "05:00", "06:00")], ["still_overdue_after_settling"]),
        ([("put_away", "05:00", "05:00"), ("rinse", "07:00", "07:00")], ["came_due", "done_late"]),
        ([("put_away", "05:00", "05:00"), ("rinse", "05:10", "07:00")], ["came_due", "done_in_time_told_late"]),
        ([("put_away", "05:00", "05:00"), ("retired", "07:00", "07:00")], ["came_due", "ended_by_later_use"]),
        ([("put_away", "05:00", "06:00"), ("rinse", "05:10", "06:09")], []),
        ([("put_away", "05:00", "06:00"), ("rinse", "05:40", "06:09")], ["still_overdue_after_settling", "done_late"]),
        ([("start", "01:00", "01:00"), ("put_away", "12:00", "12:00"), ("rinse", "11:00", "12:00")],
         ["came_due", "done_in_time_told_late"]),
    ],
)  # fmt: skip
def test_every_decision_has_its_reason(rows: list[tuple[str, str, str]], expected: list[str]) -> None:
    assert reasons(*rows) == expected


def test_what_is_raised_and_over_in_one_step_is_silent() -> None:
    watchman, _said = watched(("put_away", "05:00", "08:00"), ("rinse", "06:00", "08:00"))
    decisions = watchman.decide(watchman.now + HOUR)
    assert [(each.outcome, each.silent) for each in decisions] == [(None, True), ("late", True)]


def test_copies_are_kept_so_that_late_news_need_not_begin_at_the_beginning() -> None:
    book, begun = small_book(), BEGUN["2026-03-08"]
    watchman = Watchman(book, Memory())
    watchman.hear([Entry(1, "e1", "commissioned", begun, begun, "e1", {"site": "SJ", "battery": "flooded"})], begun)
    for seq in range(2, 3 * EVERY):
        at = begun + seq * SECOND
        heard(watchman, [Entry(seq, f"e{seq}", "rinse", at, at, f"e{seq}", {})], at)
    late = begun + (3 * EVERY - 5) * SECOND
    origin, copy = watchman.archive.copy_before((late, 0))
    assert copy is not None
    assert origin[1] >= EVERY


def test_a_kind_that_means_nothing_to_the_fold_moves_nothing() -> None:
    book, begun = small_book(), BEGUN["2026-03-08"]
    watchman = Watchman(book, Memory())
    watchman.hear([Entry(1, "e1", "commissioned", begun, begun, "e1", {"site": "SJ", "battery": "flooded"})], begun)
    before = state(watchman.machine)
    watchman.hear([Entry(2, "e2", "note", begun + 1, begun + 1, "e2", {})], begun + 1)
    assert state(watchman.machine) == before
