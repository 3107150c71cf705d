"""The one door in: all or nothing, once, in order, and what is private stays out of the bytes."""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from sqlalchemy import Connection

from logbook.domain.door import Refused
from logbook.domain.instants import HOUR, MINUTE, SECOND, parse, text
from logbook.evidence.audit import Head, Row, Word, audit
from logbook.intake import CLOCK, PROGRAM, By, Draft, Receipt
from logbook.store import StoreError, log, words
from tests.whole.stage import START, Stage, fleet

Make = Callable[..., Stage]


def refused(code: str) -> Any:
    return pytest.raises(Refused, match=r"Nothing (of this )?was (saved|changed)", check=lambda why: why.code == code)


def kinds(one: Stage, code: str = "B7H") -> list[str]:
    return [kind for kind, _at, _data in one.entries(code)]


def fleet_log(one: Stage) -> str:
    found: str = one.read(one.program.registry.fleet)
    return found


def rows_of(one: Stage, code: str = "B7H") -> list[log.Stored]:
    found: list[log.Stored] = one.read(lambda c: list(log.by_seq(c, one.machine(code))))
    return found


def sound(one: Stage) -> bool:
    """Every chain, column, head and private word holds."""

    def look(connection: Connection) -> bool:
        verdict = audit(
            (Row._make(row) for row in log.every(connection)),
            (Head._make(row) for row in log.logs(connection)),
            (Word._make(row) for row in words.every(connection)),
        )
        assert verdict.faults == ()
        return not verdict.faults

    return bool(one.read(look))


# -------------------------------------------------------------------------------------------------- all or nothing


def test_several_machines_are_recorded_together_or_not_at_all(make: Make) -> None:
    one = make()
    good, bad = one.draft("B7H", "rinse"), one.draft("B8F", "put_away", START + HOUR)
    for drafts in ([good, bad], [bad, good]):
        with refused("future_time"):
            one.program.intake.record(drafts, one.by("ana"))
        assert kinds(one) == kinds(one, "B8F") == ["commissioned"]
    receipt = one.program.intake.record([good, one.draft("B8F", "put_away"), one.draft("B7H", "empty")], one.by("ana"))
    assert [entry.kind for entry in receipt.entries] == ["rinse", "put_away", "empty"]
    assert set(receipt.owed) == {one.machine("B7H"), one.machine("B8F")}
    assert kinds(one) == ["commissioned", "rinse", "empty"]
    assert sound(one)


def test_what_is_kept_beside_the_entries_is_in_the_same_transaction(make: Make) -> None:
    one = make()
    seen: list[Receipt] = []

    def also(connection: Connection, receipt: Receipt) -> None:
        seen.append(receipt)
        raise KeyError("what was to be kept beside it cannot be")

    with pytest.raises(KeyError):
        one.program.intake.record([one.draft("B7H", "rinse")], one.by("ana"), also=also)
    assert len(seen) == 1
    assert kinds(one) == ["commissioned"]


def test_a_receipt_says_what_is_owed(make: Make) -> None:
    one = make()
    uuid_ = one.machine("B7H")
    receipt = one.tell("B7H", "start")
    assert [owed.duty for owed in receipt.owed[uuid_]][:3] == ["rinse", "charge", "squeegee"]
    assert all(owed.due is None and not owed.late for owed in receipt.owed[uuid_][:3])
    one.now = START + HOUR
    receipt = one.program.intake.record([one.draft("B7H", "rinse"), one.draft("B7H", "put_away")], one.by("ana"))
    assert "rinse" not in [owed.duty for owed in receipt.owed[uuid_]]
    charge = next(owed for owed in receipt.owed[uuid_] if owed.duty == "charge")
    assert charge.due == one.now + 30 * MINUTE
    assert not charge.late


# ------------------------------------------------------------------------------------------------ the same id again


def test_the_same_id_again_is_answered_as_the_first_time(make: Make) -> None:
    one = make()
    first = one.draft("B7H", "put_away", START - HOUR, charge_pct=40)
    second = one.draft("B7H", "charge")
    given = one.program.intake.record([first, second], one.by("ana"))
    one.now += 3 * HOUR
    again = one.program.intake.record([second, first], one.by("ana"))
    assert [(e.id, e.seq, e.recorded_at) for e in again.entries] == [
        (e.id, e.seq, e.recorded_at) for e in reversed(given.entries)
    ]
    assert all(entry.repeated for entry in again.entries)
    assert len(rows_of(one)) == 3


