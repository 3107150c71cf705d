"""A PostgreSQL of the tests' own: made in a temporary folder, reached through a socket there, then gone.

Promises that no server outlives the run, not even one that is killed, and that nobody but the account running
the tests can reach it. Never touches a server that is already there, and never keeps data: fsync is off.
"""

from __future__ import annotations

import itertools
import os
import pwd
import shutil
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Any

import psycopg
from psycopg import sql
from sqlalchemy.engine import make_url

_START_SECONDS = 60.0
_STOP_SECONDS = 20.0

# The shell that holds the server waits on a pipe from us. If we die, however we die, the pipe closes, and it
# sends the server SIGINT: PostgreSQL's "fast" shutdown, which drops connections and leaves.
_HOLDER = '"$@" & server=$!; read -r _; kill -INT "$server"; wait "$server"'


class NotInstalledError(Exception):
    """No PostgreSQL server program was found on this machine."""


def find_programs() -> Path:
    """The folder with `initdb` and `postgres`: on PATH, or the newest of Debian's version folders.

    Raises NotInstalledError if there is none.
    """
    on_path = shutil.which("initdb")
    folders = [Path(on_path).parent] if on_path else []
    folders += sorted(
        Path("/usr/lib/postgresql").glob("*/bin"),
        key=lambda folder: [int(part) for part in folder.parent.name.split(".") if part.isdigit()],
        reverse=True,
    )
    for folder in folders:
        if (folder / "initdb").exists() and (folder / "postgres").exists():
            return folder
    raise NotInstalledError(
        "PostgreSQL is not installed (no initdb on PATH or under /usr/lib/postgresql); "
        "on Debian: apt-get install postgresql"
    )


def _run_as() -> dict[str, Any]:
    """How to start the server's programs: as ourselves, or, since they refuse root, as another account."""
    if os.geteuid() != 0:
        return {}
    for name in ("postgres", "nobody"):
        try:
            account = pwd.getpwnam(name)
        except KeyError:
            continue
        return {"user": account.pw_uid, "group": account.pw_gid, "extra_groups": []}
    raise NotInstalledError("PostgreSQL refuses to run as root, and no account postgres or nobody is here")


class Server:
    """One running PostgreSQL. `start()` it, ask for databases, `stop()` it."""

    def __init__(self) -> None:
        self._programs = find_programs()
        self._account = _run_as()
        self._numbers = itertools.count(1)
        # Not under pytest's own folder: that one is closed to the account the server runs as. Short, because
        # a socket's path may be no longer than about 100 bytes.
        self._folder = Path(tempfile.mkdtemp(prefix="logbook-pg-", dir="/tmp"))
        self._holder: subprocess.Popen[bytes] | None = None
        if self._account:
            os.chown(self._folder, self._account["user"], self._account["group"])

    def start(self) -> None:
        """Make the cluster and wait until it answers. Raises RuntimeError with the server's words."""
        try:
            self._make_cluster()
            self._launch()
            self._wait_until_it_answers()
        except BaseException:
            self.stop()
            raise

    def _make_cluster(self) -> None:
        # UTC and C: a test must not pass or fail by the zone or language of the machine it runs on.
        made = subprocess.run(
            [self._programs / "initdb", "--pgdata", self._folder / "data", "--username", "postgres",
             "--auth", "trust", "--encoding", "UTF8", "--locale", "C", "--no-sync", "--no-instructions"],
            cwd=self._folder, capture_output=True, text=True, check=False, **self._account,
        )  # fmt: skip
        if made.returncode:
            raise RuntimeError(f"initdb failed:\n{made.stdout}{made.stderr}")

    def _launch(self) -> None:
        settings = {
            "listen_addresses": "",
            "unix_socket_directories": str(self._folder),
            "fsync": "off",
            "synchronous_commit": "off",
            "full_page_writes": "off",
            "timezone": "UTC",
            "log_timezone": "UTC",
            "max_connections": "100",
            "shared_buffers": "64MB",
        }
        options = [word for key, value in settings.items() for word in ("-c", f"{key}={value}")]
        server = [str(self._programs / "postgres"), "-D", str(self._folder / "data"), *options]
        with (self._folder / "log").open("wb") as log:
            # Its own session: Ctrl-C is for the tests, which then stop the server in their own time.
            self._holder = subprocess.Popen(
                ["sh", "-c", _HOLDER, "sh", *server],
                cwd=self._folder, stdin=subprocess.PIPE, stdout=log, stderr=log, start_new_session=True,
                **self._account,
            )  # fmt: skip

    def _wait_until_it_answers(self) -> None:
        deadline = time.monotonic() + _START_SECONDS
        while True:
            try:
                psycopg.connect(self._conninfo("postgres")).close()
            except psycopg.OperationalError as refusal:
                if time.monotonic() > deadline:
                    words = (self._folder / "log").read_text(errors="replace")
                    said = f"PostgreSQL did not answer ({refusal}); its log:\n{words}"
                    raise RuntimeError(said) from refusal
                time.sleep(0.05)
            else:
                return

    def _conninfo(self, database: str) -> str:
        return f"host={self._folder} user=postgres dbname={database} connect_timeout=5"

    def _command(self, statement: sql.Composed) -> None:
        with psycopg.connect(self._conninfo("postgres"), autocommit=True) as connection:
            connection.execute(statement)

    def create_database(self) -> str:
        """A new, empty database; answers with its SQLAlchemy URL."""
        name = f"t{next(self._numbers)}"
        self._command(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        return f"postgresql+psycopg://postgres@/{name}?host={self._folder}"

    def drop_database(self, url: str) -> None:
        """Remove a database made here, whoever is still connected to it."""
        name = make_url(url).database or ""
        self._command(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))

    def stop(self) -> None:
        """Shut down and remove every trace. Safe to call twice, and after a start that failed."""
        holder, self._holder = self._holder, None
        try:
            if holder is not None:
                assert holder.stdin is not None
                holder.stdin.close()
                try:
                    holder.wait(_STOP_SECONDS)
                except subprocess.TimeoutExpired:
                    os.killpg(holder.pid, 9)
                    holder.wait()
        finally:
            shutil.rmtree(self._folder, ignore_errors=True)
