"""The whole service as a process of its own: `python -m tests.whole.ways.worker SETTINGS [TEXT]`.

With TEXT, it is killed when that text was kept, before whoever brought it is answered.
"""

from __future__ import annotations

import asyncio
import os
import signal
import sys
from pathlib import Path

from logbook.channels.desk import Answer, Desk, Message
from tests.whole.ways.running import wired


def main(file: Path, deadly: str | None) -> None:
    """Live."""
    take = Desk.take

    def taken(desk: Desk, message: Message) -> Answer:
        answer = take(desk, message)
        if message.text == deadly:
            os.kill(os.getpid(), signal.SIGKILL)
        return answer

    Desk.take = taken  # type: ignore[method-assign,assignment]
    made, _delivery, service = wired(file)
    asyncio.run(service.run())
    made.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2] if len(sys.argv) > 2 else None)
