"""Private words, caches, dues, alerts, notices, texts heard and the clock's signs, alike in both databases."""

from __future__ import annotations

import uuid

import pytest
from sqlalchemy import Connection

from logbook.store import Store, alerts, cache, clock, dues, heard, meta, notices, words
from logbook.store.cache import Overdue, Snapshot
from logbook.store.heard import Heard
from logbook.store.notices import Notice
from logbook.store.words import Word
from tests.store.entries import begun

M, N = str(uuid.UUID(int=1)), str(uuid.UUID(int=2))


def test_words_are_kept_found_and_erased(store: Store) -> None:
    machine, rows = begun(store, 2)
    said = [Word(rows[0].id, "note", b"s" * 32, b"mats"), Word(rows[0].id, "photo", b"t" * 32, bytes(range(256)))]
    other = Word(rows[1].id, "note", b"u" * 32, "señal".encode())
    store.write(lambda connection: words.keep(connection, machine, [*said, other]))
    store.write(lambda connection: words.keep(connection, machine, []))
    with store.read() as connection:
        assert words.of_entry(connection, machine, rows[0].id) == said
        assert sorted(words.of_machine(connection, machine)) == sorted([*said, other])
        assert [(word.seq, word.item) for word in words.every(connection)] == [(1, "note"), (1, "photo"), (2, "note")]
    assert store.write(lambda connection: words.erase(connection, machine, [rows[0].id, str(uuid.uuid4())])) == 2
    with store.read() as connection:
        assert words.of_machine(connection, machine) == [other]


def test_words_of_no_entry_come_first_for_the_audit_to_find(store: Store) -> None:
    machine, rows = begun(store, 1)
    stray = Word(str(uuid.uuid4()), "note", b"s", b"c")
    mine = Word(rows[0].id, "note", b"s", b"c")
    store.write(lambda connection: words.keep(connection, machine, [mine, stray]))
    with store.read() as connection:
        assert [word.seq for word in words.every(connection)] == [None, 1]


def test_a_person_has_one_pseudonym_a_machine(store: Store) -> None:
    assert store.write(lambda connection: words.give_reporter(connection, M, "ann", "p-1")) == "p-1"
    assert store.write(lambda connection: words.give_reporter(connection, M, "ann", "p-2")) == "p-1"
    assert store.write(lambda connection: words.give_reporter(connection, N, "ann", "p-3")) == "p-3"
    with store.read() as connection:
        assert words.reporter_of(connection, M, "ann") == "p-1"
        assert words.reporter_of(connection, M, "bo") is None
        assert words.person_of(connection, N, "p-3") == "ann"
        assert words.person_of(connection, N, "p-1") is None
        assert words.people_of(connection, M) == {"p-1": "ann"}


def test_the_furthest_snapshot_and_the_one_before_a_place_are_found(store: Store) -> None:
    def job(connection: Connection) -> None:
        for at, seq in ((10, 1), (20, 3), (20, 2)):
            cache.keep_snapshot(connection, M, (at, seq), seq, f"{at}/{seq}".encode())
        cache.keep_snapshot(connection, M, (20, 2), 9, b"again")
        cache.keep_snapshot(connection, N, (99, 9), 9, b"other")

    store.write(job)
    with store.read() as connection:
        assert cache.latest_snapshot(connection, M) == Snapshot(20, 3, 3, b"20/3")
        assert cache.snapshot_before(connection, M, (20, 3)) == Snapshot(20, 2, 9, b"again")
        assert cache.snapshot_before(connection, M, (20, 2)) == Snapshot(10, 1, 1, b"10/1")
        assert cache.snapshot_before(connection, M, (10, 1)) is None
        assert cache.frontiers(connection, M) == [(20, 3), (20, 2), (10, 1)]
        assert cache.latest_snapshot(connection, str(uuid.uuid4())) is None


def test_snapshots_that_the_past_has_overtaken_are_dropped(store: Store) -> None:
    def job(connection: Connection) -> None:
        for at in (10, 20, 30, 40):
            cache.keep_snapshot(connection, M, (at, 1), 1, b"x")
        cache.keep_snapshot(connection, N, (30, 1), 1, b"x")

    store.write(job)
    store.write(lambda connection: cache.drop_snapshots_from(connection, M, (30, 1)))
    store.write(lambda connection: cache.drop_snapshots(connection, M, [(10, 1), (11, 1)]))
    with store.read() as connection:
        assert cache.frontiers(connection, M) == [(20, 1)]
        assert cache.frontiers(connection, N) == [(30, 1)]