def test_a_crash_between_commit_and_answer_is_mended_by_sending_again(make: Make) -> None:
    one = make()
    draft = one.draft("B7H", "rinse", START - HOUR)
    one.program.intake.woken = lambda _at: (_ for _ in ()).throw(OSError("power"))
    with pytest.raises(OSError, match="power"):
        one.program.intake.record([draft], one.by("ana"))
    one.program.intake.woken = lambda _at: None
    one.now += MINUTE
    [entry] = one.program.intake.record([draft], one.by("ana")).entries
    assert (entry.repeated, entry.seq, entry.recorded_at) == (True, 2, START)


def test_a_new_entry_beside_a_repeated_one_is_recorded(make: Make) -> None:
    one = make()
    old = one.draft("B7H", "rinse")
    one.program.intake.record([old], one.by("ana"))
    one.now += MINUTE
    receipt = one.program.intake.record([old, one.draft("B7H", "charge")], one.by("ana"))
    assert [entry.repeated for entry in receipt.entries] == [True, False]
    assert kinds(one) == ["commissioned", "rinse", "charge"]


def test_the_same_id_twice_in_one_call_is_one_entry(make: Make) -> None:
    one = make()
    draft = one.draft("B7H", "rinse")
    receipt = one.program.intake.record([draft, draft], one.by("ana"))
    assert [(entry.seq, entry.repeated) for entry in receipt.entries] == [(2, True), (2, True)]
    assert kinds(one) == ["commissioned", "rinse"]


CHANGES: list[dict[str, Any]] = [
    {"kind": "charge", "data": {}},
    {"data": {"charge_pct": 41}},
    {"data": {}},
    {"occurred_at": START - 2 * HOUR},
    {"occurred_at": None},
]


@pytest.mark.parametrize("change", CHANGES)
def test_the_same_id_with_other_content_is_refused(make: Make, change: dict[str, Any]) -> None:
    one = make()
    draft = one.draft("B7H", "put_away", START - HOUR, charge_pct=40)
    one.program.intake.record([draft], one.by("ana"))
    fields = {name: getattr(draft, name) for name in ("id", "log", "kind", "data", "occurred_at")}
    with refused("id_reused"):
        one.program.intake.record([Draft(**{**fields, **change})], one.by("ana"))
    with refused("id_reused"):
        one.program.intake.record([Draft(**{**fields, "log": one.machine("B8F")})], one.by("ana"))
    assert len(rows_of(one)) == 2


def test_what_was_told_at_once_is_not_repeated_as_told_of_another_time(make: Make) -> None:
    one = make()
    draft = one.draft("B7H", "rinse")
    one.program.intake.record([draft], one.by("ana"))
    with refused("id_reused"):
        one.program.intake.record([one.draft("B7H", "rinse", START - HOUR, id=draft.id)], one.by("ana"))
    [entry] = one.program.intake.record([draft], one.by("ana")).entries
    assert entry.repeated


def test_a_phone_whose_clock_is_ahead_is_known_again(make: Make) -> None:
    one = make()
    draft = one.draft("B7H", "rinse", START + 5 * MINUTE)
    [first] = one.program.intake.record([draft], one.by("ana")).entries
    assert first.occurred_at == first.recorded_at == START
    one.now += HOUR
    [again] = one.program.intake.record([draft], one.by("ana")).entries
    assert again.repeated
    with refused("id_reused"):
        one.program.intake.record([one.draft("B7H", "rinse", START + 6 * MINUTE, id=draft.id)], one.by("ana"))


def test_private_words_must_be_the_same_too_until_they_are_erased(make: Make) -> None:
    one = make()
    draft = one.draft("B7H", "fault", note="hose leaks")
    one.program.intake.record([draft], one.by("ana"))
    other = one.draft("B7H", "fault", id=draft.id, note="hose burst")
    with refused("id_reused"):
        one.program.intake.record([other], one.by("ana"))
    with refused("id_reused"):
        one.program.intake.record([one.draft("B7H", "fault", id=draft.id)], one.by("ana"))
    assert one.program.intake.record([draft], one.by("ana")).entries[0].repeated
    one.program.store.write(lambda c: words.erase(c, one.machine("B7H"), [draft.id]))
    assert one.program.intake.record([other], one.by("ana")).entries[0].repeated
    assert sound(one)


