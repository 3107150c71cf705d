"""`logbook replay`: what a clock that never sleeps would have written over a file of entries."""

from __future__ import annotations

import gc
import json
import sys
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any

import typer

from logbook.command import show
from logbook.command.entries_file import EntriesFile
from logbook.command.options import content, instant
from logbook.command.refusals import Refusal
from logbook.domain.fleetentries import register_of
from logbook.domain.fleetfile import FleetFile, read
from logbook.domain.instants import Instant
from logbook.domain.machine import FOREVER
from logbook.domain.policy import DUTIES, check
from logbook.domain.policy_keys import KEYS
from logbook.replay import LineRefused, Said, replay_lines

_LONG = 8 << 20
"""A file of so many bytes takes long enough for someone to wonder."""


def add(app: typer.Typer) -> None:
    """Hang this family's commands on the app."""
    app.command("replay")(replay)


def replay(
    fleet: Annotated[Path, typer.Option("--fleet", metavar="FLEET.toml", help="The fleet and its policy.")],
    entries: Annotated[
        Path, typer.Option("--entries", metavar="ENTRIES.jsonl", help="One entry a line, in order of recording.")
    ],
    until: Annotated[str, typer.Option("--until", metavar="INSTANT", help="How far the clock runs, inclusive.")],
    policy: Annotated[
        list[str] | None,
        typer.Option("--policy", metavar="KEY=VALUE", help="Suppose this number for the fleet; may be repeated."),
    ] = None,
    summary: Annotated[bool, typer.Option("--summary", help="A table by duty instead of every alert.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="With --summary: the table in JSON.")] = False,
) -> None:
    """What would have been told: run the clock over a file of entries, without waiting and without a database.

    Writes one JSON object a line, in order of time: each alert raised and cleared.
    """
    file = supposing(read(content(fleet, "The fleet file")), policy or [])
    said = replayed(file, entries, instant(until, "--until"))
    if summary:
        counted = summed(said)
        if as_json:
            show.as_json(counted)
        else:
            show.table(list(counted[0]) if counted else ["duty", "raised"], [list(row.values()) for row in counted])
        return
    out = sys.stdout
    for each in said:
        out.write(json.dumps(each.as_json(), separators=(",", ":")) + "\n")


def supposing(file: FleetFile, numbers: Sequence[str]) -> FleetFile:
    """The fleet with these numbers of policy, written `key=value`, for the fleet as a whole. Raises PolicyError."""
    values: dict[str, Any] = {}
    for written in numbers:
        key, equals, value = written.partition("=")
        if not equals:
            raise Refusal(f"--policy {written!r} is not of the form key=value. Nothing was done.")
        values[key.strip()] = policy_value(key.strip(), value.strip())
    return file.model_copy(update={"policy": {**file.policy, **check(values)}}) if values else file


def policy_value(key: str, text: str) -> Any:
    """A number of policy as it was typed: a switch, a whole number, a list or words, by the form its key wants."""
    if text in ("true", "false"):
        return text == "true"
    if text.isdecimal():
        return int(text)
    known = KEYS.get(key)
    if (known is not None and isinstance(known.default, list)) or text.startswith("["):
        return [step.strip().strip('"') for step in text.strip("[]").split(",") if step.strip()]
    return text.strip('"')


def replayed(file: FleetFile, path: Path, until: Instant) -> list[Said]:
    """Every alert raised and cleared, in order. Raises LineRefused for the first line of the file that is refused."""
    register = register_of(file, -FOREVER)
    try:
        size = path.stat().st_size
        with _progress(2 * size) as watch, EntriesFile(path, watch) as entries:
            # What the fold makes and drops is freed by counting; looking for cycles as well only costs time.
            gc.disable()
            try:
                said = replay_lines(register, entries.machines(), until)
            finally:
                gc.enable()
            if entries.broken is not None:
                raise entries.broken
    except OSError as why:
        raise Refusal(f"The entries file {str(path)!r} cannot be read: {why.strerror or why}.") from None
    except LineRefused as why:
        raise Refusal(f"{path.name}, {_ended(str(why))} Nothing was replayed.") from None
    return said


def _ended(sentence: str) -> str:
    return sentence if sentence.endswith((".", "!", "?")) else sentence + "."


@contextmanager
def _progress(total: int) -> Iterator[Callable[[int], None]]:
    """A bar on stderr, if somebody is there to watch it and it is worth watching."""
    if total < 2 * _LONG or not sys.stderr.isatty():
        yield lambda _bytes: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("replay", total=total)
        yield lambda more: bar.advance(task, more)


OUTCOMES = ("late", "told_late", "overtaken", "excused", "withdrawn", "not_due")


def summed(said: Sequence[Said]) -> list[dict[str, Any]]:
    """By duty, in the order of the rules: alerts raised, those cleared by outcome, those still live at the end."""
    raised = Counter(each.duty for each in said if not each.cleared)
    cleared = Counter((each.duty, each.outcome) for each in said if each.cleared)
    rows = []
    for duty in DUTIES:
        if raised[duty]:
            by_outcome = {outcome: cleared[duty, outcome] for outcome in OUTCOMES}
            rows.append(
                {"duty": duty, "raised": raised[duty], **by_outcome, "live": raised[duty] - sum(by_outcome.values())}
            )
    return rows
