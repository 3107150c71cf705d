"""Every command says what it is for, answers wrong usage with 2, and stands in the README."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest
from typer.main import get_command

from logbook.command.app import FAMILIES, app

README = Path(__file__).parents[2] / "README.md"
COMMANDS = get_command(app)
NAMES = COMMANDS.list_commands(None)


def test_the_promised_commands_are_there():
    promised = {
        "init", "fleet", "site", "policy", "kinds", "plates", "text", "record", "import", "owed", "alerts", "history",
        "step", "replay", "audit", "rebuild",
    }  # fmt: skip
    assert promised <= set(NAMES) <= set(FAMILIES)


@pytest.mark.parametrize("name", NAMES)
def test_a_command_has_help(name, run):
    said = run(name, "--help")
    assert said.exit_code == 0
    command = COMMANDS.get_command(None, name)
    assert command.help
    assert command.help.split()[0] in said.stdout
    for option in command.params:
        assert getattr(option, "help", None), f"{name} {option.name} says nothing of itself"


@pytest.mark.parametrize("name", NAMES)
def test_a_command_stands_in_the_readme(name):
    text = README.read_text(encoding="utf-8") if README.exists() else "@@COMMANDS@@"
    if "@@COMMANDS@@" in text:
        pytest.skip("the README's table of commands is not written yet")
    assert re.search(rf"`logbook {name}\b", text)


@pytest.mark.parametrize(
    "words",
    [
        ["wash"], ["owed", "--loud"], ["fleet", "wash"], ["replay", "--fleet", "FLEET.toml"], ["record", "B7H"],
        ["text", "--dry-run", "--from", "+19025550150", "B7H rinsed"], ["init", "--name", "Kittiwake"],
        ["init", "--witness", "claims@dealer.example"], ["site", "add", "east"],
    ],
    ids=" ".join,
)  # fmt: skip
def test_wrong_usage_is_2(words, run):
    said = run(*words)
    assert said.exit_code == 2
    assert said.stdout == ""
    assert "Error" in said.stderr


def test_without_a_command_the_help_is_shown(run):
    assert "replay" in run("--help").stdout


def test_the_installed_command_is_main(home):
    program = "import sys; sys.argv[0] = 'logbook'; from logbook.command import main; main()"
    root = Path(__file__).parents[2]
    said = subprocess.run(
        [sys.executable, "-c", program, "owed"], capture_output=True, text=True, cwd=home, env={"PYTHONPATH": str(root)}
    )
    assert said.returncode == 1
    assert said.stdout == ""
    assert said.stderr == (
        "logbook: There is no logbook in sqlite:///logbook.sqlite yet. Nothing was changed. Run: logbook init\n"
    )


def test_looking_into_a_database_that_is_not_there_makes_none(home, refused):
    for words in (["owed"], ["audit"], ["step"], ["fleet", "apply", "FLEET.toml"], ["history", "B7H"], ["rebuild"]):
        assert "Run: logbook init" in refused(*words)
    assert [path.name for path in home.iterdir()] == ["FLEET.toml"]