def test_commissioned_again_is_answered_and_another_one_refused(make: Make) -> None:
    one = make()
    row = rows_of(one)[0]
    data = json.loads(row.bytes)["data"]
    draft = Draft(row.id, one.machine("B7H"), "commissioned", data, row.occurred_at)
    assert one.program.intake.record([draft], PROGRAM).entries[0].repeated
    with refused("not_commissioned"):
        one.program.intake.record([Draft(one.ids(), one.machine("B7H"), "commissioned", data)], PROGRAM)


# ---------------------------------------------------------------------------------- one act, told by two ways


def merging(draft: Draft, **change: Any) -> Draft:
    fields = {name: getattr(draft, name) for name in ("id", "log", "kind", "data", "occurred_at")}
    return Draft(**{**fields, **change}, merge=True)


@pytest.mark.parametrize("change", [{"data": {}}, {"occurred_at": START - 2 * HOUR}, {"occurred_at": None}])
def test_an_act_that_came_by_another_way_stands_as_it_came_first(make: Make, change: dict[str, Any]) -> None:
    one = make()
    draft = one.draft("B7H", "put_away", START - HOUR, charge_pct=40)
    [first] = one.program.intake.record([merging(draft)], one.by("ana")).entries
    assert not first.repeated
    one.now += HOUR
    [again] = one.program.intake.record([merging(draft, **change)], one.by("ana", "text")).entries
    assert (again.repeated, again.seq, again.occurred_at) == (True, 2, START - HOUR)
    assert one.entries("B7H")[1:] == [("put_away", START, {"charge_pct": 40})]
    assert sound(one)


def test_private_words_that_came_by_another_way_stand_as_they_came_first(make: Make) -> None:
    one = make()
    draft = one.draft("B7H", "fault", note="hose leaks")
    one.program.intake.record([draft], one.by("ana", "text"))
    [again] = one.program.intake.record([merging(draft, data={"note": "hose leaks again"})], one.by("ana")).entries
    assert again.repeated
    assert one.read(lambda c: [word.content for word in words.of_entry(c, one.machine("B7H"), draft.id)]) == [
        b"hose leaks"
    ]


def test_another_act_is_never_merged(make: Make) -> None:
    one = make()
    draft = one.draft("B7H", "rinse")
    one.program.intake.record([draft], one.by("ana"))
    for change in ({"kind": "charge"}, {"log": one.machine("B8F")}):
        with refused("id_reused"):
            one.program.intake.record([merging(draft, **change)], one.by("ana", "text"))
    with refused("bad_data"):  # it is looked at as ever, even if it adds nothing
        one.program.intake.record([merging(draft, data={"colour": "red"})], one.by("ana", "text"))
    assert kinds(one) == ["commissioned", "rinse"]
    assert kinds(one, "B8F") == ["commissioned"]


def test_what_was_struck_is_not_told_anew_by_another_way(make: Make) -> None:
    one = make()
    draft = one.draft("B7H", "rinse")
    one.program.intake.record([draft], one.by("ana"))
    one.tell("B7H", "void", entry=draft.id)
    [again] = one.program.intake.record([merging(draft)], one.by("ana", "text")).entries
    assert again.repeated
    assert kinds(one) == ["commissioned", "rinse", "void"]


# ---------------------------------------------------------------------------------------------- what is turned away


def test_times_that_cannot_be(make: Make) -> None:
    one = make()
    with refused("future_time"):
        one.tell("B7H", "rinse", START + 5 * MINUTE + 1)
    with refused("too_early"):
        one.tell("B7H", "rinse", parse("2026-03-01T12:00:00Z") - 1)
    one.tell("B7H", "rinse", "2026-03-01T12:00:00Z")
    assert len(rows_of(one)) == 2


def test_nothing_of_one_call_happened_before_the_commissioning_in_it(make: Make) -> None:
    one = make()
    register = one.register
    machine, fleet_uuid = one.ids(), fleet_log(one)
    del register
    one.program.intake.record(
        [Draft(one.ids(), fleet_uuid, "machine_set", {"machine": machine, "code": "C2N"})], PROGRAM
    )
    one.program.store.write(lambda c: log.create(c, machine, "machine", "C2N"))
    first = Draft(one.ids(), machine, "commissioned", {"site": "HX", "battery": "sealed"}, START - HOUR)
    early = Draft(one.ids(), machine, "start", {}, START - 2 * HOUR)
    with refused("too_early"):
        one.program.intake.record([first, early], one.by("own"))
    with refused("not_commissioned"):
        one.program.intake.record([early, first], one.by("own"))
    one.program.intake.record([first, Draft(one.ids(), machine, "start", {}, START - HOUR)], one.by("own"))
    assert kinds(one, "C2N") == ["commissioned", "start"]


