"""Hold a replay's alert lines against the truth: every miss found, at its instant, and nothing else.

`python -m scenario.score DIR ALERTS.jsonl` reads the folder that the generator wrote and what `logbook replay` printed
for it, and prints a table by duty. It knows no rule: two lists are compared, that is all.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

Line = Mapping[str, Any]
Key = tuple[str, ...]


@dataclass
class Score:
    """What was planted, what was found, what was found and is not there."""

    planted: Counter[str] = field(default_factory=Counter)
    found: Counter[str] = field(default_factory=Counter)
    false: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)

    @property
    def perfect(self) -> bool:
        """Every alert as it must be, and no other."""
        return not self.wrong

    def table(self) -> str:
        """The score by duty, as text."""
        rows = [("duty", "planted", "found", "false")]
        duties = sorted(self.planted | self.false)
        rows += [(d, str(self.planted[d]), str(self.found[d]), str(self.false[d])) for d in duties]
        rows += [("all", str(self.planted.total()), str(self.found.total()), str(self.false.total()))]
        return "\n".join(f"{duty:<14}{planted:>9}{found:>9}{false:>9}" for duty, planted, found, false in rows)


def score(truth: Iterable[Line], alerts: Iterable[Line], *, by_id: bool = True) -> Score:
    """Compare. A miss is found if its alert was raised at its instant for its due instant, and ended as it must have.

    `by_id` False leaves `opened_by` out of the comparison, for a log whose entries were given other ids.
    """
    result = Score()
    raised: dict[Key, list[Line]] = {}
    ends: dict[Key, tuple[str | None, str | None]] = {}
    for line in alerts:
        if line["kind"] == "alert_raised":
            raised.setdefault(_key(line, line["at"], by_id), []).append(line)
        else:
            ends[_alert(line)] = (line["outcome"], line["at"])
    for row in truth:
        duty = str(row["duty"])
        result.planted[duty] += 1
        matches = raised.get(_key(row, row["raised_at"], by_id), [])
        if not matches:
            result.wrong.append(f"missed: {_said(row, row['raised_at'])} ({row['why']})")
            continue
        match = matches.pop()
        end = ends.get(_alert(match), (None, None))
        if end != (row["outcome"], row["cleared_at"]):
            wanted = f"{row['outcome']} at {row['cleared_at']}"
            result.wrong.append(
                f"ended {end[0]} at {end[1]}, not {wanted}: {_said(row, row['raised_at'])} ({row['why']})"
            )
            continue
        result.found[duty] += 1
    for left in raised.values():
        for line in left:
            result.false[str(line["duty"])] += 1
            result.wrong.append(f"false: {_said(line, line['at'])}")
    return result


def _key(line: Line, at: str, by_id: bool) -> Key:
    named = str(line["opened_by"]) if by_id or line["duty"] == "night" else ""
    return (line["machine"], line["duty"], named, at, line["due_at"])


def _alert(line: Line) -> Key:
    return (line["machine"], line["duty"], line["opened_by"], str(line["number"]))


def _said(line: Line, at: str) -> str:
    return f"{line['machine']} {line['duty']} due {line['due_at']}, raised {at}"


def read_lines(file: Path) -> list[dict[str, Any]]:
    """The objects of a JSON-lines file. Raises OSError, or ValueError with the line's number."""
    rows = []
    for number, line in enumerate(file.read_text(encoding="utf-8").splitlines(), start=1):
        try:
            rows.append(json.loads(line))
        except json.JSONDecodeError as error:
            raise ValueError(f"{file}, line {number}: {error}") from None
    return rows


def main(arguments: Sequence[str] | None = None) -> int:
    """The command line: 0 if all is as it must be, 1 if not, 2 if a file cannot be read."""
    parser = argparse.ArgumentParser(prog="python -m scenario.score", description="Score a replay against the truth.")
    parser.add_argument("folder", type=Path, help="what `python -m scenario --out` wrote")
    parser.add_argument("alerts", type=Path, help="what `logbook replay` printed")
    given = parser.parse_args(arguments)
    try:
        result = score(read_lines(given.folder / "truth.jsonl"), read_lines(given.alerts))
    except (OSError, ValueError) as error:
        print(f"{error}. Nothing was scored.", file=sys.stderr)
        return 2
    print(result.table())
    for sentence in result.wrong:
        print(sentence, file=sys.stderr)
    return 0 if result.perfect else 1


if __name__ == "__main__":
    sys.exit(main())