@pytest.mark.parametrize("machine", [M, None])
def test_the_caches_can_be_emptied(store: Store, machine: str | None) -> None:
    def job(connection: Connection) -> None:
        for each in (M, N):
            cache.keep_snapshot(connection, each, (1, 1), 1, b"x")
            cache.keep_overdue(connection, each, [Overdue("rinse", "a", b"x")])
        cache.forget(connection, machine)

    store.write(job)
    with store.read() as connection:
        assert cache.latest_snapshot(connection, M) is None
        assert cache.overdue_of(connection, M) == []
        assert bool(cache.frontiers(connection, N)) is (machine is not None)
        assert bool(cache.overdue_of(connection, N)) is (machine is not None)


def test_overdue_duties_are_kept_until_nothing_can_change_them(store: Store) -> None:
    open_, early, late = (
        Overdue("rinse", "b", b"1"),
        Overdue("charge", "a", b"2", 10, 5),
        Overdue("filter", "a", b"3", 20, 1),
    )
    store.write(lambda connection: cache.keep_overdue(connection, M, [open_, early, late]))
    store.write(lambda connection: cache.keep_overdue(connection, M, [open_._replace(state=b"4")]))
    store.write(lambda connection: cache.keep_overdue(connection, M, []))
    open_ = open_._replace(state=b"4")
    with store.read() as connection:
        assert cache.overdue_of(connection, M) == [early, late, open_]
        assert cache.overdue_from(connection, M, (10, 5)) == [early, late, open_]
        assert cache.overdue_from(connection, M, (10, 6)) == [late, open_]
        assert cache.overdue_from(connection, M, (21, 0)) == [open_]
    store.write(lambda connection: cache.drop_overdue(connection, M, [("rinse", "b"), ("rinse", "c")]))
    with store.read() as connection:
        assert cache.overdue_of(connection, M) == [early, late]


def test_the_due_index_hands_out_those_whose_instant_has_come(store: Store) -> None:
    with store.read() as connection:
        assert dues.next_at(connection) is None

    def job(connection: Connection) -> None:
        dues.put(connection, M, 50)
        dues.put(connection, N, 20)
        dues.put(connection, M, 10)
        dues.put(connection, "later", 2**60)
        dues.put(connection, "gone", 5)
        dues.put(connection, "gone", None)

    store.write(job)
    with store.read() as connection:
        assert dues.next_at(connection) == 10
        assert dues.of(connection, M) == 10
        assert dues.of(connection, "gone") is None
        assert dues.reached(connection, 9) == []
        assert dues.reached(connection, 20) == [(M, 10), (N, 20)]
        assert dues.reached(connection, 20, most=1) == [(M, 10)]
    assert store.write(lambda connection: dues.reached(connection, 20, lock=True)) == [(M, 10), (N, 20)]


def test_an_alert_is_raised_stepped_acknowledged_and_cleared(store: Store) -> None:
    first, second = (M, "rinse", "a", 1), (N, "rinse", "b", 1)
    serial = store.write(lambda connection: alerts.raised(connection, first, 10, 11, next_step_at=30))
    later = store.write(lambda connection: alerts.raised(connection, second, 20, 21, next_step_at=None))
    assert later > serial
    with store.read() as connection:
        found = alerts.find(connection, first)
        assert found == (serial, *first, 10, 11, None, None, None, 0, 30)
        assert alerts.by_serial(connection, serial) == found
        assert alerts.by_serial(connection, 10**9) is None
        assert alerts.find(connection, (M, "rinse", "a", 2)) is None
        assert [alert.serial for alert in alerts.live(connection)] == [serial, later]
        assert [alert.serial for alert in alerts.live(connection, N)] == [later]
        assert alerts.next_step_at(connection) == 30
    assert store.write(lambda connection: alerts.stepped(connection, first, 1, 60))
    assert store.write(lambda connection: alerts.acknowledged(connection, first, 90, 90))
    with store.read() as connection:
        found = alerts.find(connection, first)
        assert found is not None
        assert (found.step, found.acknowledged_until, found.next_step_at) == (1, 90, 90)
    assert store.write(lambda connection: alerts.cleared(connection, first, 70, "late", 12))
    with store.read() as connection:
        found = alerts.find(connection, first)
        assert found is not None
        assert (found.cleared_at, found.outcome, found.due_at, found.next_step_at) == (70, "late", 12, None)
        assert [alert.serial for alert in alerts.live(connection)] == [later]
        assert alerts.live(connection, M) == []
        assert alerts.of_machine(connection, M) == [found]
        assert alerts.cleared_between(connection, 69, 70) == [found]
        assert alerts.cleared_between(connection, 70, 80) == []
        assert alerts.next_step_at(connection) is None


