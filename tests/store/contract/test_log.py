"""The log in both databases: appending, finding, reading in both orders, and what the database refuses."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from sqlalchemy import Connection, text
from sqlalchemy.exc import DBAPIError

from logbook.evidence.audit import audit
from logbook.store import RefusedError, Store, log, words
from logbook.store.log import NO_FORERUNNER, Head
from tests.store.entries import MINUTE, START, append, begun, chain


def test_a_new_log_has_no_entries(store: Store) -> None:
    machine, _ = begun(store)
    with store.read() as connection:
        assert log.head(connection, machine) == Head(0, NO_FORERUNNER, 0)
        assert log.head(connection, str(uuid.uuid4())) is None
        assert list(log.by_seq(connection, machine)) == []


def test_an_append_is_there_as_it_was_given_and_moves_the_head(store: Store) -> None:
    machine, first = begun(store, 3)
    more = chain(machine, 1, 4, first[-1].hash)
    append(store, machine, more)
    with store.read() as connection:
        found = [tuple(row) for row in log.by_seq(connection, machine)]
        assert found == [(machine, *row) for row in [*first, *more]]
        assert log.head(connection, machine) == Head(4, more[-1].hash, more[-1].recorded_at)
        assert [row.seq for row in log.by_seq(connection, machine, after_seq=2)] == [3, 4]


def test_an_entry_is_found_by_its_id(store: Store) -> None:
    machine, rows = begun(store, 2)
    with store.read() as connection:
        found = log.find(connection, rows[1].id)
        assert found is not None
        assert tuple(found) == (machine, *rows[1])
        assert log.find(connection, str(uuid.uuid4())) is None


def test_appending_nothing_changes_nothing(store: Store) -> None:
    machine, rows = begun(store, 1)
    append(store, machine, [])
    with store.read() as connection:
        assert log.head(connection, machine) == Head(1, rows[0].hash, rows[0].recorded_at)


def test_the_effective_order_is_that_of_happening_then_of_recording(store: Store) -> None:
    machine, first = begun(store, 4)
    early = chain(machine, 1, 5, first[-1].hash, occurred_at=START + 2 * MINUTE)
    append(store, machine, early)
    with store.read() as connection:
        lean = log.rows_for_fold(connection, machine)
        assert [row[0] for row in lean] == [1, 2, 5, 3, 4]
        assert lean[2] == (
            5, early[0].id, "rinse", START + 2 * MINUTE, early[0].recorded_at, None, early[0].bytes,
        )  # fmt: skip
        frontier = (START + 2 * MINUTE, 2)
        assert [row[0] for row in log.rows_for_fold(connection, machine, frontier)] == [5, 3, 4]
        assert [row.seq for row in log.after(connection, machine, frontier)] == [5, 3, 4]
        assert log.after(connection, machine, (START + 4 * MINUTE, 4)) == []


def test_a_log_begins_once_and_a_code_belongs_to_one(store: Store) -> None:
    machine, _ = begun(store)
    other, _ = begun(store)
    code = machine[:8]
    with pytest.raises(RefusedError):
        store.write(lambda connection: log.create(connection, machine, "machine", None))
    store.write(lambda connection: log.set_codes(connection, [(machine, code)]))
    with pytest.raises(RefusedError, match=code):
        store.write(lambda connection: log.set_code(connection, other, code))
    with store.read() as connection:
        assert log.by_code(connection, code) == machine
        assert log.by_code(connection, "nobody's") is None
        kinds = log.of_kind(connection, "machine")
        assert (machine, code) in kinds
        assert (other, None) in kinds
        assert kinds == sorted(kinds)


def test_a_sound_database_passes_the_audit_as_it_streams_out(store: Store) -> None:
    machine, rows = begun(store, 5)
    store.write(lambda connection: words.keep(connection, machine, [words.Word(rows[0].id, "note", b"s", b"c")]))
    with store.read() as connection:
        verdict = audit(log.every(connection), log.logs(connection), words.every(connection))
        assert [(fault.machine, fault.why) for fault in verdict.faults] == [(machine, "word")]
        assert log.unlisted(connection) == []
    store.write(lambda connection: words.erase(connection, machine, [rows[0].id]))
    with store.read() as connection:
        verdict = audit(log.every(connection), log.logs(connection), words.every(connection))
        assert verdict.whole
        assert verdict.entries >= 5


def _refused(store: Store, job: Any, says: str = "append-only") -> None:
    """The job is refused, by the database itself, and nothing of it was kept."""
    with store.read() as connection:
        before = [tuple(row) for row in log.every(connection)], list(log.logs(connection))
    with pytest.raises((RefusedError, DBAPIError), match=says):
        store.write(job)
    with store.read() as connection:
        assert ([tuple(row) for row in log.every(connection)], list(log.logs(connection))) == before


@pytest.mark.parametrize("table", ["entry", "entry_id"])
@pytest.mark.parametrize("deed", ["UPDATE {} SET seq = seq + 100", "UPDATE {} SET id = id", "DELETE FROM {}"])
def test_no_entry_is_changed_or_removed(store: Store, table: str, deed: str) -> None:
    begun(store, 2)
    _refused(store, lambda connection: connection.execute(text(deed.format(table))), "never changed or removed")


@pytest.mark.parametrize("table", ["entry", "entry_id"])
def test_an_entry_is_not_replaced(store: Store, table: str) -> None:
    begun(store, 2)
    columns = (
        "machine, seq, id, kind, occurred_at, recorded_at, root, bytes, hash"
        if table == "entry"
        else "id, machine, seq"
    )
    if store.is_sqlite:
        again = f"INSERT OR REPLACE INTO {table} ({columns}) SELECT {columns} FROM {table}"
    else:
        key = "machine, seq" if table == "entry" else "id"
        again = (
            f"INSERT INTO {table} ({columns}) SELECT {columns} FROM {table} "
            f"ON CONFLICT ({key}) DO UPDATE SET machine = excluded.machine"
        )
    _refused(store, lambda connection: connection.execute(text(again)))


@pytest.mark.parametrize("table", ["entry", "entry_id"])
def test_the_log_is_not_emptied(store: Store, table: str) -> None:
    begun(store, 2)
    emptying = f"DELETE FROM {table} WHERE 1 = 1" if store.is_sqlite else f"TRUNCATE {table}"
    _refused(store, lambda connection: connection.execute(text(emptying)), "never changed or removed")


@pytest.mark.parametrize("seq", [0, 1, 2, 4, -1])
def test_an_entry_out_of_turn_is_refused(store: Store, seq: int) -> None:
    machine, rows = begun(store, 2)
    wrong = chain(machine, 1, 3, rows[-1].hash)[0]._replace(seq=seq)
    _refused(store, lambda connection: log.append(connection, machine, [wrong]), "out of turn")


def test_a_log_cannot_begin_in_the_middle(store: Store) -> None:
    machine, _ = begun(store)
    _refused(store, lambda connection: log.append(connection, machine, chain(machine, 1, 2)), "out of turn")


def test_a_gap_inside_one_append_is_refused(store: Store) -> None:
    machine, rows = begun(store, 1)
    three = chain(machine, 3, 2, rows[-1].hash)
    _refused(store, lambda connection: log.append(connection, machine, [three[0], three[2]]), "out of turn")


@pytest.mark.parametrize("prev", [NO_FORERUNNER, "1" * 64])
def test_an_entry_that_names_another_forerunner_is_refused(store: Store, prev: str) -> None:
    machine, _ = begun(store, 2)
    _refused(
        store,
        lambda connection: log.append(connection, machine, chain(machine, 1, 3, prev)),
        "hash of the entry before",
    )


def test_a_forerunner_named_inside_the_data_does_not_count(store: Store) -> None:
    machine, rows = begun(store, 2)
    sly = chain(machine, 1, 3, "1" * 64, data={"note": f'"prev":"{rows[-1].hash}","private":'})
    _refused(store, lambda connection: log.append(connection, machine, sly), "hash of the entry before")


def test_the_first_entry_of_a_log_names_no_forerunner(store: Store) -> None:
    machine, _ = begun(store)
    _refused(
        store,
        lambda connection: log.append(connection, machine, chain(machine, 1, 1, "1" * 64)),
        "hash of the entry before",
    )


def test_an_entry_recorded_before_its_forerunner_is_refused(store: Store) -> None:
    machine, rows = begun(store, 2)
    early = chain(machine, 1, 3, rows[-1].hash, recorded_at=rows[-1].recorded_at - 1)
    _refused(store, lambda connection: log.append(connection, machine, early), "recorded before")
    append(store, machine, chain(machine, 1, 3, rows[-1].hash, recorded_at=rows[-1].recorded_at))  # the same instant


def test_an_id_is_used_once_in_the_whole_database(store: Store) -> None:
    machine, rows = begun(store, 1)
    other, _ = begun(store)
    _refused(store, lambda connection: log.append(connection, other, chain(other, 1, id=rows[0].id)), "refused")
    twice = chain(machine, 2, 2, rows[-1].hash, id=str(uuid.uuid4()))
    _refused(store, lambda connection: log.append(connection, machine, twice), "refused")


def test_a_log_that_was_never_begun_takes_no_entries(store: Store) -> None:
    machine = str(uuid.uuid4())
    _refused(store, lambda connection: log.append(connection, machine, chain(machine, 1)), "does not exist")


def test_a_refusal_says_what_was_refused_and_that_nothing_was_saved(store: Store) -> None:
    machine, rows = begun(store, 1)
    with pytest.raises(RefusedError, match=rf"Entries 1 to 1 of the log {machine} .*Nothing was saved"):
        append(store, machine, rows)


def test_a_head_can_be_locked(store: Store) -> None:
    machine, rows = begun(store, 1)

    def job(connection: Connection) -> Head | None:
        return log.head(connection, machine, lock=True)

    assert store.write(job) == Head(1, rows[0].hash, rows[0].recorded_at)


def test_what_was_told_of_a_kind_comes_without_what_was_struck(store: Store) -> None:
    machine, _ = begun(store)
    rows = chain(machine, 3, kind="watering", data={"amount_ml": 900})
    struck = chain(machine, 1, 4, rows[-1].hash, kind="void", data={"entry": rows[1].id})
    append(store, machine, [*rows, *struck])
    with store.read() as connection:
        assert log.struck(connection, machine) == {rows[1].id}
        told = log.told_between(connection, machine, "watering", START, START + 10 * MINUTE)
        assert told == [(START + MINUTE, {"amount_ml": 900}), (START + 3 * MINUTE, {"amount_ml": 900})]
        assert log.told_between(connection, machine, "watering", START + MINUTE, START + 2 * MINUTE) == []
        assert log.told_between(connection, machine, "rinse", START, START + 10 * MINUTE) == []
