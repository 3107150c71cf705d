"""A delivery worker as a process of its own, for a test to kill: `python -m tests.whole.mail_worker URL PORT`."""

from __future__ import annotations

import asyncio
import signal
import sys
import time

from logbook.channels.mail_out import MailRoute, MailSettings
from logbook.store import Store
from logbook.watch.delivery import Delivery
from tests.watch.delivering import Ear


async def work(url: str, port: int) -> None:
    """Deliver by mail to that port of this machine until SIGTERM."""
    stop = asyncio.Event()
    asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, stop.set)
    settings = MailSettings(host="127.0.0.1", port=port, security="none", from_address="logbook@ferries.example")
    with Store(url) as store:
        delivery = Delivery(
            store, [MailRoute(settings)], Ear(), by="worker", now=lambda: time.time_ns() // 1_000, alone=True
        )
        await delivery.run(stop, poll=0.05)


if __name__ == "__main__":
    asyncio.run(work(sys.argv[1], int(sys.argv[2])))