def test_unknown_machine_site_kind_version_and_id(make: Make) -> None:
    one = make()
    cases: list[tuple[str, Draft]] = [
        ("unknown_machine", Draft(one.ids(), one.ids(), "rinse")),
        ("unknown_site", one.draft("B7H", "moved", site="XX")),
        ("unknown_kind", one.draft("B7H", "polished")),
        ("unknown_version", Draft(one.ids(), one.machine("B7H"), "rinse", version=99)),
        ("bad_id", one.draft("B7H", "rinse", id="rinse-1")),
        ("bad_id", one.draft("B7H", "rinse", id=one.ids().upper())),
        ("bad_data", one.draft("B7H", "rinse", note="no such field")),
        ("bad_data", one.draft("B7H", "segments", left_um=[])),
        ("unknown_duty", one.draft("B7H", "excused", duty="dusting", opened_by=one.ids())),
        ("wrong_log", one.draft("B7H", "settings", values={"filter": False})),
        ("wrong_log", Draft(one.ids(), fleet_log(one), "rinse")),
    ]
    for code, draft in cases:
        with refused(code):
            one.program.intake.record([draft], one.by("own"))
    assert kinds(one) == ["commissioned"]


def test_roles(make: Make) -> None:
    one = make()
    cases: list[tuple[str, dict[str, Any]]] = [
        ("held", {}), ("retired", {}), ("excused", {"duty": "filter", "opened_by": one.ids()}),
    ]  # fmt: skip
    for kind, data in cases:
        with refused("not_allowed"):
            one.tell("B7H", kind, **data)
    raised: dict[str, Any] = {"duty": "rinse", "opened_by": one.ids(), "number": 1, "due_at": text(START)}
    for who in (one.by("own"), one.by("ana"), PROGRAM):
        with refused("not_allowed"):
            one.program.intake.record([one.draft("B7H", "alert_raised", **raised)], who)
    one.tell("B7H", "held", who="lee")
    with refused("not_allowed"):
        one.program.intake.record([one.draft("B7H", "rinse")], CLOCK)
    with refused("not_allowed"):
        one.program.intake.record([Draft(one.ids(), fleet_log(one), "settings", {"values": {}})], one.by("ana"))
    with refused("not_allowed"):
        one.program.intake.record(
            [Draft(one.ids(), fleet_log(one), "opted_out", {"person": one.person("lee"), "way": "mail"})], one.by("own")
        )


def test_what_a_void_may_strike(make: Make) -> None:
    one = make()
    here = one.tell("B7H", "rinse").entries[0].id
    there = one.tell("B8F", "rinse", who="kim").entries[0].id
    with refused("unknown_entry"):
        one.tell("B7H", "void", entry=there)
    with refused("unknown_entry"):
        one.tell("B7H", "void", entry=one.ids())
    with refused("not_strikable"):
        one.tell("B7H", "void", entry=rows_of(one)[0].id)
    struck = one.tell("B7H", "void", entry=here, why="slip").entries[0].id
    with refused("not_strikable"):
        one.tell("B7H", "void", entry=struck)
    one.tell("B7H", "put_away")
    one.step(START + 31 * MINUTE)
    raised = next(row for row in rows_of(one) if row.kind == "alert_raised")
    with refused("not_strikable"):
        one.tell("B7H", "void", entry=raised.id)


def test_a_correction_is_known_by_the_first_of_its_chain(make: Make) -> None:
    one = make()
    first = one.tell("B7H", "fault", note="belt squeals").entries[0].id
    second, third = one.draft("B7H", "fault", corrects=first), one.ids()
    one.program.intake.record([one.draft("B7H", "void", entry=first), second], one.by("ana"))
    drafts = [one.draft("B7H", "void", entry=second.id), one.draft("B7H", "fault", id=third, corrects=second.id)]
    one.program.intake.record(drafts, one.by("ana"))
    assert [row.root for row in rows_of(one) if row.kind == "fault"] == [None, first, first]
    one.step(START + 5 * HOUR)
    assert one.alert("B7H", "fault").opened_by == first
    for unknown in (one.ids(), one.tell("B8F", "rinse", who="kim").entries[0].id):
        with refused("unknown_entry"):
            one.tell("B7H", "fault", corrects=unknown)
    assert sound(one)


# ------------------------------------------------------------------------------------------------ time of recording


