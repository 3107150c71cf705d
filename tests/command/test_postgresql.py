"""The same commands on PostgreSQL: what differs there is below the command, and it must not show."""

from __future__ import annotations

import pytest
from freezegun import freeze_time


@pytest.fixture
def on_postgresql(postgres_url, monkeypatch):
    monkeypatch.setenv("LOGBOOK_DB", postgres_url)


def test_from_nothing_to_an_audit(on_postgresql, home, asked, run, done):
    with freeze_time("2026-03-01T13:00:00Z"):
        assert asked("init")["created"] is True
        assert asked("fleet", "apply", "FLEET.toml")["commissioned"] == ["B7H", "C4J", "R4X"]
        assert asked("init")["created"] is False
    (home / "past.csv").write_text(
        "machine,kind,occurred_at\nB7H,rinse,2026-03-09 05:00\n"
        "B7H,rinse,2020-03-09 05:00\nC4J,charge,2026-03-09 06:00\n"
    )
    with freeze_time("2026-03-10T12:00:00Z"):
        said = run("import", "past.csv", "--by", "jo")
        assert said.stdout.startswith("3 lines: 2 recorded")
        assert run("import", "past.csv", "--by", "jo").stdout.startswith(
            "3 lines: 0 recorded (0 of them late), 2 there"
        )
        assert done("text", "--from", "+19025550150", "B7H todo").startswith("B7H 09:00 ")
        assert [row["kind"] for row in asked("history", "B7H")][1:3] == ["rinse", "empty"]
        owed = asked("owed")
        assert asked("rebuild")["rebuilt"] == ["B7H", "C4J", "R4X"]
        assert asked("owed") == owed
        asked("step", "--now", "2026-03-10T12:00:00Z")
    said = asked("audit")
    assert (said["verdict"], said["logs"]) == ("whole", 4)
    assert list(home.glob("*.sqlite")) == []
