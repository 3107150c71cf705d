"""The audit: a sound log passes, and every kind of damage is found at the entry where it begins."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest

from logbook.domain.entries import Catalogue, Kind, catalogue
from logbook.evidence.audit import Head, Row, Verdict, Word, audit
from logbook.evidence.canonical import leaf_hash
from logbook.evidence.private import commit
from tests.evidence.logs import MACHINES, ORIGIN, entry_id, head, log, night, row

A, B, C = MACHINES
SALT = bytes(32)


def _whole() -> list[Row]:
    return [*night(A), *night(B), *night(C)]


def _heads() -> list[Head]:
    return [head(night(machine)) for machine in MACHINES]


def _rehash(rows: list[Row], at: int, content: bytes, **columns: Any) -> list[Row]:
    """Damage as someone would who can write the table: the hash beside the bytes is made to fit."""
    rows = list(rows)
    rows[at] = rows[at]._replace(bytes=content, hash=leaf_hash(content), **columns)
    return rows


def test_sound_logs_are_whole() -> None:
    verdict = audit(_whole(), _heads(), origin=ORIGIN)
    assert verdict == Verdict(logs=3, entries=15, words=0, faults=())
    assert verdict.whole


def test_nothing_at_all_is_whole() -> None:
    assert audit([], [Head(A, "machine", 0, "0" * 64, 0)]).whole


def _edited(rows: list[Row]) -> list[Row]:
    rows[2] = rows[2]._replace(bytes=rows[2].bytes.replace(b'"rinse"', b'"empty"'))
    return rows


def _edited_and_hashed(rows: list[Row]) -> list[Row]:
    return _rehash(rows, 2, rows[2].bytes.replace(b'"rinse"', b'"empty"'), kind="empty")


def _spaced(rows: list[Row]) -> list[Row]:
    return _rehash(rows, 2, rows[2].bytes.replace(b",", b", "))


def _key_twice(rows: list[Row]) -> list[Row]:
    return _rehash(rows, 2, rows[2].bytes.replace(b'"role":', b'"role":"owner","role":'))


def _middle_gone(rows: list[Row]) -> list[Row]:
    del rows[2]
    return rows


def _last_gone(rows: list[Row]) -> list[Row]:
    return rows[:-1]


def _twice(rows: list[Row]) -> list[Row]:
    return [*rows[:3], rows[2], *rows[3:]]


def _prev(rows: list[Row]) -> list[Row]:
    return _rehash(rows, 2, rows[2].bytes.replace(rows[1].hash.encode(), b"1" * 64))


def _back_dated(rows: list[Row]) -> list[Row]:
    late = row(A, 3, rows[1].hash, "rinse", {}, recorded_at=rows[1].recorded_at - 1)
    return [*rows[:2], late]


def _foreign(rows: list[Row]) -> list[Row]:
    return [*rows[:2], row(A, 3, rows[1].hash, "rinse", {}, log="elsewhere.example/floors")]


def _unknown(rows: list[Row]) -> list[Row]:
    return [*rows[:2], row(A, 3, rows[1].hash, "waxed", {})]


def _from_tomorrow(rows: list[Row]) -> list[Row]:
    return [*rows[:2], row(A, 3, rows[1].hash, "rinse", {}, v=99)]


def _of_the_fleet(rows: list[Row]) -> list[Row]:
    return [*rows[:2], row(A, 3, rows[1].hash, "settings", {"values": {}})]


def _column(**columns: Any) -> Callable[[list[Row]], list[Row]]:
    def damage(rows: list[Row]) -> list[Row]:
        rows[2] = rows[2]._replace(**columns)
        return rows

    return damage


@pytest.mark.parametrize(
    ("damage", "why", "seq"),
    [
        (_edited, "hash", 3),
        (_edited_and_hashed, "prev", 4),
        (_spaced, "not_canonical", 3),
        (_key_twice, "not_canonical", 3),
        (_middle_gone, "gap", 4),
        (_last_gone, "head", 4),
        (_twice, "gap", 3),
        (_prev, "prev", 3),
        (_back_dated, "back_dated", 3),
        (_foreign, "log", 3),
        (_unknown, "unknown_kind", 3),
        (_from_tomorrow, "unknown_kind", 3),
        (_of_the_fleet, "unknown_kind", 3),
        (_column(id=entry_id(A, 99)), "column", 3),
        (_column(kind="empty"), "column", 3),
        (_column(occurred_at=0), "column", 3),
        (_column(occurred_at=2**62), "column", 3),
        (_column(recorded_at=1), "column", 3),
        (_column(recorded_at="soon"), "column", 3),
        (_column(bytes="text"), "column", 3),
        (_column(hash="0" * 64), "hash", 3),
        (_column(root=entry_id(A, 1)), "root", 3),
    ],
)
def test_damage_is_found_where_it_begins(damage: Callable[[list[Row]], list[Row]], why: str, seq: int) -> None:
    rows = damage(night(A))
    verdict = audit([*rows, *night(B)], [head(night(A)), head(night(B))])
    assert [(fault.machine, fault.seq, fault.why) for fault in verdict.faults] == [(A, seq, why)]
    assert not verdict.whole
    assert f"entry {seq} " in verdict.faults[0].sentence
    assert verdict.logs == 2  # the log behind it was judged all the same


def test_the_column_at_fault_is_named() -> None:
    rows = _column(occurred_at=0)(night(A))
    assert "occurred_at '1970-01-01T00:00:00Z'" in audit(rows).faults[0].sentence


def test_a_row_moved_into_another_log_is_found() -> None:
    rows = night(A)
    moved = [entry._replace(machine=B) for entry in rows]
    fault = audit(moved).faults[0]
    assert (fault.seq, fault.why) == (1, "column")
    assert "machine" in fault.sentence


def test_an_origin_that_every_entry_shares_but_the_fleet_does_not_is_found() -> None:
    assert audit(night(A)).whole
    assert audit(night(A), origin="elsewhere.example/floors").faults[0].why == "log"


def test_a_log_that_is_in_no_table_of_logs_is_found() -> None:
    fault = audit(_whole(), [_heads()[0], _heads()[2]]).faults[0]
    assert (fault.machine, fault.why, fault.seq) == (B, "no_log", 0)


@pytest.mark.parametrize("kept", [[B, C], [A, C], [A, B]])
def test_a_log_of_which_nothing_is_left_is_found(kept: list[str]) -> None:
    rows = [entry for entry in _whole() if entry.machine in kept]
    (fault,) = audit(rows, _heads()).faults
    assert fault.machine not in kept
    assert fault.why == "head"


@pytest.mark.parametrize(
    "change",
    [{"seq": 4}, {"head": "1" * 64}, {"recorded_at": 1}, {"seq": 9}],
    ids=lambda change: next(iter(change)),
)
def test_a_head_that_is_not_the_end_of_the_chain_is_found(change: dict[str, Any]) -> None:
    (fault,) = audit(night(A), [head(night(A))._replace(**change)]).faults
    assert (fault.why, fault.seq) == ("head", 5)


def test_the_chain_of_corrections_is_followed_to_its_first_entry() -> None:
    first = entry_id(A, 2)
    rows = log(
        A,
        [
            ("commissioned", {"site": "north-slip", "battery": "flooded"}),
            ("fault", {}),
            ("fault", {"corrects": first}),
            ("fault", {"corrects": entry_id(A, 3)}),
        ],
    )
    assert audit(rows).faults[0].why == "root"  # it goes on to say the middle of the chain
    rows[3] = rows[3]._replace(root=first)
    assert audit(rows).whole
    rows[2] = rows[2]._replace(root=None)
    assert (audit(rows).faults[0].seq, audit(rows).faults[0].why) == (3, "root")


def _worded() -> tuple[list[Row], Word]:
    rows = night(A)
    said = row(A, 6, rows[-1].hash, "note", {}, private={"note": commit(b"mats at the gate", SALT)})
    return [*rows, said], Word(A, 6, said.id, "note", SALT, b"mats at the gate")


def test_private_words_that_open_their_commitments_are_counted() -> None:
    rows, word = _worded()
    assert audit([*rows, *night(B)], words=[word]) == Verdict(2, 11, 1, ())


def test_erased_words_leave_the_log_whole() -> None:
    assert audit(_worded()[0]).whole


@pytest.mark.parametrize(
    "change",
    [
        {"content": b"no mats"},
        {"salt": bytes(31) + b"\x01"},
        {"salt": b""},
        {"item": "photo"},
        {"entry": entry_id(A, 2)},
    ],
)
def test_an_altered_opening_is_found(change: dict[str, Any]) -> None:
    rows, word = _worded()
    (fault,) = audit(rows, words=[word._replace(**change)]).faults
    assert (fault.why, fault.seq) == ("word", 6)


@pytest.mark.parametrize(("seq", "found_at"), [(None, 0), (0, 0), (7, 6)])
def test_a_word_for_an_entry_that_does_not_exist_is_found(seq: int | None, found_at: int) -> None:
    rows, word = _worded()
    (fault,) = audit([*rows, *night(B)], words=[word._replace(seq=seq)]).faults
    assert (fault.machine, fault.why, fault.seq) == (A, "word", found_at)


@pytest.mark.parametrize("machine", [A, C])
def test_a_word_of_a_log_without_entries_is_found(machine: str) -> None:
    word = Word(machine, None, entry_id(machine, 1), "note", SALT, b"x")
    (fault,) = audit(night(B), words=[word, word]).faults
    assert (fault.machine, fault.why) == (machine, "word")


def test_it_stops_after_enough_faults() -> None:
    rows = [*_edited(night(A)), *_edited(night(B)), *_edited(night(C))]
    assert len(audit(rows, at_most=2).faults) == 2
    assert len(audit(rows).faults) == 3


def test_it_reads_as_a_stream() -> None:
    judged = 0

    class Counting(Catalogue):
        def get(self, name: str, version: int) -> type[Kind] | None:
            nonlocal judged
            judged += 1
            return catalogue.get(name, version)

    def stream() -> Iterator[Row]:
        for given, entry in enumerate(night(A)):
            assert judged == given  # an entry is asked for only once the one before it has been judged
            yield entry

    assert audit(stream(), kinds=Counting()).whole
    assert judged == 5
