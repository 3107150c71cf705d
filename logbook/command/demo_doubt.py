"""The demo's doubter: a row is altered with another program's tools, and the audit finds it."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any, Protocol

from logbook.bootstrap import Program
from logbook.evidence.audit import audit
from logbook.store import log, meta, words


class Screen(Protocol):
    """What the doubter shows things on."""

    console: Any

    def chapter(self, title: str, words_: str) -> None:
        """A heading."""

    def rest(self, beats: float) -> None:
        """Time to read."""


class Doubter:
    """Whoever wants a better history than there was."""

    def __init__(self, screen: Screen) -> None:
        self.screen, self.console = screen, screen.console

    def doubt(self, logbook: Program, file: Path) -> bool:
        """Alter one row. Returns whether the log was whole before and found broken after."""
        self.screen.chapter(
            "A year later, somebody wants a better history",
            "The charge was late. With a common database tool, behind the program's back, one row is altered to say that it "
            "was in time. Every entry carries a fingerprint of itself and of the one before; the audit computes all of them again.",
        )
        verdict = self._audited(logbook)
        with sqlite3.connect(file) as other:
            other.isolation_level = None
            row = other.execute(
                "SELECT machine, seq FROM entry WHERE kind = 'charge' ORDER BY occurred_at DESC LIMIT 1"
            ).fetchone()
            where = "WHERE machine = ? AND seq = ?"
            try:
                other.execute(f"UPDATE entry SET occurred_at = occurred_at - 3600000000 {where}", row)
            except sqlite3.Error as why:
                self.console.print(
                    f"  UPDATE entry …   the database itself refuses: [bold]{why}[/bold]", highlight=False
                )
            for (name,) in other.execute(
                "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'entry'"
            ).fetchall():
                other.execute(f'DROP TRIGGER "{name}"')
            other.execute(
                f"UPDATE entry SET bytes = CAST(replace(CAST(bytes AS TEXT), 'T08:', 'T07:') AS BLOB) {where}", row
            )
            self.console.print("  DROP TRIGGER … UPDATE entry …   whoever holds the file can do that", highlight=False)
        self.screen.rest(2)
        broken = self._audited(logbook)
        return verdict and not broken

    def _audited(self, logbook: Program) -> bool:
        with logbook.store.read() as connection:
            register = logbook.registry.current(connection)
            verdict = audit(
                log.every(connection),
                log.logs(connection),
                words.every(connection),
                origin=meta.of(connection, "origin") or register.origin,
            )
        if verdict.whole:
            self.console.print(
                f"  audit: [bold]{verdict.entries} entries[/bold] of {verdict.logs} logs recomputed from their bytes; nothing contradicts itself.",
                highlight=False,
            )
        else:
            fault = verdict.faults[0]
            code = register.machines[fault.machine].code if fault.machine in register.machines else "the fleet's log"
            self.console.print(
                f"  audit: [bold red]BROKEN[/bold red] at {code}, entry {fault.seq}: {fault.sentence.split(': ', 1)[-1]}",
                highlight=False,
            )
        self.screen.rest(2)
        return verdict.whole