def test_recorded_at_never_goes_back_although_the_clock_does(make: Make) -> None:
    one = make()
    one.now = START + HOUR
    one.tell("B7H", "start")
    one.now = START
    [entry] = one.tell("B7H", "put_away").entries
    assert entry.recorded_at == START + HOUR
    one.step()
    one.tell("B8F", "start", who="kim")  # another log has its own time
    assert rows_of(one, "B8F")[-1].recorded_at == START
    assert sound(one)


def test_recorded_late(make: Make) -> None:
    one = make(policy={"late_after": "PT2H"})
    assert not one.tell("B7H", "rinse", START - 2 * HOUR).entries[0].late
    assert one.tell("B7H", "rinse", START - 2 * HOUR - SECOND).entries[0].late


# --------------------------------------------------------------------------------------------- names and private words


def test_a_person_has_one_pseudonym_a_machine_and_another_on_the_next(make: Make) -> None:
    one = make()
    for kind in ("start", "rinse"):
        one.tell("B7H", kind)
    one.program.intake.record([one.draft("B8F", "start")], one.by("ana"))
    one.tell("B7H", "held", who="lee")

    def reporters(code: str) -> list[str]:
        return [json.loads(row.bytes)["reporter"] for row in rows_of(one, code)]

    here, there = reporters("B7H"), reporters("B8F")
    assert here[0] == there[0] == "program"
    assert here[1] == here[2] != there[1]
    assert here[3] not in (here[1], there[1])
    ana = one.person("ana")
    assert ana not in (*here, *there)
    assert one.read(lambda c: words.person_of(c, one.machine("B7H"), here[1])) == ana
    assert one.read(lambda c: words.person_of(c, one.machine("B8F"), here[1])) is None


def test_private_words_are_committed_to_and_not_in_the_bytes(make: Make) -> None:
    one = make()
    for _ in range(2):
        one.tell("B7H", "fault", note="Maria says the hose leaks")
    rows = [row for row in rows_of(one) if row.kind == "fault"]
    kept: list[words.Word] = one.read(lambda c: words.of_machine(c, one.machine("B7H")))
    for row in rows:
        assert b"Maria" not in row.bytes
        assert json.loads(row.bytes)["data"] == {}
        [word] = [each for each in kept if each.entry == row.id]
        assert word.content.decode() == "Maria says the hose leaks"
        assert len(word.salt) >= 16
    commitments = {json.loads(row.bytes)["private"]["note"] for row in rows}
    assert len(commitments) == 2, "the same words under one salt could be recognised"
    for row in one.read(lambda c: list(log.by_seq(c, fleet_log(one)))):
        for secret in (b"Ana", b"5550111", b"lee@ferry.example"):
            assert secret not in row.bytes
    assert sound(one)


def test_every_origin_is_the_fleets(make: Make) -> None:
    one = make()
    one.tell("B7H", "start")
    assert {json.loads(row[7])["log"] for row in one.read(lambda c: list(log.every(c)))} == {"ferry.example/log"}


# ---------------------------------------------------------------------------------------------------- the fleet's log


BAD: list[tuple[str, dict[str, Any]]] = [
    ("fleet_founded", {"name": "Ferry", "origin": "elsewhere.example/log"}),
    ("site_set", {"site": "XX", "name": "Nowhere", "zone": "America/Nowhere"}),
    ("site_set", {"site": "XX", "name": "X", "zone": "UTC",
                  "nights": [{"rule": "FREQ=NEVER", "from": "22:00", "to": "06:00"}]}),
    ("settings", {"values": {"rinse.graze": "PT5M"}}),
    ("settings", {"site": "XX", "values": {"filter": False}}),
    ("machine_set", {"machine": "0192d5c8-0000-7000-8000-00000000000b", "code": "b7h"}),
    ("person_left", {"person": "0192d5c8-0000-7000-8000-00000000000a"}),
    ("person_set", {"person": "0192d5c8-0000-7000-8000-00000000000a", "role": "cleaner", "key": "ana"}),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "data"), BAD, ids=[f"{kind} {number}" for number, (kind, _) in enumerate(BAD)])
def test_what_the_fleets_log_never_holds(make: Make, kind: str, data: dict[str, Any]) -> None:
    one = make()
    before = one.read(lambda c: log.head(c, fleet_log(one)))
    good = Draft(one.ids(), fleet_log(one), "settings", {"values": {"rinse.grace": "PT5M"}})
    with refused("not_in_register"):
        one.program.intake.record([good, Draft(one.ids(), fleet_log(one), kind, data)], PROGRAM)
    assert one.read(lambda c: log.head(c, fleet_log(one))) == before
    assert one.register.settings() == {}, "what was given up is not in force"


