"""The program's one command, `logbook`, put together from its families when one of them is asked for.

A family is a module of this package with a function `add(app)` that hangs its commands on an app. Only the family
whose command was typed is loaded: the rest of the house takes longer to wake than most commands take to run.
"""

from __future__ import annotations

from importlib import import_module
from importlib.util import find_spec
from typing import Annotated, Any

import typer
from typer.core import TyperGroup
from typer.main import get_group

from logbook.command.options import before_command
from logbook.command.refusals import say, sentence_of

FAMILIES = {
    "init": "setup", "fleet": "fleet", "site": "fleet", "policy": "policy", "kinds": "kinds", "plates": "plates", "link": "link",
    "text": "text", "texts": "texts", "record": "recording", "import": "importing", "owed": "looking", "alerts": "looking",
    "history": "looking", "step": "clock", "serve": "serve", "key": "key", "replay": "replay", "audit": "upkeep",
    "rebuild": "upkeep", "pack": "pack", "erase": "erase", "doctor": "doctor", "demo": "demo",
}  # fmt: skip
"""Every command and its module, in the order of the help. A module that a checkout lacks has no commands."""


class _Commands(TyperGroup):
    """The root of all commands: here a refusal becomes a sentence and an exit status."""

    def list_commands(self, ctx: Any) -> list[str]:
        return [name for name in FAMILIES if self.get_command(ctx, name) is not None]

    def get_command(self, ctx: Any, cmd_name: str) -> Any:  # noqa: ARG002 - the name is that of the group it overrides
        module = FAMILIES.get(cmd_name)
        if cmd_name not in self.commands and module is not None and find_spec(f"logbook.command.{module}"):
            add = getattr(import_module(f"logbook.command.{module}"), "add", None)
            if add is not None:
                family = typer.Typer(rich_markup_mode=None, add_completion=False)
                # A second command, so that one alone is not taken for the whole program.
                family.command("", hidden=True)(_nothing)
                add(family)
                self.commands.update({name: each for name, each in get_group(family).commands.items() if name})
        return self.commands.get(cmd_name)

    def invoke(self, ctx: Any) -> Any:
        try:
            return super().invoke(ctx)
        except Exception as why:
            sentence = sentence_of(why)
            if sentence is None:
                raise
            say(sentence)
            raise typer.Exit(1) from why


def _nothing() -> None: ...


app = typer.Typer(
    cls=_Commands,
    name="logbook",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    # A traceback with the values of variables in it could show what somebody wrote in confidence.
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


@app.callback()
def _root(
    db: Annotated[str | None, typer.Option("--db", metavar="URL", help="The database, for whichever command.")] = None,
) -> None:
    """The logbook of battery ride-on floor scrubber-polishers: what was done, what is still owed, who is told."""
    before_command.set(db)
