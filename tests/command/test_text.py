"""`logbook text`: every worked text as an outside check would run it, and the desk's answers with a database."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from freezegun import freeze_time

AT = "2026-11-25T09:12:00Z"
WORKED = Path(__file__).parents[1] / "channels" / "text" / "worked.tsv"
ROWS = [line.split("\t") for line in WORKED.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
FLEET = '[[site]]\ncode = "slip"\nzone = "America/Halifax"\n' + "".join(
    f'[[machine]]\ncode = "{code}"\nsite = "slip"\n' for code in ("B7H", "C4J", "C5H", "B8F")
)
KEYS = ["entries", "refused", "control", "reply"]


@pytest.fixture
def rehearse(home, run):
    (home / "four.toml").write_text(FLEET)

    def rehearsed(message, *, fleet="four.toml", sender="+19025550150", at=AT):
        result = run("text", "--dry-run", "--fleet", fleet, "--from", sender, "--at", at, "--", message)
        said = json.loads(result.stdout)
        assert list(said) == KEYS
        assert result.stdout.count("\n") == 1
        if said["refused"] is None:
            assert (result.exit_code, result.stderr) == (0, "")
        else:
            assert result.exit_code == 1
            assert said["entries"] == []
            assert " ".join(said["reply"].split()) in result.stderr
        return said

    return rehearsed


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0])
def test_a_worked_text(row, rehearse):
    message, entries, other = [*row, "", ""][:3]
    said = rehearse(message)
    if entries:
        wanted = [each.split() for each in entries.split(" (")[0].split(";")]
        kinds = [words[1] if words[0][0].isupper() else words[0] for words in wanted]
        assert [each["kind"] for each in said["entries"]] == kinds
    else:
        assert other in (said["refused"], f"control {said['control']}")


def test_the_object_agreed_on(rehearse):
    assert rehearse("B7H rinsed. C4J sg 1265 0510") == {
        "entries": [
            {"machine": "B7H", "kind": "rinse", "occurred_at": "2026-11-25T09:12:00Z", "data": {}},
            {
                "machine": "C4J", "kind": "gravity", "occurred_at": "2026-11-25T09:10:00Z",
                "data": {"gravity_milli": 1265},
            },
        ],
        "refused": None, "control": None, "reply": "B7H 05:12 rinsed. C4J 05:10 gravity 1.265. Wrong? UNDO",
    }  # fmt: skip


def test_a_message_may_begin_with_a_dash(rehearse):
    assert [each["kind"] for each in rehearse("- B7H rinsed")["entries"]] == ["rinse"]


def test_the_sender_decides_language_zone_and_lone_machine(rehearse):
    fleet = "FLEET.toml"
    assert rehearse("B7H rinsed", fleet=fleet)["reply"].startswith("B7H 05:12 enjuagada")
    # iker has one machine at his site, half an hour east; ana has two; jo has all three.
    lone = rehearse("rinsed 0500", fleet=fleet, sender="+1 709 555 0163")
    assert [(each["machine"], each["occurred_at"]) for each in lone["entries"]] == [("R4X", "2026-11-25T08:30:00Z")]
    assert rehearse("enjuagada", fleet=fleet)["refused"] == "which_machine"
    assert rehearse("rinsed", fleet=fleet, sender="+19025550141")["refused"] == "which_machine"


def test_a_number_that_is_nobody_s_is_read_and_must_name_its_machine(rehearse, home):
    (home / "one.toml").write_text((home / "FLEET.toml").read_text().replace('north-slip"]', 'gannet-rock"]'))
    stranger = "+19025550199"
    said = rehearse("B7H rinsed", fleet="one.toml", sender=stranger)
    assert said["reply"].startswith("B7H 05:12 rinsed")
    assert rehearse("rinsed", fleet="one.toml", sender=stranger)["refused"] == "which_machine"
    assert rehearse("B7H rinsed", fleet="one.toml", sender="55512")["refused"] is None


def test_a_fleet_s_only_machine_unless_policy_wants_its_code(rehearse, home):
    one = '[[site]]\ncode = "slip"\nzone = "America/Halifax"\n[[machine]]\ncode = "B7H"\nsite = "slip"\n'
    (home / "one.toml").write_text(one)
    assert rehearse("rinsed", fleet="one.toml")["entries"][0]["machine"] == "B7H"
    (home / "one.toml").write_text("[policy]\nlone_machine = false\n" + one)
    assert rehearse("rinsed", fleet="one.toml")["refused"] == "which_machine"
    (home / "one.toml").write_text(one + "policy = { lone_machine = false }\n")
    assert rehearse("rinsed", fleet="one.toml")["refused"] == "which_machine"


def test_a_bad_instant_is_refused(refused):
    words = ["text", "--dry-run", "--fleet", "FLEET.toml", "--from", "+19025550150"]
    assert "--at" in refused(*words, "--at", "today", "B7H rinsed")


def test_a_text_is_recorded_and_answered(fleet, done, asked, run):
    with freeze_time("2026-03-10T08:00:00Z"):
        said = done("text", "--from", "+1 902 555 0150", "B7H enjuagada")
        assert said.startswith("B7H 05:00 enjuagada. ")
    with freeze_time("2026-03-10T09:00:00Z"):
        earlier = asked("text", "--from", "+19025550150", "--at", "2026-03-10T08:30:00Z", "B7H cargada")
    assert (earlier["outcome"], len(earlier["recorded"])) == ("saved", 1)
    assert list(earlier)[:4] == KEYS
    told = asked("history", "B7H")[-1]
    assert (told["kind"], told["occurred_at"], told["recorded_at"]) == (
        "charge", "2026-03-10T08:30:00Z", "2026-03-10T09:00:00Z",
    )  # fmt: skip
    assert done("text", "--from", "+19025550150", "pendiente")


def test_a_cleaner_s_one_machine_is_meant_live_as_in_rehearsal(fleet, asked, done, rehearse):
    with freeze_time("2026-03-10T08:00:00Z"):
        said = asked("text", "--from", "+17095550163", "rinsed 0300")
    there = rehearse("rinsed 0300", fleet="FLEET.toml", sender="+17095550163", at="2026-03-10T08:00:00Z")
    assert said["entries"] == there["entries"]
    assert [each["machine"] for each in said["entries"]] == ["R4X"]


def test_a_text_that_is_not_recorded(fleet, run):
    for sender, message, outcome in (
        ("+19025550150", "B7H no cargada", "negated"),
        ("+19025550188", "B7H rinsed", "unknown_sender"),
        ("+19025550150", "deshacer", "nothing_to_undo"),
    ):
        said = run("text", "--from", sender, "--json", message)
        assert said.exit_code == 1
        answer = json.loads(said.stdout)
        assert answer["outcome"] == outcome
        assert answer["recorded"] == []
        assert "NO GUARDADO" in said.stderr or "NOT SAVED" in said.stderr
