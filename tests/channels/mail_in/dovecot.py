"""A Dovecot of the tests' own: on a port of the loopback, in a temporary folder, under an account without rights.

Promises that no server outlives the run, and that a server which is already on this machine is never touched. A
mailbox is a folder of files (Maildir): to drop a file there is how mail comes in.
"""

from __future__ import annotations

import grp
import itertools
import os
import pwd
import shutil
import socket
import subprocess
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from imapclient import IMAPClient

from logbook.channels.mail_in import MailInSettings

PASSWORD = "a-password-of-the-tests"
_START_SECONDS = 20.0
# See tests/postgres.py: if we die, however we die, the pipe closes, and the server is told to leave.
_HOLDER = '"$@" & server=$!; read -r _; kill -TERM "$server"; wait "$server"'

_CONFIG = """
base_dir = {folder}/run
state_dir = {folder}/state
log_path = {folder}/log
default_internal_user = {user}
default_internal_group = {group}
default_login_user = {user}
protocols = imap
listen = 127.0.0.1
ssl = {ssl}
{certificate}
disable_plaintext_auth = no
auth_mechanisms = plain
mail_location = maildir:{folder}/mail/%u
mail_max_userip_connections = 100
{more}
namespace inbox {{
  inbox = yes
}}
passdb {{
  driver = static
  args = password={password}
}}
userdb {{
  driver = static
  args = uid={uid} gid={gid} home={folder}/home/%u
}}
service imap-login {{
  chroot =
  inet_listener imap {{
    port = {port}
  }}
  inet_listener imaps {{
    port = {tls_port}
  }}
}}
service anvil {{
  chroot =
}}
service stats {{
  chroot =
}}
first_valid_uid = 1
"""


class NotInstalledError(Exception):
    """No Dovecot was found on this machine."""


def find_program() -> str:
    found = shutil.which("dovecot") or shutil.which("dovecot", path="/usr/sbin:/usr/local/sbin")
    if found is None:
        raise NotInstalledError("Dovecot is not installed; on Debian: apt-get install dovecot-imapd")
    return found


def _account() -> pwd.struct_passwd:
    if os.geteuid() != 0:
        return pwd.getpwuid(os.geteuid())
    for name in ("nobody", "mail", "daemon"):
        try:
            return pwd.getpwnam(name)
        except KeyError:
            continue
    raise NotInstalledError("Dovecot is not run as root here, and there is no account nobody, mail or daemon")


def _free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


@dataclass
class Box:
    """One user's mailbox on the server."""

    server: Server
    user: str

    @property
    def folder(self) -> Path:
        return self.server.folder / "mail" / self.user

    def drop(self, mail: bytes, arrived: float | None = None, *, said_size: int | None = None) -> None:
        """Put a mail into the mailbox as a delivering program does: whole under another name, then renamed.

        `arrived`: seconds since the epoch. `said_size`: the size that the server will believe.
        """
        name = f"{int(time.time())}.{next(self.server.numbers)}_{os.getpid()}.tests.example"
        if said_size is not None:
            name += f",S={said_size}"
        waiting = self.folder / "tmp" / name
        waiting.write_bytes(mail)
        self.server.own(waiting)
        if arrived is not None:
            os.utime(waiting, (arrived, arrived))
        waiting.rename(self.folder / "new" / name)

    def client(self) -> IMAPClient:
        """Somebody else who is logged in to the same mailbox."""
        client = IMAPClient("127.0.0.1", self.server.port, ssl=False, timeout=20)
        client.normalise_times = False
        client.login(self.user, PASSWORD)
        return client

    def flags(self, folder: str = "INBOX") -> list[set[bytes]]:
        """The flags of each mail in a folder, oldest first."""
        client = self.client()
        try:
            client.select_folder(folder, readonly=True)
            uids = client.search("ALL")
            found = client.get_flags(uids) if uids else {}
            return [set(found[uid]) - {b"\\Recent"} for uid in sorted(found)]
        finally:
            client.logout()

    def settings(self, **changes: Any) -> MailInSettings:
        return MailInSettings.model_validate({
            "host": "127.0.0.1", "port": self.server.port, "security": "none", "user": self.user,
            "password": PASSWORD, "our_authserv_ids": "mx.ferry.example", "longest_wait": 1, **changes,
        })  # fmt: skip

    def renumber(self) -> None:
        """Let the server forget all it knows of this mailbox, marks included: a new UIDVALIDITY."""
        for file in [*(self.folder / "cur").iterdir(), *(self.folder / "new").iterdir()]:
            file.rename(self.folder / "new" / file.name.split(":")[0])
        for file in self.folder.glob("dovecot*"):
            file.unlink()


