"""The command line: one file for each family of commands, and `main` that runs them.

Promises that a command which did what was asked ends with 0, one that was refused or found something wanting with
1 and one sentence on stderr, and wrong usage with 2; that JSON goes to stdout by itself; and that a traceback means
a defect of this program and nothing else. It decides nothing: it reads what was typed, asks the rooms below, and
shows what they answered.
"""

from __future__ import annotations


def main() -> None:
    """Run the command that was typed. Does not return."""
    from logbook.command.app import app  # here, so that importing the package loads none of what commands need

    app()


__all__ = ["main"]
