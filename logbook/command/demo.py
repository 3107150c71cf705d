"""`logbook demo`: one night in ninety seconds, on the real engine, with real mail to a postbox of its own.

Nothing in it is played: the texts go through the desk, the clock steps by a virtual time, mail goes by SMTP over
loopback, and the tampering is done with another program's tools on the database file.
"""

from __future__ import annotations

import contextlib
import socket
import sys
import tempfile
import time
import uuid
from importlib.util import find_spec
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.text import Text

from logbook.bootstrap import Program, program
from logbook.channels.desk import Message
from logbook.command import demo_weeks
from logbook.command.demo_doubt import Doubter
from logbook.command.demo_night import AFTER, ANA, BEFORE, EVENING, FLEET, MORNING, UNTIL, YOURS, YOURS_AT, Said
from logbook.command.demo_pages import ROLES, Pages, served
from logbook.command.demo_post import Postbox, postbox
from logbook.command.refusals import Refusal, say
from logbook.domain.calendar import wall, zone
from logbook.domain.fleetfile import read
from logbook.domain.instants import HOUR, Instant
from logbook.domain.owed import owed_now
from logbook.domain.wording.messages import duty_label
from logbook.intake.fleet import apply
from logbook.store import alerts, migrate

HERE = zone("America/Halifax")
_SHOWN = 8
"""Lines of a mail that are shown: enough to see what it says first."""
_READ, _UNREAD = 0.95, 0.35
"""Seconds that a line is left to be read: by a person at a terminal, and where nobody sits before it."""
_OVER = {"late": "done, but late", "told_late": "done in time, told late"}
"""How an alert ended, in words."""


WHAT = (
    "Battery ride-on scrubber-polishers, at many sites, each run at night by one cleaner alone. What is left undone (a "
    "rinse, the charger, a filter) is learnt from a dead battery or a scratched floor. Here is one night with a logbook "
    "that asks for it while it can still be done. Everything in it is made up; nothing of yours is touched."
)


