"""`logbook texts`: what was kept aside, whose it is, and what is nobody's."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from logbook.bootstrap import program
from logbook.command.app import app
from logbook.intake import PROGRAM, Draft

FLEET = """
[fleet]
name = "Strait Ferries"
origin = "ferry.example/texts"
language = "en"
[[site]]
code = "north-slip"
name = "North Slip"
zone = "America/Halifax"
[[machine]]
code = "B7H"
site = "north-slip"
battery = "flooded"
commissioned_at = "2026-01-10T08:00:00Z"
[[person]]
key = "ana"
role = "cleaner"
sites = ["north-slip"]
phone = "+1 902 555 0150"
"""


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("LOGBOOK_DB", raising=False)
    (tmp_path / "fleet.toml").write_text(FLEET)
    runner = CliRunner()

    def call(*words: str, status: int = 0):
        result = runner.invoke(app, list(words))
        assert result.exit_code == status, result.output
        return result

    call("init")
    call("fleet", "apply", "fleet.toml")
    return call


def waiting(run) -> list[dict[str, object]]:
    return json.loads(run("texts", "list", "--json").stdout)


def test_a_strangers_text_waits_until_somebody_says_whose_it_is(run) -> None:
    run("text", "--from", "+19025550199", "B7H rinsed", status=1)
    (row,) = waiting(run)
    assert (row["outcome"], row["text"], row["sender"]) == ("unknown_sender", "B7H rinsed", "+19025550199")
    assert "rinsed" in run("texts", "take", str(row["id"]), "--as", "ana").stdout
    assert waiting(run) == []
    again = run("texts", "take", str(row["id"]), "--as", "ana", status=1)
    assert "waits" in again.stderr


def test_one_that_cannot_be_read_says_why_and_waits_on(run) -> None:
    run("text", "--from", "+19025550199", "B7H frobbed", status=1)
    (row,) = waiting(run)
    assert "NOT SAVED" in run("texts", "take", str(row["id"]), "--as", "ana", status=1).stderr
    assert len(waiting(run)) == 1
    assert "Set aside" in run("texts", "drop", str(row["id"])).stdout
    assert waiting(run) == []
    assert len(json.loads(run("texts", "list", "--all", "--json").stdout)) == 1


def test_nobody_and_nothing_are_said_plainly(run) -> None:
    assert "No text waits" in run("texts", "list").stdout
    assert "nobody" in run("texts", "take", "x", "--as", "nobody", status=1).stderr
    assert "'x'" in run("texts", "drop", "x", status=1).stderr


def test_what_a_newcomer_reports_is_marked_until_a_supervisor_answers(tmp_path, run) -> None:
    fleet = FLEET + '[[person]]\nkey = "jo"\nrole = "supervisor"\nsites = ["north-slip"]\nphone = "+1 902 555 0141"\n'
    (tmp_path / "fleet.toml").write_text(fleet)
    run("fleet", "apply", "fleet.toml")
    program_says_the_word(tmp_path)
    run("text", "--from", "+19025550177", "join gannet Rosa")
    run("text", "--from", "+19025550177", "B7H rinsed")

    def marks() -> list[bool]:
        rows = json.loads(run("history", "B7H", "--json").stdout)
        return [row["unconfirmed"] for row in rows if row["kind"] == "rinse"]

    assert marks() == [True]
    run("text", "--from", "+19025550141", "ok 0177")
    assert marks() == [False]


def program_says_the_word(folder: Path) -> None:
    """The word on the site's plates, as the register sets it."""
    logbook = program(f"sqlite:///{folder / 'logbook.sqlite'}")
    try:
        with logbook.store.read() as connection:
            fleet = logbook.registry.fleet(connection)
        word = Draft(logbook.intake.new_id(), fleet, "join_word", {"site": "north-slip", "word": "gannet"})
        logbook.intake.record([word], PROGRAM)
    finally:
        logbook.close()
