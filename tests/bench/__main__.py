"""`python -m tests.bench`: every benchmark, one table.

`--quick` runs each once and small, which shows that they run; `--only NAME` runs one. `--folder` says on which disk:
by default where temporary files go. Close other programs first, and believe only the ratios.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from tests.bench import appending, due, phone, posting, rebuild, replaying, texting, tonight
from tests.bench.harness import Row, Size, show

BENCHES: dict[str, Callable[[Path, Size], list[Row]]] = {
    "rebuild": rebuild.run,
    "appending": appending.run,
    "due": due.run,
    "posting": posting.run,
    "replaying": replaying.run,
    "texting": texting.run,
}
if shutil.which("chromium"):
    BENCHES["tonight"] = tonight.run
    BENCHES["phone"] = phone.run


def run(names: list[str], size: Size, folder: Path | None = None) -> list[Row]:
    """The rows of these benchmarks, each in a folder of its own that is emptied afterwards."""
    rows = []
    for name in names:
        with tempfile.TemporaryDirectory(dir=folder) as made:
            rows += BENCHES[name](Path(made), size)
    return rows


def main(arguments: list[str]) -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("--quick", action="store_true", help="small and once: only shows that everything runs")
    parser.add_argument("--only", choices=list(BENCHES), action="append", help="this benchmark; may be given again")
    parser.add_argument("--folder", type=Path, help="where the databases are made")
    told = parser.parse_args(arguments)
    sys.stdout.write(show(run(told.only or list(BENCHES), Size(told.quick), told.folder)) + "\n")


if __name__ == "__main__":
    main(sys.argv[1:])
