"""`logbook erase`, and an older backup that is put back."""

from __future__ import annotations

import shutil
import sqlite3

import pytest

NAME = "Jo Marsh"


@pytest.fixture
def people(fleet, done, home):
    text = (home / "FLEET.toml").read_text(encoding="utf-8")
    text += '\n[[person]]\nkey = "boss"\nname = "Kim Noor"\nrole = "owner"\nemail = "kim@kittiwake.example"\n'
    (home / "FLEET.toml").write_text(text, encoding="utf-8")
    done("fleet", "apply", "FLEET.toml")
    done("record", "B7H", "note", "--by", "jo", "note=my own mulberry remark")
    return home


def _bytes(home):
    sqlite3.connect(home / "logbook.sqlite").execute("PRAGMA wal_checkpoint(TRUNCATE)").connection.close()
    return (home / "logbook.sqlite").read_bytes()


def test_erasing_from_the_command_line(people, asked, refused, done):
    assert b"mulberry" in _bytes(people)
    assert "Say whom" in refused("erase", "jo")
    assert "Nobody" in refused("erase", "nix", "--ground", "asked", "--by", "boss", "--yes")
    assert "leave their name" in refused("erase", "jo", "--ground", f"{NAME} asked", "--by", "boss", "--yes")
    said = asked("erase", "jo", "--ground", "asked by the person", "--by", "boss", "--yes")
    assert said["thorough"] is True
    assert said["items"] >= 3
    assert b"mulberry" not in _bytes(people)
    assert NAME.encode() not in _bytes(people)
    assert asked("audit")["verdict"] == "whole"
    assert "Nobody" in refused("erase", "jo", "--ground", "asked", "--by", "boss", "--yes")


def test_it_asks_first_and_shows_what_goes(people, run):
    said = run("erase", "jo", "--ground", "asked", "--by", "boss")
    assert said.exit_code == 1
    assert "remarks" in said.stderr
    assert "Nothing was erased" in said.stderr or "Aborted" in said.stderr
    assert b"mulberry" in _bytes(people)


def test_a_backup_put_back_is_erased_again(people, asked, done):
    _bytes(people)
    shutil.copy(people / "logbook.sqlite", people / "old.sqlite")
    asked("erase", "jo", "--ground", "asked by the person", "--by", "boss", "--yes")
    shutil.copy(people / "old.sqlite", people / "logbook.sqlite")
    assert b"mulberry" in _bytes(people)
    assert len(asked("erase", "--again")["erased"]) == 1
    assert b"mulberry" not in _bytes(people)
    assert asked("erase", "--again")["erased"] == []
    assert asked("audit")["verdict"] == "whole"


def test_a_list_that_cannot_be_read_is_told_of(people, refused):
    (people / "logbook.sqlite.erased").write_text("nonsense\n")
    assert "not a line" in refused("erase", "--again")
    assert "no list" in refused("erase", "--again", "--list", "elsewhere")


def test_the_server_erases_again_before_it_begins(people, asked):
    from logbook.bootstrap import program
    from logbook.command.serve import _erase_again

    _bytes(people)
    shutil.copy(people / "logbook.sqlite", people / "old.sqlite")
    asked("erase", "jo", "--ground", "asked by the person", "--by", "boss", "--yes")
    shutil.copy(people / "old.sqlite", people / "logbook.sqlite")
    running = program("sqlite:///logbook.sqlite")
    try:
        _erase_again(running)
        _erase_again(running)
    finally:
        running.close()
    assert b"mulberry" not in _bytes(people)
    assert asked("audit")["verdict"] == "whole"