class Server:
    """One running Dovecot. `start()`, `box()`, `stop()`; it may be started again."""

    def __init__(self, *, certificate: Path | None = None, more: str = "") -> None:
        self._program = find_program()
        self._pwd = _account()
        self.numbers = itertools.count(1)
        self._boxes = itertools.count(1)
        self.port, self.tls_port = _free_port(), _free_port()
        # Short, and not under pytest's folder, which is closed to the account that the server runs as.
        self.folder = Path(tempfile.mkdtemp(prefix="logbook-imap-", dir="/tmp"))
        self._holder: subprocess.Popen[bytes] | None = None
        self.own(self.folder)
        tls = "ssl_cert = </dev/null"
        if certificate is not None:
            copy = self.folder / "certificate.pem"
            copy.write_bytes(certificate.read_bytes())
            self.own(copy)
            tls = f"ssl_cert = <{copy}\nssl_key = <{copy}"
        config = self.folder / "dovecot.conf"
        config.write_text(
            _CONFIG.format(
                folder=self.folder,
                user=self._pwd.pw_name,
                group=grp.getgrgid(self._pwd.pw_gid).gr_name,
                uid=self._pwd.pw_uid,
                gid=self._pwd.pw_gid,
                port=self.port,
                tls_port=self.tls_port if certificate else 0,
                password=PASSWORD,
                ssl="yes" if certificate else "no",
                certificate=tls if certificate else "",
                more=more,
            )
        )
        self.own(config)
        for name in ("mail", "home"):
            (self.folder / name).mkdir(mode=0o700)
            self.own(self.folder / name)

    def own(self, path: Path) -> None:
        if os.geteuid() == 0:
            os.chown(path, self._pwd.pw_uid, self._pwd.pw_gid)

    def box(self) -> Box:
        """A new, empty mailbox."""
        box = Box(self, f"box{next(self._boxes)}")
        for folder in (box.folder, *(box.folder / name for name in ("tmp", "new", "cur"))):
            folder.mkdir(mode=0o700)
            self.own(folder)
        return box

    def start(self) -> None:
        as_whom: dict[str, Any] = {}
        if os.geteuid() == 0:
            as_whom = {"user": self._pwd.pw_uid, "group": self._pwd.pw_gid, "extra_groups": []}
        with (self.folder / "said").open("wb") as said:
            self._holder = subprocess.Popen(
                ["sh", "-c", _HOLDER, "sh", self._program, "-F", "-c", str(self.folder / "dovecot.conf")],
                cwd=self.folder, stdin=subprocess.PIPE, stdout=said, stderr=said, start_new_session=True, **as_whom,
            )  # fmt: skip
        deadline = time.monotonic() + _START_SECONDS
        while True:
            try:
                IMAPClient("127.0.0.1", self.port, ssl=False, timeout=2).logout()
            except Exception as why:
                if time.monotonic() > deadline:
                    words = (self.folder / "said").read_text(errors="replace")
                    log = self.folder / "log"
                    words += log.read_text(errors="replace") if log.exists() else ""
                    self.stop()
                    raise RuntimeError(f"Dovecot did not answer ({why}):\n{words}") from why
                time.sleep(0.05)
            else:
                return

    def halt(self) -> None:
        """Stop, but keep the mail."""
        holder, self._holder = self._holder, None
        if holder is not None:
            assert holder.stdin is not None
            holder.stdin.close()
            try:
                holder.wait(3)
            except subprocess.TimeoutExpired:
                os.killpg(holder.pid, 9)
                holder.wait()

    def stop(self) -> None:
        """Stop, and leave no trace."""
        try:
            self.halt()
        finally:
            shutil.rmtree(self.folder, ignore_errors=True)