def test_a_cleared_alert_takes_no_further_step(store: Store) -> None:
    alert = (M, "rinse", "a", 1)
    store.write(lambda connection: alerts.raised(connection, alert, 10, 11, next_step_at=30))
    store.write(lambda connection: alerts.cleared(connection, alert, 12, "late", 10))
    assert not store.write(lambda connection: alerts.cleared(connection, alert, 13, "excused", 10))
    assert not store.write(lambda connection: alerts.stepped(connection, alert, 1, 40))
    assert not store.write(lambda connection: alerts.acknowledged(connection, alert, 40, None))
    with store.read() as connection:
        found = alerts.find(connection, alert)
        assert found is not None
        assert (found.outcome, found.step, found.acknowledged_until) == ("late", 0, None)


def test_one_alert_is_one_row(store: Store) -> None:
    alert = (M, "rinse", "a", 1)
    store.write(lambda connection: alerts.raised(connection, alert, 10, 11, next_step_at=None))
    with pytest.raises(Exception, match=r"UNIQUE|unique"):
        store.write(lambda connection: alerts.raised(connection, alert, 10, 12, next_step_at=None))
    with store.read() as connection:
        assert len(alerts.live(connection, M)) == 1


def _notice(id: str, ready_at: int, person: str = "ann", number: int = 1) -> Notice:
    return Notice(id, person, M, "rinse", "a", number, "now", b'{"code":"B7H"}', ready_at - 5, ready_at)


def test_notices_wait_until_they_are_ready_and_are_gathered_once(store: Store) -> None:
    one, two, three = _notice("1", 20), _notice("2", 10), _notice("3", 30, person="bo")
    store.write(lambda connection: notices.add(connection, [one, two, three]))
    store.write(lambda connection: notices.add(connection, []))
    with store.read() as connection:
        assert notices.next_at(connection) == 10
        assert notices.ready(connection, 9) == []
        assert notices.ready(connection, 20) == [two, one]
        assert notices.ready(connection, 20, most=1) == [two]
        assert notices.waiting_for(connection, "bo") == [three]
    assert store.write(lambda connection: notices.ready(connection, 20, lock=True)) == [two, one]
    assert store.write(lambda connection: notices.gathered(connection, ["1", "2"], "m1")) == 2
    assert store.write(lambda connection: notices.gathered(connection, ["1", "3"], "m2")) == 1
    with store.read() as connection:
        assert notices.ready(connection, 99) == []
        assert notices.in_message(connection, "m1") == [two._replace(message="m1"), one._replace(message="m1")]
        assert notices.next_at(connection) is None


def test_notices_can_be_put_off_and_taken_back_while_they_wait(store: Store) -> None:
    store.write(
        lambda connection: notices.add(connection, [_notice("1", 10), _notice("2", 10), _notice("3", 10, number=2)])
    )
    assert store.write(lambda connection: notices.put_off(connection, "1", 50))
    assert store.write(lambda connection: notices.gathered(connection, ["2"], "m")) == 1
    assert not store.write(lambda connection: notices.put_off(connection, "2", 50))
    with store.read() as connection:
        assert [notice.id for notice in notices.ready(connection, 40)] == ["3"]
    assert store.write(lambda connection: notices.drop(connection, ["1", "2", "3"])) == 2
    with store.read() as connection:
        assert notices.ready(connection, 99) == []
        assert [notice.id for notice in notices.in_message(connection, "m")] == ["2"]


def test_what_was_told_is_counted_by_person_and_day(store: Store) -> None:
    store.write(lambda connection: notices.tell(connection, "ann", "2026-03-09"))
    store.write(lambda connection: notices.tell(connection, "ann", "2026-03-09", 2))
    store.write(lambda connection: notices.tell(connection, "ann", "2026-03-10"))
    with store.read() as connection:
        assert notices.told(connection, "ann", "2026-03-09") == 3
        assert notices.told(connection, "bo", "2026-03-09") == 0


def test_a_letter_goes_once_a_day(store: Store) -> None:
    assert store.write(lambda connection: notices.letter_once(connection, "ann", "2026-03-09"))
    assert not store.write(lambda connection: notices.letter_once(connection, "ann", "2026-03-09"))
    assert store.write(lambda connection: notices.letter_once(connection, "ann", "2026-03-10"))


