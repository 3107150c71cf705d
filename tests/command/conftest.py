"""The command as a person runs it: in a folder of its own, with a small fleet's file and, if asked, its database."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time
from typer.testing import CliRunner, Result

from logbook.command.app import app

FLEET = """
[fleet]
name = "Kittiwake Crossings"
origin = "kittiwake.example/floors"
language = "en"

[policy]
"rinse.grace" = "PT40M"

[[site]]
code = "north-slip"
name = "North Slip"
zone = "America/Halifax"
policy = { "filter.every" = "P5D" }

[[site]]
code = "gannet-rock"
name = "Gannet Rock"
zone = "America/St_Johns"

[[machine]]
code = "B7H"
site = "north-slip"
battery = "flooded"
commissioned_at = "2026-03-01T08:00:00-04:00"
policy = { "watering.every" = "P4D" }

[[machine]]
code = "C4J"
site = "north-slip"
battery = "sealed"
commissioned_at = "2026-03-01T08:00:00-04:00"

[[machine]]
code = "R4X"
site = "gannet-rock"
battery = "lithium"
commissioned_at = "2026-03-01T08:00:00-03:30"

[[person]]
key = "jo"
name = "Jo Marsh"
role = "supervisor"
email = "jo@kittiwake.example"
phone = "+19025550141"

[[person]]
key = "ana"
name = "Ana Solis"
role = "cleaner"
language = "es"
phone = "+19025550150"
sites = ["north-slip"]

[[person]]
key = "iker"
name = "Iker Paz"
role = "cleaner"
phone = "+17095550163"
sites = ["gannet-rock"]
"""

Run = Callable[..., Result]


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty working folder, and no settings of whoever runs the tests."""
    monkeypatch.chdir(tmp_path)
    for name in [name for name in os.environ if name.startswith("LOGBOOK_")]:
        monkeypatch.delenv(name)
    (tmp_path / "FLEET.toml").write_text(FLEET, encoding="utf-8")
    return tmp_path


@pytest.fixture
def run() -> Run:
    """`run("owed", "B7H")`: the command's result. What is neither an answer nor a refusal comes up as it is."""

    def ran(*words: str) -> Result:
        result = CliRunner().invoke(app, list(words), prog_name="logbook")
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return result

    return ran


@pytest.fixture
def done(run: Run) -> Callable[..., str]:
    """Like `run`, for what must be done: answers with its stdout."""

    def ran(*words: str) -> str:
        result = run(*words)
        assert (result.exit_code, result.stderr) == (0, "")
        return result.stdout

    return ran


@pytest.fixture
def asked(done: Callable[..., str]) -> Callable[..., Any]:
    """Like `done`, with --json: answers with what stdout holds, which must be JSON and nothing else."""
    return lambda *words: json.loads(done(*words, "--json"))


@pytest.fixture
def refused(run: Run) -> Callable[..., str]:
    """Like `run`, for what must be refused: answers with the one sentence on stderr; nothing is on stdout."""

    def ran(*words: str) -> str:
        result = run(*words)
        assert (result.exit_code, result.stdout) == (1, "")
        assert result.stderr.startswith("logbook: ")
        assert result.stderr.count("\n") == 1
        return result.stderr.removeprefix("logbook: ").strip()

    return ran


@pytest.fixture
def fleet(done: Callable[..., str]) -> None:
    """A database in the working folder, with the fleet of FLEET.toml, since 1 March 2026."""
    with freeze_time("2026-03-01T13:00:00Z"):
        done("init")
        done("fleet", "apply", "FLEET.toml")
