"""What is shipped: a wheel that `logbook init` works from, and locks that name everything but no place."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

TOP = Path(__file__).parents[2]
PROJECT = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))
LOCKS = TOP / "deploy"


FLEET = """
[fleet]
name = "Kittiwake Crossings"
origin = "kittiwake.example/floors"
language = "en"

[[site]]
code = "pier-1"
name = "Pier One"
zone = "America/Halifax"

[[machine]]
code = "A2V"
site = "pier-1"
battery = "flooded"
commissioned_at = "2026-03-02T12:00:00Z"

[[person]]
key = "ana"
role = "cleaner"
sites = ["pier-1"]
"""

ASKED = """
import json, re, sys
from typer.testing import CliRunner
import logbook
from logbook.bootstrap import house, program
from logbook.command.app import app
from logbook.config import Config
from logbook.web.app import make_app
from logbook.web.settings import WebSettings
from starlette.testclient import TestClient

run = lambda *words: CliRunner().invoke(app, list(words), catch_exceptions=False)
for words in (("init",), ("fleet", "apply", "fleet.toml")):
    done = run(*words)
    assert done.exit_code == 0, done.output
link = json.loads(run("link", "ana", "--json").stdout)["link"]
made = program("sqlite:///logbook.sqlite")
client = TestClient(
    make_app(house(made, Config(web=WebSettings()))), base_url="http://localhost", headers={"Sec-Fetch-Site": "same-origin"}
)
assert client.post(link, data={}).status_code == 200
page = client.get("/en/m/A2V").text
files = sorted(set(re.findall('(?:href|src)="?(/static/[^" >]+)', page)))
json.dump({
    "from": logbook.__file__, "page": page, "spanish": client.get("/es/m/A2V").text,
    "files": [(each, client.get(each).status_code) for each in files],
}, sys.stdout)
made.close()
"""


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A wheel made from this checkout."""
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", folder],
        cwd=TOP,
        check=True,
        capture_output=True,
    )
    [made] = folder.glob("machine_logbook-*.whl")
    return made


@pytest.fixture(scope="module")
def shipped(wheel: Path) -> set[str]:
    """The names of all files in the wheel."""
    with zipfile.ZipFile(wheel) as archive:
        return set(archive.namelist())


def files_under(folder: str) -> set[Path]:
    found = {path.relative_to(TOP / folder) for path in (TOP / folder).rglob("*") if path.is_file()}
    return {path for path in found if "__pycache__" not in path.parts}


def test_every_migration_is_in_the_wheel(shipped: set[str]) -> None:
    migrations = {f"logbook/_migrations/{path.as_posix()}" for path in files_under("migrations")}

    assert migrations
    assert migrations <= shipped


def test_every_file_of_the_package_is_in_the_wheel(shipped: set[str]) -> None:
    # Catalogues of words, templates and data files count as much as code: one missing fails only on a server.
    assert {f"logbook/{path.as_posix()}" for path in files_under("logbook")} <= shipped


def test_nothing_else_is_in_the_wheel(shipped: set[str]) -> None:
    assert {name.split("/")[0] for name in shipped} == {"logbook", "machine_logbook-0.1.0.dist-info"}


def locked(lock: Path) -> dict[str, list[str]]:
    """The projects that a lock names, each with its hashes."""
    names: dict[str, list[str]] = {}
    hashes: list[str] = []
    for line in lock.read_text(encoding="utf-8").splitlines():
        if start := re.match(r"([a-z0-9-]+)==\S+", line):
            hashes = names.setdefault(start[1], [])
        elif digest := re.fullmatch(r"    --hash=sha256:([0-9a-f]{64})(?: \\)?", line):
            hashes.append(digest[1])
        else:
            pytest.fail(f"{lock.name}: neither a name nor a hash: {line}")
    return names


@pytest.mark.parametrize("lock", ["lock.txt", "lock-test.txt"])
def test_a_lock_holds_names_and_hashes_and_nothing_else(lock: str) -> None:
    names = locked(LOCKS / lock)

    assert names
    assert [name for name, hashes in names.items() if not hashes] == []


@pytest.mark.parametrize(
    ("lock", "extras"), [("lock.txt", ["postgres"]), ("lock-test.txt", ["postgres", "test", "bench"])]
)
def test_a_lock_names_whatever_the_project_asks_for(lock: str, extras: list[str]) -> None:
    wanted = [*PROJECT["build-system"]["requires"], *PROJECT["project"]["dependencies"]]
    for extra in extras:
        wanted += PROJECT["project"]["optional-dependencies"][extra]

    missing = {canonicalize_name(Requirement(line).name) for line in wanted} - locked(LOCKS / lock).keys()

    assert missing == set(), "run deploy/lock-again"


def test_tests_run_on_the_releases_that_a_server_gets() -> None:
    def pins(lock: str) -> set[str]:
        return set(re.findall(r"(?m)^\S+==\S+", (LOCKS / lock).read_text(encoding="utf-8")))

    assert pins("lock.txt") <= pins("lock-test.txt")


def test_an_address_or_an_option_in_a_lock_is_noticed(tmp_path: Path) -> None:
    lock = tmp_path / "lock.txt"
    lock.write_text("--index-url somewhere\n", encoding="utf-8")

    with pytest.raises(pytest.fail.Exception, match="index-url"):
        locked(lock)


def test_an_installed_wheel_serves_the_phone_s_page(wheel: Path, tmp_path: Path) -> None:
    # Unpacked apart from the checkout, with the packages that are installed here: a template, style, catalogue or
    # migration that is left out shows on a server, and nowhere before.
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(tmp_path / "site")
    (tmp_path / "fleet.toml").write_text(FLEET, encoding="utf-8")
    asked = subprocess.run(
        [sys.executable, "-c", ASKED], cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(tmp_path / "site")},
        check=False, capture_output=True, text=True,
    )  # fmt: skip
    assert asked.returncode == 0, asked.stderr
    found = json.loads(asked.stdout)
    assert Path(found["from"]).is_relative_to(tmp_path / "site")
    assert "Pier One" in found["page"]
    assert "A2V" in found["page"]
    assert "Enjuag" in found["spanish"] or "enjuag" in found["spanish"]
    assert found["files"]
    assert {status for _path, status in found["files"]} == {200}
