"""`audit` finds what was altered behind the program's back; `rebuild` makes what is folded as it was."""

from __future__ import annotations

import json
import sqlite3

import pytest
from freezegun import freeze_time

NIGHT = ("2026-03-10T01:00:00Z", "start"), ("2026-03-10T03:50:00Z", "rinse"), ("2026-03-10T04:00:00Z", "put_away")


@pytest.fixture
def night(fleet, done):
    with freeze_time("2026-03-10T04:00:00Z"):
        for at, kind in NIGHT:
            done("record", "B7H", kind, "--by", "jo", "--at", at)
        done("record", "B7H", "fault", "note=hose leaks", "--by", "jo")


def alter(home, *statements):
    """What somebody with the file in hand can do: take the triggers away, and write."""
    database = sqlite3.connect(home / "logbook.sqlite", isolation_level=None)
    for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        database.execute(f'DROP TRIGGER "{name}"')
    for statement in statements:
        assert database.execute(statement).rowcount == 1
    database.close()


def test_a_sound_log_is_whole(night, asked, done):
    said = asked("audit")
    assert (said["verdict"], said["logs"], said["faults"]) == ("whole", 4, [])
    assert done("audit").startswith(f"WHOLE: {said['entries']} entries in 4 logs")


@pytest.mark.parametrize(
    ("statement", "seq", "why"),
    [
        ("UPDATE entry SET occurred_at = occurred_at - 1 WHERE kind = 'rinse'", 3, "column"),
        (
            "UPDATE entry SET bytes = CAST(replace(CAST(bytes AS TEXT), 'rinse', 'empty') AS BLOB) WHERE kind='rinse'",
            3,
            "hash",
        ),
        ("DELETE FROM entry WHERE kind = 'rinse'", 4, "gap"),
        ("DELETE FROM entry WHERE kind = 'fault'", 4, "head"),
        (
            "UPDATE private_word SET content = CAST('none' AS BLOB) WHERE CAST(content AS TEXT) = 'hose leaks'",
            5,
            "word",
        ),
        ("DELETE FROM entry_id WHERE id = (SELECT id FROM entry WHERE kind = 'put_away')", 4, "column"),
    ],
)
def test_what_was_altered_is_found(statement, seq, why, night, home, run):
    alter(home, statement)
    said = run("audit", "--json")
    assert said.exit_code == 1
    found = json.loads(said.stdout)
    assert found["verdict"] == "broken"
    assert [(fault["code"], fault["seq"], fault["why"]) for fault in found["faults"]] == [("B7H", seq, why)]
    assert said.stderr.startswith("logbook: BROKEN: ")
    shown = run("audit")
    assert shown.exit_code == 1
    assert shown.stdout.startswith("BROKEN: 1 of 4 logs.")
    assert "B7H" in shown.stdout


def test_a_log_under_another_fleet_s_name_is_found(night, home, run):
    # Every entry of the machine's log says the same wrong name; only beside the fleet's own log does it show.
    from logbook.evidence.canonical import leaf_hash

    database = sqlite3.connect(home / "logbook.sqlite", isolation_level=None)
    for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        database.execute(f'DROP TRIGGER "{name}"')
    machine = database.execute("SELECT machine FROM log WHERE code = 'R4X'").fetchone()[0]
    (content,) = database.execute("SELECT bytes FROM entry WHERE machine = ? AND seq = 1", (machine,)).fetchone()
    content = content.replace(b"kittiwake.example", b"cormorant.example")
    database.execute("UPDATE entry SET bytes = ?, hash = ? WHERE machine = ?", (content, leaf_hash(content), machine))
    database.execute("UPDATE log SET head = ? WHERE machine = ?", (leaf_hash(content), machine))
    database.close()
    found = json.loads(run("audit", "--json").stdout)["faults"]
    assert [(fault["code"], fault["why"]) for fault in found] == [("R4X", "log")]


def test_what_is_no_database_is_told(home, refused):
    (home / "logbook.sqlite").write_bytes(b"not a database, but long enough to be looked at" * 40)
    for words in (["audit"], ["owed"], ["init"]):
        assert "cannot be read or written" in refused(*words)
    assert "no database address" in refused("audit", "--db", "logbook.sqlite")


def test_rebuilding_changes_nothing_and_mends_what_was_lost(night, home, asked, done):
    with freeze_time("2026-03-10T04:20:00Z"):
        owed, entries = asked("owed"), asked("audit")["entries"]
        assert asked("rebuild") == {"rebuilt": ["B7H", "C4J", "R4X"]}
        assert asked("owed") == owed
        database = sqlite3.connect(home / "logbook.sqlite", isolation_level=None)
        for table in ("snapshot", "overdue", "due"):
            database.execute(f"DELETE FROM {table}")
        database.close()
        assert "3 machines" in done("rebuild")
        assert asked("owed") == owed
        assert asked("audit")["entries"] == entries
    with freeze_time("2026-03-10T05:00:00Z"):
        assert asked("step", "--now", "2026-03-10T05:00:00Z")["raised"] > 0


def test_a_machine_that_was_removed_whole_is_missed(tmp_path, monkeypatch):
    """No chain has a gap then; but the fleet's log still names the machine."""
    import json
    import sqlite3

    from typer.testing import CliRunner

    from logbook.command.app import app
    from tests.command.test_texts import FLEET

    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("LOGBOOK_DB", raising=False)
    (tmp_path / "fleet.toml").write_text(FLEET)
    runner = CliRunner()
    assert runner.invoke(app, ["init"]).exit_code == 0
    assert runner.invoke(app, ["fleet", "apply", "fleet.toml"]).exit_code == 0
    assert runner.invoke(app, ["audit"]).exit_code == 0
    with sqlite3.connect(tmp_path / "logbook.sqlite") as other:
        (machine,) = other.execute("SELECT machine FROM log WHERE kind = 'machine'").fetchone()
        for (name,) in other.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            other.execute(f'DROP TRIGGER "{name}"')
        for table in ("log", "entry", "entry_id", "snapshot", "due", "private_word", "pseudonym"):
            other.execute(f"DELETE FROM {table} WHERE machine = ?", (machine,))
    broken = runner.invoke(app, ["audit", "--json"])
    assert broken.exit_code == 1
    assert [fault["why"] for fault in json.loads(broken.stdout)["faults"]] == ["no_log"]