def test_policy_is_in_force_from_its_recording_on_and_a_duty_keeps_its_numbers(make: Make) -> None:
    one = make()
    one.tell("B7H", "put_away")
    one.now = START + MINUTE
    one.apply(fleet(policy={"rinse.grace": "PT5M"}))
    one.tell("B8F", "put_away", who="kim")
    one.step(START + 7 * MINUTE)
    assert [data["duty"] for _k, _at, data in one.entries("B8F", "alert_raised")] == ["rinse"]
    assert one.entries("B7H", "alert_raised") == []
    one.until(START + 40 * MINUTE)
    assert one.alert("B7H", "rinse").due_at == START + 30 * MINUTE
    assert one.alert("B8F", "rinse").due_at == START + 6 * MINUTE


def test_applying_a_file_twice_adds_nothing(make: Make) -> None:
    one = make(
        policy={"rinse.grace": "PT5M", "quiet": "22:00-06:00"},
        site=[
            {"code": "HX", "name": "North Slip", "zone": "America/Halifax",
             "nights": [{"rule": "FREQ=DAILY", "from": "22:00", "to": "06:00", "except": ["2026-12-25"]}],
             "order": {"account": "A-1", "email": "parts@dealer.example"}, "policy": {"filter": False}},
            {"code": "SJ", "name": "Harbour Hall", "zone": "America/St_Johns"},
        ],
    )  # fmt: skip
    heads = one.read(lambda c: list(log.logs(c)))
    one.now += HOUR
    one.program.intake.woken = lambda _at: None
    one.apply(
        fleet(
            policy={"rinse.grace": "PT5M", "quiet": "22:00-06:00"},
            site=[
                {"code": "HX", "name": "North Slip", "zone": "America/Halifax",
                 "nights": [{"rule": "FREQ=DAILY", "from": "22:00", "to": "06:00", "except": ["2026-12-25"]}],
                 "order": {"email": "parts@dealer.example", "account": "A-1"}, "policy": {"filter": False}},
                {"code": "SJ", "name": "Harbour Hall", "zone": "America/St_Johns"},
            ],
        )
    )  # fmt: skip
    assert one.read(lambda c: list(log.logs(c))) == heads
    assert sound(one)


def test_a_refused_file_leaves_nothing_behind(make: Make) -> None:
    one = make()
    heads = one.read(lambda c: list(log.logs(c)))
    more = [*fleet()["machine"],
            {"code": "C2N", "site": "HX", "battery": "sealed", "commissioned_at": "2026-03-09T12:00:00Z"}]  # fmt: skip
    with refused("future_time"):
        one.apply(fleet(machine=more, policy={"rinse.grace": "PT5M"}))
    assert one.read(lambda c: list(log.logs(c))) == heads
    assert "C2N" not in one.register.by_code
    assert one.register.settings() == {}


# ------------------------------------------------------------------------------------------------ waking the clock


def test_the_clock_is_woken_for_when_something_is_due(make: Make) -> None:
    one = make(policy={"remind": False})
    heard: list[int] = []
    one.program.intake.woken = heard.append
    one.tell("B7H", "put_away")
    assert heard == [START + 30 * MINUTE]
    one.tell("B7H", "held", who="lee")
    one.tell("B7H", "start")  # due at once
    assert heard[-1] == START
    heard.clear()
    one.program.intake.record([], one.by("ana"))
    assert heard == []


def test_an_entry_never_puts_off_what_the_clock_has_not_done_yet(make: Make) -> None:
    """A reminder was due, the clock was busy, and then another entry of the machine came first."""
    one = make()
    one.tell("B7H", "put_away")
    one.now = START + 15 * MINUTE
    one.tell("B7H", "wipe")  # in the very instant of the reminder, before the clock
    one.step()
    assert [message.kind for message in one.messages(to="ana")] == ["reminder"]
    other = make()
    other.tell("B7H", "put_away")
    other.now = START + 16 * MINUTE  # the clock is a minute late
    other.tell("B7H", "wipe")
    other.step()
    assert [message.kind for message in other.messages(to="ana")] == ["reminder"]


def test_a_database_that_fails_says_so_and_keeps_nothing(make: Make) -> None:
    one = make()
    one.program.store.close()
    with pytest.raises(StoreError):
        one.program.intake.record([Draft(str(uuid.uuid4()), str(uuid.uuid4()), "rinse")], By(None, "owner", "form"))
