"""A clock in a process of its own: steps when it is told to, at the instant it is told.

`python -m tests.whole.clock_process URL` reads an instant a line and answers with a line of JSON.
"""

from __future__ import annotations

import json
import os
import sys

from logbook.bootstrap import program
from logbook.domain.instants import Instant


def main(url: str) -> None:
    """Step until the input ends."""
    answers = os.fdopen(os.dup(1), "w", buffering=1)
    os.dup2(2, 1)  # nothing else comes between the answers
    now: list[Instant] = [0]
    logbook = program(url, now=lambda: now[0])
    print(json.dumps({"ready": True}), file=answers)
    for line in sys.stdin:
        now[0] = int(line)
        done = logbook.step(now[0])
        print(json.dumps({"raised": done.raised, "messages": done.messages, "next_at": done.next_at}), file=answers)
    logbook.close()


if __name__ == "__main__":
    main(sys.argv[1])
