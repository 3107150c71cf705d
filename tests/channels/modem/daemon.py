"""The real gammu-smsd on its dummy modem: a folder, in which files are texts.

The dummy can do this: a file in `sms/1` with `PDU = Deliver` comes in, and one with `PDU = Status_Report` is the
network's word about a text that went out. What it cannot: keep what went out (it is encoded for the network and
dropped: the daemon's own sentitems is the witness), and fail. States that need a failing network are put into the
tables by hand.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, text
from sqlalchemy.engine import make_url

from logbook.channels.text import gsm7

CENTRE = "123456"
"""The number of the dummy's message centre."""


class NotInstalledError(Exception):
    """There is no gammu-smsd here, or not the driver for its database."""


def find_program(kind: str) -> str:
    """The daemon's path. Raises NotInstalledError."""
    program = shutil.which("gammu-smsd") or shutil.which("gammu-smsd", path="/usr/sbin:/usr/bin:/usr/local/bin")
    if program is None:
        raise NotInstalledError("gammu-smsd is not installed; on Debian: apt-get install gammu-smsd libdbd-sqlite3")
    if kind == "sqlite" and not any(Path("/usr").glob("lib*/**/dbd/libdbdsqlite3.so")):
        raise NotInstalledError(
            "libdbi's driver for SQLite is not installed; on Debian: apt-get install libdbd-sqlite3"
        )
    return program


class Daemon:
    """One gammu-smsd and its modem."""

    def __init__(self, folder: Path, url: str, engine: Engine, zone: str) -> None:
        parsed = make_url(url)
        self._program = find_program(parsed.get_backend_name())
        self.folder, self.engine, self._zone = folder, engine, zone
        self.modem = folder / "modem"
        (self.modem / "sms" / "1").mkdir(parents=True)
        self._inbox = 0
        self._process: subprocess.Popen[bytes] | None = None
        where = (
            f"driver = sqlite3\ndbdir = {Path(parsed.database or '').parent}\ndatabase = {Path(parsed.database or '').name}"
            if parsed.get_backend_name() == "sqlite"
            else f"driver = native_pgsql\nhost = {parsed.query['host']}\nuser = {parsed.username}\n"
            f"database = {parsed.database}\npassword = none"
        )
        (folder / "smsdrc").write_text(
            f"[gammu]\nmodel = dummy\nconnection = none\ndevice = {self.modem}\n\n"
            f"[smsd]\nservice = sql\n{where}\nlogfile = {folder / 'log'}\ndebuglevel = 0\nloopsleep = 1\n"
            "commtimeout = 1\nreceivefrequency = 0\nstatusfrequency = 1\nchecksecurity = 0\ncheckbattery = 0\n"
            "checksignal = 0\nchecknetwork = 0\ndeliveryreport = sms\nmultiparttimeout = 1\nmaxretries = 1\n"
            "deliveryreportdelay = 100000\n"
        )

    def start(self) -> None:
        """Start, and wait until the daemon says in its tables that it is there."""
        self._process = subprocess.Popen(
            [self._program, "--config", str(self.folder / "smsdrc")],
            env={**os.environ, "TZ": self._zone}, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL, start_new_session=True,
        )  # fmt: skip
        self.until(lambda: self.rows("phones"))

    def stop(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            process.terminate()
            try:
                process.wait(10)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()

    def until(self, found: Callable[[], Any], seconds: float = 60.0) -> Any:
        """What is found, as soon as there is something."""
        end = time.monotonic() + seconds
        while not (something := found()):
            if time.monotonic() > end or (self._process is not None and self._process.poll() is not None):
                said = (
                    (self.folder / "log").read_text(errors="replace")[-2000:] if (self.folder / "log").exists() else ""
                )
                raise AssertionError(f"gammu-smsd did not get so far:\n{said}")
            time.sleep(0.1)
        return something

    def rows(self, table: str) -> list[dict[str, Any]]:
        with self.engine.connect() as connection:
            return [dict(row) for row in connection.execute(text(f"SELECT * FROM {table}")).mappings()]

    # -- the network --------------------------------------------------------------------------------------------

    def receive(self, words: str, sender: str, *, at: str = "20261125T091200Z", header: str = "", **more: str) -> None:
        """A text comes in. `at` is the network's stamp."""
        octets = words.encode("utf-16-be", "surrogatepass").hex().upper()
        lines = {
            "PDU": "Deliver", "SMSC": '"+15555550100"', "SMSCUnicode": _unicode("+15555550100"), "DateTime": at,
            "State": "UnRead", "Number": f'"{sender}"', "NumberUnicode": _unicode(sender),
            **{f"Text{n:02}": octets[200 * n : 200 * n + 200] for n in range((len(octets) + 199) // 200)},
            "Coding": "Default_No_Compression" if gsm7.is_gsm7(words) else "Unicode_No_Compression",
            "Folder": "1", "Length": str(len(octets) // 4), "Class": "-1", **({"UDH": header} if header else {}), **more,
        }  # fmt: skip
        self._inbox += 1
        # Written aside first: the daemon looks at any moment, and deletes what it has read.
        aside = self.modem / "coming"
        aside.write_text("[SMSBackup000]\n" + "".join(f"{name} = {value}\n" for name, value in lines.items()))
        aside.rename(self.modem / "sms" / "1" / str(self._inbox))

    def report(self, to: str, status: str, code: int) -> None:
        """The network's word about what went out to a number (the dummy counts all it sends as number 255)."""
        stamp = time.strftime("%Y%m%dT%H%M%SZ", time.gmtime())
        self.receive(
            status, to, at=stamp, PDU="Status_Report", SMSC=f'"{CENTRE}"', SMSCUnicode=_unicode(CENTRE),
            MessageReference="255", DeliveryStatus=str(code),
        )  # fmt: skip


def _unicode(words: str) -> str:
    return words.encode("utf-16-be").hex().upper()
