"""`logbook demo`: one night in ninety seconds, on the real engine, with real mail to a postbox of its own.

Nothing in it is played: the texts go through the desk, the clock steps by a virtual time, mail goes by SMTP over
loopback, and the tampering is done with another program's tools on the database file.
"""

from __future__ import annotations

import sqlite3
import sys
import tempfile
import time
import uuid
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.text import Text

from logbook.bootstrap import Program, program
from logbook.channels.desk import Message
from logbook.command.demo_night import AFTER, ANA, BEFORE, EVENING, FLEET, MORNING, UNTIL, YOURS, YOURS_AT, Said
from logbook.command.demo_post import Postbox, postbox
from logbook.command.refusals import Refusal
from logbook.domain.calendar import wall, zone
from logbook.domain.fleetfile import read
from logbook.domain.instants import Instant
from logbook.domain.owed import owed_now
from logbook.domain.wording.messages import duty_label
from logbook.evidence.audit import audit
from logbook.intake.fleet import apply
from logbook.store import alerts, folds, log, meta, migrate, words

HERE = zone("America/Halifax")
_SHOWN = 9
"""Lines of a mail that are shown: enough to see what it says first."""


class Demo:
    """The night, the visitor and the screen."""

    def __init__(self, console: Console, *, pace: float, ask: bool) -> None:
        self.console = console
        self.pace = pace
        self.ask = ask and sys.stdin.isatty()
        self.now = EVENING
        self.said = 0

    # -- the screen ---------------------------------------------------------------------------------------------

    def chapter(self, title: str, words_: str) -> None:
        """A heading, and a sentence on what is to be seen."""
        self.console.print()
        self.console.rule(Text(title, style="bold"), align="left", characters="─")
        self.console.print(words_, style="dim", highlight=False)
        self.console.print()
        self.rest(2)

    def line(self, at: Instant, who: str, what: str, style: str = "") -> None:
        """One line of the night: the wall clock at the site, who, what."""
        clock = wall(at, HERE).strftime("%H:%M")
        text = Text(f"{clock}  ", style="dim")
        text.append(f"{who:<14}", style="bold" if who else "")
        text.append(what, style=style)
        self.console.print(text, soft_wrap=True)
        self.rest(1)

    def rest(self, beats: float) -> None:
        """Time to read."""
        time.sleep(self.pace * beats)

    # -- the night ----------------------------------------------------------------------------------------------

    def play(self, logbook: Program, postbox: Postbox, file: Path) -> int:
        """The whole of it. Returns the exit status: 0 if the night went as it should."""
        apply(logbook.intake, read(FLEET))
        self.chapter(
            "Night at North Slip",
            "Two machines, two cleaners alone in the terminal. They text; each text has one short answer.",
        )
        for said in BEFORE:
            self._until(logbook, postbox, said.at)
            self._text(logbook, said)
        self._yours(logbook, postbox)
        self.chapter(
            "The clock does not sleep",
            "Nobody has said that the machines are on charge. The cleaners are reminded while they are still there;\n"
            "then the alert is raised, and mail leaves by SMTP.",
        )
        self._until(logbook, postbox, UNTIL - 4 * 60_000_000)
        self._standing(logbook)
        for said in AFTER:
            self._until(logbook, postbox, said.at)
            self._text(logbook, said)
        self._until(logbook, postbox, MORNING)
        self._standing(logbook)
        return self._doubt(logbook, file)

    def _text(self, logbook: Program, said: Said) -> bool:
        self.now = said.at
        self.said += 1
        self.line(said.at, said.who, f"“{said.text}”", "cyan")
        answer = logbook.desk.take(
            Message(str(uuid.uuid5(uuid.NAMESPACE_URL, f"demo {self.said}")), "text", said.number, said.text, said.at)
        )
        self.line(said.at, "", answer.reply or "(no answer)", "green" if answer.outcome == "saved" else "yellow")
        return answer.outcome == "saved"

    def _yours(self, logbook: Program, postbox: Postbox) -> None:
        self._until(logbook, postbox, YOURS_AT)
        self.chapter(
            "Your turn",
            "It is 05:12. You are Ana, tired, and have just put B7H away. Say what you did, and leave out the charger:\n"
            "what is not said is what this is for. (English or Spanish; Enter takes the words below.)",
        )
        saved, tries = False, 0
        while not saved and tries < 5:
            typed = YOURS
            if self.ask:
                typed = self.console.input(f"   [bold]Ana texts[/bold] [dim]({YOURS})[/dim] › ").strip() or YOURS
            saved = self._text(logbook, Said((YOURS_AT - EVENING) // 60_000_000, "Ana", ANA, typed))
            tries += 1

    def _until(self, logbook: Program, postbox: Postbox, until: Instant) -> None:
        """The clock wakes whenever something is due, and what it writes and sends is shown as it happens."""
        while True:
            seen = self._serial(logbook)
            stepped = logbook.step(self.now)
            self._alerts(logbook, seen)
            if stepped.messages:
                postbox.deliver(logbook, self.now)
                for message in postbox.take():
                    self._mail(message)
            if stepped.next_at is None or stepped.next_at >= until:
                break
            self.now = max(stepped.next_at, self.now + 1)
        self.now = until

    def _serial(self, logbook: Program) -> tuple[int, int]:
        with logbook.store.read() as connection:
            live = alerts.live(connection)
            cleared = alerts.cleared_between(connection, 0, self.now + 1)
            return max((a.serial for a in [*live, *cleared]), default=0), len(cleared)

    def _alerts(self, logbook: Program, seen: tuple[int, int]) -> None:
        with logbook.store.read() as connection:
            register = logbook.registry.current(connection)
            live = alerts.live(connection)
            cleared = alerts.cleared_between(connection, 0, self.now + 1)
        for alert in sorted([*live, *cleared], key=lambda a: a.serial):
            if alert.serial > seen[0]:
                code = register.machines[alert.machine].code
                self.line(
                    self.now,
                    "the clock",
                    f"alert {alert.serial} raised: {code}, {duty_label(alert.duty, 'en')}",
                    "bold red",
                )
        for alert in sorted(cleared, key=lambda a: a.cleared_at or 0)[seen[1] :]:
            self.line(
                self.now,
                "the clock",
                f"alert {alert.serial} is over: {(alert.outcome or '').replace('_', ' ')}",
                "bold",
            )

    def _mail(self, message: Any) -> None:
        self.line(self.now, "mail", f"to {message['To']}: {message['Subject']}", "magenta")
        rows = message.get_content().strip().splitlines()
        for row in rows[:_SHOWN] + (["…"] if len(rows) > _SHOWN else []):
            self.console.print(Text(f"{'':21}│ {row}", style="dim"), soft_wrap=True)
        self.rest(2)

    def _standing(self, logbook: Program) -> None:
        with logbook.store.read() as connection:
            register = logbook.registry.current(connection)
            for code, machine in sorted(register.by_code.items()):
                fold = folds.load(connection, machine.uuid, logbook.intake.book(register, machine.uuid)).machine
                late = [duty_label(each.duty, "en") for each in owed_now(fold, self.now) if each.late]
                self.line(
                    self.now,
                    code,
                    f"late: {', '.join(late)}" if late else "nothing is late",
                    "bold red" if late else "",
                )

    # -- the doubter --------------------------------------------------------------------------------------------

    def _doubt(self, logbook: Program, file: Path) -> int:
        self.chapter(
            "A year later, somebody wants a better history",
            "The charge was late. With a common database tool, behind the program's back, one row is altered.",
        )
        verdict = self._audited(logbook)
        with sqlite3.connect(file) as other:
            other.isolation_level = None
            row = other.execute(
                "SELECT machine, seq FROM entry WHERE kind = 'charge' ORDER BY machine, seq LIMIT 1"
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
        self.rest(2)
        broken = self._audited(logbook)
        self.console.print()
        self.console.print(
            "This was one night on a scratch database. README.md says how to put your own site on it in ten minutes.",
            highlight=False,
        )
        return 0 if verdict and not broken else 1

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
        self.rest(2)
        return verdict.whole


def run(console: Console, *, pace: float = 0.35, ask: bool = True, keep: Path | None = None) -> int:
    """Play the demo. `pace`: seconds a line is left to be read; `keep`: a folder in which the database is left."""
    with tempfile.TemporaryDirectory(prefix="logbook-demo-") as scratch:
        file = (keep or Path(scratch)) / "demo.sqlite"
        file.unlink(missing_ok=True)
        url = f"sqlite:///{file}"
        migrate.upgrade(url)
        demo = Demo(console, pace=pace, ask=ask)
        logbook = program(url, now=lambda: demo.now)
        try:
            with postbox() as box:
                return demo.play(logbook, box, file)
        finally:
            logbook.close()


def add(app: typer.Typer) -> None:
    """Hang `demo` on the app."""

    @app.command("demo")
    def demo(
        pace: Annotated[float, typer.Option(help="Seconds that a line is left to be read.", min=0)] = 0.35,
        ask: Annotated[
            bool, typer.Option("--ask/--no-ask", help="Let you type the text yourself, at a terminal.")
        ] = True,
        keep: Annotated[
            Path | None,
            typer.Option(help="A folder in which the night's database is left.", file_okay=False, exists=True),
        ] = None,
    ) -> None:
        """Play one night in ninety seconds: texts, what is owed, an alert, its mail, and a doubter.

        A scratch database, an invented ferry terminal, a mail server of its own on loopback. Nothing of yours is touched.
        """
        try:
            status = run(Console(), pace=pace, ask=ask, keep=keep)
        except ModuleNotFoundError as why:
            raise Refusal(
                f"The demo needs a mail server of its own, and {why.name} is not installed. Install machine-logbook[demo]."
            ) from None
        raise typer.Exit(status)
