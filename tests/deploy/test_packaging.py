"""What is shipped: a wheel that `logbook init` works from, and locks that name everything but no place."""

from __future__ import annotations

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


@pytest.fixture(scope="module")
def shipped(tmp_path_factory: pytest.TempPathFactory) -> set[str]:
    """The names of all files in a wheel made from this checkout."""
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", folder],
        cwd=TOP,
        check=True,
        capture_output=True,
    )
    [wheel] = folder.glob("machine_logbook-*.whl")
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
