"""Mail in as a process of its own, for a test to kill: `python -m tests.channels.mail_in.worker URL SETTINGS [FILE]`.

With FILE, it makes that file when the desk has returned, and then never comes to the marking.
"""

from __future__ import annotations

import asyncio
import signal
import sys
import time
from pathlib import Path

from logbook.bootstrap import program
from logbook.channels.desk import Answer, Message
from logbook.channels.mail_in import MailInSettings
from logbook.channels.mail_in.mailbox import Mailbox


async def work(url: str, settings: str, file: str | None) -> None:
    stop = asyncio.Event()
    asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, stop.set)
    made = program(url)

    def take(message: Message) -> Answer:
        answer = made.desk.take(message)
        if file is not None:
            Path(file).write_text(answer.outcome)
            time.sleep(600)
        return answer

    mailbox = Mailbox(
        MailInSettings.model_validate_json(settings), take=take, keep_aside=made.desk.keep_aside, now=made.now
    )
    try:
        await mailbox.run(stop)
    finally:
        made.close()


if __name__ == "__main__":
    asyncio.run(work(sys.argv[1], sys.argv[2], sys.argv[3] if len(sys.argv) > 3 else None))