def test_a_text_that_comes_twice_is_kept_once(store: Store) -> None:
    came = Heard("g-1", "text", "+19025550123", 10, "B7H rinsed ✓", "recorded", "ok", ("a", "b"))
    assert store.write(lambda connection: heard.keep(connection, came))
    assert not store.write(lambda connection: heard.keep(connection, came._replace(text="other")))
    with store.read() as connection:
        assert heard.find(connection, "g-1") == came
        assert heard.find(connection, "g-2") is None
    assert store.write(lambda connection: heard.answered(connection, "g-1", "refused", None))
    assert not store.write(lambda connection: heard.answered(connection, "g-2", "refused", None))
    with store.read() as connection:
        assert heard.find(connection, "g-1") == came._replace(outcome="refused", reply=None, entries=())


def test_the_latest_texts_come_first_and_can_be_erased_by_sender(store: Store) -> None:
    def job(connection: Connection) -> None:
        for number, sender in enumerate(["a", "b", "a"]):
            heard.keep(connection, Heard(str(number), "text", sender, number, "x", "recorded", None, ()))

    store.write(job)
    with store.read() as connection:
        assert [row.id for row in heard.latest(connection)] == ["2", "1", "0"]
        assert [row.id for row in heard.latest(connection, "a")] == ["2", "0"]
        assert [row.id for row in heard.latest(connection, most=1)] == ["2"]


def test_the_clock_leaves_signs_of_life(store: Store) -> None:
    store.write(lambda connection: clock.put(connection, "step", 10))
    store.write(lambda connection: clock.put(connection, "step", 20, "slow"))
    store.write(lambda connection: clock.put(connection, "hold:mail", 15, "bad login"))
    with store.read() as connection:
        assert clock.of(connection, "step") == (20, "slow")
        assert clock.of(connection, "delivery") is None
        assert clock.every(connection) == {"step": (20, "slow"), "hold:mail": (15, "bad login")}
    assert store.write(lambda connection: clock.drop(connection, "hold:mail"))
    assert not store.write(lambda connection: clock.drop(connection, "hold:mail"))


def test_facts_about_the_database_are_kept_by_name(store: Store) -> None:
    store.write(lambda connection: meta.put(connection, "origin", "a.example/x"))
    store.write(lambda connection: meta.put(connection, "origin", "b.example/x"))
    with store.read() as connection:
        assert meta.of(connection, "origin") == "b.example/x"
        assert meta.of(connection, "nothing") is None
        assert meta.every(connection) == {"origin": "b.example/x"}


def test_what_is_in_force_has_changed_and_the_clock_looks_at_every_machine_soon(store: Store) -> None:
    machine, _ = begun(store, 1)
    late, _ = begun(store, 1)
    store.write(lambda connection: dues.put(connection, machine, 5))
    store.write(lambda connection: dues.put(connection, late, 10**15))
    store.write(lambda connection: dues.put_all(connection, 100))
    with store.read() as connection:
        assert dues.of(connection, late) == 100
        assert dues.of(connection, machine) in {5, 100}


def test_one_duty_is_found_among_those_that_were_overdue(store: Store) -> None:
    store.write(lambda connection: cache.keep_overdue(connection, M, [Overdue("rinse", "a", b"\x00\xff")]))
    with store.read() as connection:
        assert cache.overdue_record(connection, M, "rinse", "a") == b"\x00\xff"
        assert cache.overdue_record(connection, M, "rinse", "b") is None


def test_the_alerts_raised_in_a_night_are_found(store: Store) -> None:
    for number, at in ((1, 10), (2, 20), (3, 30)):
        identity = (M, "rinse", "a", number)
        store.write(lambda connection, of=identity, at=at: alerts.raised(connection, of, at, at, next_step_at=None))  # type: ignore[misc]
    with store.read() as connection:
        assert [alert.number for alert in alerts.raised_between(connection, 10, 20)] == [2]


def test_what_nobody_was_told_yet_of_an_alert_can_be_changed(store: Store) -> None:
    store.write(lambda connection: notices.add(connection, [_notice("1", 10), _notice("2", 10, number=2)]))
    with store.read() as connection:
        assert [notice.id for notice in notices.of_alert(connection, M, "rinse", "a", 1)] == ["1"]
        assert notices.has(connection, "1")
        assert not notices.has(connection, "3")
    assert store.write(lambda connection: notices.change(connection, "1", b"{}", 70))
    assert store.write(lambda connection: notices.gathered(connection, ["2"], "m")) == 1
    assert not store.write(lambda connection: notices.change(connection, "2", b"{}", 70))
    with store.read() as connection:
        (notice,) = notices.of_alert(connection, M, "rinse", "a", 1)
        assert (notice.about, notice.ready_at) == (b"{}", 70)
        assert notices.of_alert(connection, M, "rinse", "a", 2) == []