class Demo:
    """The night, the visitor and the screen."""

    def __init__(self, console: Console, *, pace: float, ask: bool, stay: bool = False) -> None:
        self.console = console
        self.pace = pace
        self.ask = ask and sys.stdin.isatty()
        self.stays = stay
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

    def play(self, logbook: Program, postbox: Postbox, file: Path, pages: Pages | None = None) -> int:
        """The whole of it. Returns the exit status: 0 if the night went as it should."""
        if pages is not None:
            self.addresses(pages)
        self.chapter(
            "Night at North Slip",
            "Two machines, B7H and C4J; Ana and Luis, each alone with one. After work they text what they did, in their "
            "own language, and are answered with what is still owed. What could mean two things is asked, never guessed.",
        )
        for said in BEFORE:
            self._until(logbook, postbox, said.at)
            self._text(logbook, said)
        self._yours(logbook, postbox)
        self.chapter(
            "The clock does not sleep",
            "Nobody has said that the machines are on charge. The cleaners are reminded while they are still there; "
            "then the alert is raised, and their supervisor, Jo, gets mail: what it is, what to do, what is at stake.",
        )
        self._until(logbook, postbox, UNTIL - 4 * 60_000_000)
        self._standing(logbook)
        if pages is not None:
            self.tonight(pages)
        for said in AFTER:
            self._until(logbook, postbox, said.at)
            self._text(logbook, said)
        self._until(logbook, postbox, MORNING)
        self._standing(logbook)
        fine = self.headlines(pages) if pages is not None else True
        doubted = Doubter(self).doubt(logbook, file)
        self.console.print()
        self.console.print(
            "This was one night on a scratch database. README.md says how to put your own site on it in ten minutes.",
            highlight=False,
        )
        return 0 if fine and doubted else 1

    def live_through_the_past(self, logbook: Program, postbox: Postbox) -> None:
        """Three ordinary weeks, without a word: what was sent in them is taken away."""

        def set_now(now: Instant) -> None:
            self.now = now

        def quiet() -> None:
            postbox.deliver(logbook, self.now)
            postbox.take()

        set_now(demo_weeks.FIRST - 4 * HOUR)
        apply(logbook.intake, read(FLEET))
        demo_weeks.play(logbook, set_now, quiet)

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
            "It is 05:12. You are Ana, tired, and have just put B7H away. Text what you did, and leave out the charger: "
            "what is not said is what this is for. (English or Spanish; Enter alone sends the words in brackets.)",
        )
        saved, tries = False, 0
        while not saved and tries < 5:
            typed = YOURS
            if self.ask:
                typed = self.console.input(f"   [bold]Ana texts[/bold] [dim]({YOURS})[/dim] › ").strip() or YOURS
            saved = self._text(logbook, Said((YOURS_AT - EVENING) // 60_000_000, "Ana", ANA, typed))
            tries += 1
            if not saved and self.ask:
                self.console.print(
                    "   Begin with B7H, put commas between what you did, and leave out whatever else; or press Enter.",
                    style="dim", highlight=False,
                )  # fmt: skip

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
                f"alert {alert.serial} is over: {_OVER.get(alert.outcome or '', (alert.outcome or '').replace('_', ' '))}",
                "bold",
            )

    def _mail(self, message: Any) -> None:
        self.line(self.now, "mail", f"to {message['To']}: {message['Subject']}", "magenta")
        rows = [row for row in message.get_content().splitlines() if row.strip()]
        for row in rows[:_SHOWN] + (["…"] if len(rows) > _SHOWN else []):
            self.console.print(Text(f"{'':21}│ {row}", style="dim"), soft_wrap=True)
        self.rest(4)

    def _standing(self, logbook: Program) -> None:
        with logbook.store.read() as connection:
            register = logbook.registry.current(connection)
            for code, machine in sorted(register.by_code.items()):
                fold = logbook.intake.watchman(connection, register, machine.uuid).machine
                late = [duty_label(each.duty, "en") for each in owed_now(fold, self.now) if each.late]
                self.line(
                    self.now,
                    code,
                    f"late: {', '.join(late)}" if late else "nothing is late",
                    "bold red" if late else "",
                )

    # -- the pages ----------------------------------------------------------------------------------------------

    def addresses(self, pages: Pages) -> None:
        """Where each role looks, if the pages outlast the night; at a terminal, time to open them."""
        if not self.stays:
            self.console.print(
                "\nThe pages are served meanwhile, and end with the night; `logbook demo` at a terminal keeps them open.",
                style="dim", highlight=False,
            )  # fmt: skip
            return
        self.chapter(
            "The pages",
            "One address for each role. It asks “Is this you?” and lets one browser in, once. Only this computer "
            "reaches it; the time it shows is the demo's.",
        )
        for role in ROLES:
            self.console.print(f"  {role.shows}", highlight=False)
            self.console.print(f"    [bold]{pages.link(role)}[/bold]", highlight=False, soft_wrap=True)
        self.console.print(
            "  Should your browser not find such a name, put 127.0.0.1 for NAME.localhost, and be one of them at a time.",
            style="dim", highlight=False,
        )  # fmt: skip
        if self.ask:
            self.console.input(
                "\n  Open Tonight beside this window: it changes by itself. [bold]Enter[/bold] begins the night › "
            )

    def tonight(self, pages: Pages) -> None:
        """What Tonight says while something is late."""
        [role] = [each for each in ROLES if each.host == "tonight"]
        _status, words_ = pages.headline(role)
        self.line(self.now, "Tonight", f"the page now says: {words_}", "bold")

    def headlines(self, pages: Pages) -> bool:
        """What each page says now, asked of the pages over the wire. Returns whether each was answered."""
        self.chapter("What the pages say in the morning", "Each role's page, asked for as a browser would.")
        fine = True
        for role in ROLES:
            status, words_ = pages.headline(role)
            fine &= status == 200 and bool(words_)
            said = f"page {role.page}: {words_}" if status == 200 else f"page {role.page} answered {status}"
            self.line(self.now, role.host, said, "" if status == 200 else "bold red")
        return fine

    def stay(self, logbook: Program, postbox: Postbox) -> None:
        """Serve on until Ctrl-C, the clock going on from the morning at its ordinary pace."""
        self.chapter(
            "Look around",
            "The pages at the addresses above stay open, and the clock goes on. Ctrl-C ends the demo and leaves nothing.",
        )
        began, morning = time.monotonic(), self.now
        with contextlib.suppress(KeyboardInterrupt):
            while True:
                time.sleep(1)
                self._until(logbook, postbox, morning + int((time.monotonic() - began) * 1_000_000))


def run(
    console: Console, *, pace: float | None = None, ask: bool = True, keep: Path | None = None, pages: bool = True,
    stay: bool = False, port: int = 0,
) -> int:  # fmt: skip
    """Play the demo. `pace`: seconds a line is left to be read; None: by whether somebody is there. `keep`: a folder in which the database is left.

    `pages`: serve them meanwhile; `stay`: and afterwards, until Ctrl-C.
    """
    if pages and port:
        _is_free(port)
    with contextlib.ExitStack() as open_:
        scratch = open_.enter_context(tempfile.TemporaryDirectory(prefix="logbook-demo-"))
        file = (keep or Path(scratch)) / "demo.sqlite"
        file.unlink(missing_ok=True)
        url = f"sqlite:///{file}"
        migrate.upgrade(url)
        there = sys.stdin.isatty() and console.is_terminal
        demo = Demo(console, pace=pace if pace is not None else _READ if there else _UNREAD, ask=ask, stay=stay)
        logbook = program(url, now=lambda: demo.now)
        open_.callback(logbook.close)
        box = open_.enter_context(postbox())
        console.print(WHAT, highlight=False)
        console.print("\nA scratch logbook lives through three weeks first; that takes a few seconds …", style="dim")
        demo.live_through_the_past(logbook, box)
        served_ = open_.enter_context(served(logbook, port)) if pages else None
        status = demo.play(logbook, box, file, served_)
        if stay and served_ is not None:
            demo.stay(logbook, box)
        return status


def _is_free(port: int) -> None:
    """Said before three weeks are lived through, not after. Raises Refusal."""
    with socket.socket() as place:
        place.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            place.bind(("127.0.0.1", port))
        except OSError as why:
            raise Refusal(
                f"Port {port} of this computer cannot be had ({why.strerror or why}). Nothing was begun; without --port "
                "the demo finds a free one."
            ) from None


def add(app: typer.Typer) -> None:
    """Hang `demo` on the app."""

    @app.command("demo")
    def demo(
        pace: Annotated[
            float | None,
            typer.Option(help="Seconds that a line is left to be read; else by whether somebody reads.", min=0),
        ] = None,
        ask: Annotated[
            bool, typer.Option("--ask/--no-ask", help="Let you type the text yourself, at a terminal.")
        ] = True,
        keep: Annotated[
            Path | None,
            typer.Option(help="A folder in which the night's database is left.", file_okay=False, exists=True),
        ] = None,
        pages: Annotated[
            bool | None,
            typer.Option("--pages/--no-pages", help="Serve the pages, and go on until Ctrl-C; at a terminal they are."),
        ] = None,
        port: Annotated[
            int, typer.Option(help="Of the pages, on loopback; 0: one that is free.", min=0, max=65_535)
        ] = 0,
    ) -> None:
        """Play one night in ninety seconds: texts, what is owed, an alert, its mail, and a doubter.

        A scratch database, an invented ferry terminal, a mail server and pages of its own on loopback. Nothing of yours
        is touched.
        """
        try:
            stay = pages if pages is not None else sys.stdin.isatty() and sys.stdout.isatty()
            # Without the pages' own packages there is still the night.
            can = find_spec("fastapi") is not None
            if pages and not can:
                raise Refusal("The pages need machine-logbook[web], which is not installed. Nothing was begun.")
            if pages is None and not can:
                say(
                    "Without machine-logbook[web], which is not installed, the demo has no pages; the night itself goes on."
                )
            status = run(
                Console(), pace=pace, ask=ask, keep=keep, pages=can and pages is not False, stay=stay and can, port=port
            )
        except ModuleNotFoundError as why:
            raise Refusal(
                f"The demo needs a mail server of its own, and {why.name} is not installed. Install machine-logbook[demo]."
            ) from None
        raise typer.Exit(status)
