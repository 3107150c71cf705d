"""`record`, `step`, `owed`, `alerts`, `history`: from an entry to what is owed, alerted and remembered."""

from __future__ import annotations

import pytest
from freezegun import freeze_time

ID = "0192d5c8-0000-7000-8000-0000000000aa"


@pytest.fixture
def night(fleet, done):
    """B7H went out at 22:00 on 9 March and was put away at 01:00, rinsed; it was not put on charge."""
    with freeze_time("2026-03-10T12:00:00Z"):
        for kind, at in (("start", "01:00"), ("rinse", "03:50"), ("squeegee", "03:55"), ("put_away", "04:00")):
            done("record", "b7h", kind, "--by", "jo", "--at", f"2026-03-10T{at}:00Z")


def test_what_is_owed_after_a_night(night, asked, done):
    with freeze_time("2026-03-10T12:00:00Z"):
        found = {each["duty"]: each for each in asked("owed", "B7H")}
        assert {"charge", "filter", "watering", "segments"} == set(found)
        assert (found["charge"]["due_at"], found["charge"]["late"]) == ("2026-03-10T04:30:00Z", True)
        assert found["segments"]["late"] is False
        everyone = asked("owed")
        assert {each["machine"] for each in everyone} == {"B7H", "C4J", "R4X"}
        assert [each for each in everyone if each["machine"] == "B7H"] == list(found.values())
        assert "battery charge" in done("owed", "B7H")
        assert "2026-03-10 01:30 ADT" in done("owed", "B7H")


def test_a_machine_that_is_out_owes_what_putting_it_away_would_open(fleet, asked, done):
    with freeze_time("2026-03-10T02:00:00Z"):
        done("record", "C4J", "start", "--by", "jo")
        found = [each for each in asked("owed", "C4J") if each["due_at"] is None]
        assert {each["duty"] for each in found} == {"rinse", "charge", "squeegee"}
        start = asked("history", "C4J")[-1]["id"]
        assert {each["opened_by"] for each in found} == {start}
        assert "after it is put away" in done("owed", "C4J")


def test_the_clock_raises_clears_and_tells_when_it_acts_next(night, asked, done):
    first = asked("step", "--now", "2026-03-10T12:00:00Z")
    assert first["machines"] > 0
    second = asked("step", "--now", "2026-03-10T12:30:00Z")
    live = asked("alerts")
    assert first["raised"] + second["raised"] == len(live)
    charge = next(each for each in live if each["duty"] == "charge")
    assert (charge["machine"], charge["due_at"], charge["number"]) == ("B7H", "2026-03-10T04:30:00Z", 1)
    assert "battery charge" in done("alerts")
    assert asked("step", "--now", "2026-03-10T12:30:00Z")["raised"] == 0
    with freeze_time("2026-03-10T13:00:00Z"):
        done("record", "B7H", "charge", "--by", "jo")
    assert asked("step", "--now", "2026-03-10T13:00:00Z")["cleared"] >= 0
    assert "charge" not in [each["duty"] for each in asked("alerts")]
    cleared = [row for row in asked("history", "B7H") if row["kind"] == "alert_cleared"]
    assert [(row["data"]["duty"], row["data"]["outcome"], row["role"]) for row in cleared] == [
        ("charge", "late", "clock")
    ]


def test_a_step_ahead_of_the_real_clock_is_warned_of(fleet, run):
    said = run("step", "--now", "2099-01-01T00:00:00Z", "--json")
    assert said.exit_code == 0
    assert "has not come yet" in said.stderr
    assert "--now" in run("step", "--now", "soon").stderr


def test_nothing_is_live_and_nothing_owed(fleet, asked, done, home):
    assert asked("alerts") == []
    assert done("alerts") == "No alert is live.\n"
    with freeze_time("2026-03-10T13:00:00Z"):
        done("record", "B7H", "retired", "--by", "jo")
        assert asked("owed", "B7H") == []
        assert done("owed", "B7H") == "Nothing is owed.\n"


