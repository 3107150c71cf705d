"""The list of those who were erased, in a file of its own: it outlives an older backup that is put back.

Promises that the file holds no words, only the ids by which the log knows people and entries; that a line is on the
disk when `add` answers; and that lines which cannot be read are told of, not passed over.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import NamedTuple

from logbook.store import Store

ENDING = ".erased"


class Line(NamedTuple):
    """One erasure: whom, by which entry, on which ground."""

    person: str
    entry: str
    ground: str


def file_of(store: Store) -> Path:
    """Where the list lies: beside a SQLite database; for PostgreSQL in the working folder, by the database's name."""
    if store.is_sqlite:
        return Path((store.url.database or "logbook.sqlite").removeprefix("file:") + ENDING)
    return Path(f"{store.url.database or 'logbook'}{ENDING}")


def read(file: Path) -> list[Line]:
    """Every line; none where there is no file. Raises OSError, or ValueError with the line that is no line of ours."""
    if not file.exists():
        return []
    found = []
    for number, text in enumerate(file.read_text(encoding="utf-8").splitlines(), 1):
        if not text.strip():
            continue
        try:
            said = json.loads(text)
            found.append(Line(str(said["person"]), str(said["entry"]), str(said["ground"])))
        except (ValueError, KeyError, TypeError) as why:
            raise ValueError(f"{file}, line {number}, is not a line of a list of erasures") from why
    return found


def add(file: Path, lines: list[Line]) -> int:
    """Append what is not there yet; answers with how many lines that were. Raises OSError or ValueError."""
    known = {line.person for line in read(file)}
    new = [line for line in lines if line.person not in known]
    if new:
        with file.open("a", encoding="utf-8") as out:
            out.writelines(json.dumps(line._asdict()) + "\n" for line in new)
            out.flush()
            os.fsync(out.fileno())
    return len(new)