def test_history_with_both_times_strikes_and_what_was_known(fleet, asked, done):
    with freeze_time("2026-03-10T04:10:00Z"):
        done("record", "B7H", "rinse", "--by", "jo", "--id", ID)
    with freeze_time("2026-03-10T04:20:00Z"):
        done("record", "B7H", "void", f"entry={ID}", "why=wrong machine", "--by", "jo")
    with freeze_time("2026-03-11T04:20:00Z"):
        done("record", "B7H", "fault", "note=hose leaks", "--by", "jo", "--at", "2026-03-10T04:00:00Z")
    told = asked("history", "B7H")
    assert [row["seq"] for row in told] == [1, 2, 3, 4]
    assert [(row["kind"], row["recorded_late"]) for row in told[1:]] == [
        ("rinse", False),
        ("void", False),
        ("fault", True),
    ]
    assert told[1]["struck_by"] == told[2]["id"]
    assert told[2]["data"] == {"entry": ID, "why": "wrong machine"}
    assert told[3]["occurred_at"] == "2026-03-10T04:00:00Z"
    assert told[3]["recorded_at"] == "2026-03-11T04:20:00Z"
    assert (told[3]["role"], told[3]["channel"]) == ("supervisor", "command")
    text = done("history", "B7H")
    assert "recorded late" in text
    assert "struck" in text
    assert "2026-03-10 01:00 ADT" in text
    with freeze_time("2026-03-12T00:00:00Z"):
        early = asked("history", "B7H", "--known-at", "2026-03-10T04:15:00Z")
        now = asked("history", "B7H", "--known-at", "now")
    assert [(row["kind"], row["struck_by"]) for row in early] == [("commissioned", None), ("rinse", None)]
    assert [row["kind"] for row in now] == ["commissioned", "fault", "void"]
    some = asked("history", "B7H", "--from", "2026-03-10T04:00:00Z", "--until", "2026-03-10T04:00:00Z")
    assert [row["kind"] for row in some] == ["fault"]


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["Z9Z", "rinse"], "no machine 'Z9Z'"),
        (["B7H", "rinsse"], "logbook kinds"),
        (["B7H", "segments"], "left_um"),
        (["B7H", "watering", "water_ml=lots"], "water_ml"),
        (["B7H", "watering", "water_ml"], "key=value"),
        (["B7H", "watering", "water_ml=1", "water_ml=2"], "twice"),
        (["B7H", "rinse", "--at", "yesterday"], "--at"),
        (["B7H", "rinse", "--at", "2020-01-01T00:00:00Z"], "before the machine was commissioned"),
        (["B7H", "rinse", "--at", "2099-01-01T00:00:00Z"], "not come yet"),
        (["B7H", "rinse", "--id", "mine"], "UUID"),
        (["B7H", "alert_raised", "duty=rinse", "opened_by=x", "number=1", "due_at=2026-03-10T00:00:00Z"], "clock"),
        (["B7H", "site_set", "site=x", "name=x", "zone=UTC"], "fleet's log"),
        (["B7H", "fault", "note=\ud800"], "note"),
    ],
)
def test_record_refuses_in_one_sentence(words, why, fleet, refused, asked):
    before = asked("audit")["entries"]
    assert why in refused("record", *words, "--by", "jo")
    assert asked("audit")["entries"] == before


def test_record_needs_somebody_who_may(fleet, refused, asked):
    assert "nobody in this fleet" in refused("record", "B7H", "rinse", "--by", "zoe").lower()
    assert "is for" in refused("record", "B7H", "held", "--by", "ana")
    said = asked("record", "B7H", "segments", "left_um=9500 9000", "--by", "jo", "--id", ID)
    assert (said["kind"], said["machine"], said["repeated"]) == ("segments", "B7H", False)
    again = ["record", "B7H", "segments", "left_um=[9500,9000]", "--by", "jo", "--id", ID]
    assert asked(*again)["repeated"] is True
    assert "another entry's" in refused("record", "B7H", "segments", "left_um=1", "--by", "jo", "--id", ID)
