"""The whole service is killed when a text was kept and before the gateway is answered: one entry, one answer."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

from tests.channels.gateway.playing import post_of
from tests.whole.ways.gateway import Gateway
from tests.whole.ways.postbox import Postbox
from tests.whole.ways.running import ANA, LEE, founded, mail_out, running, stays, until

ROOT = Path(__file__).parents[3]


@contextlib.contextmanager
def life(file: Path, deadly: str | None = None) -> Iterator[subprocess.Popen[bytes]]:
    """One life of the service; no process outlives the block."""
    line = [sys.executable, "-m", "tests.whole.ways.worker", str(file), *([deadly] if deadly else [])]
    with subprocess.Popen(
        line, cwd=ROOT, stdin=subprocess.DEVNULL, env={**os.environ, "PYTHONPATH": str(ROOT)}
    ) as process:
        try:
            yield process
        finally:
            process.kill()
            process.wait()


def test_killed_between_the_commit_and_the_answer(gateway: Gateway, postbox: Postbox, tmp_path: Path) -> None:
    file = founded(tmp_path, mail_out(postbox.port) + gateway.settings)
    body = post_of("deadly", ANA, "B7H parked")
    with gateway.open():
        with life(file, "B7H parked") as first:
            gateway.send("C4J parked", ANA, "m0")  # it is up, and works
            until(lambda: len(gateway.texts(ANA)) == 1 and gateway.texts(LEE), "the first text's answer and alert")
            assert gateway.post(body) is None
            assert first.wait(20) == -signal.SIGKILL
        assert gateway.post(body) is None  # and again while nobody is there
        with life(file) as second:
            gateway.send("B7H parked", ANA, "deadly")
            gateway.send("B7H parked", ANA, "deadly")
            until(lambda: [text for text in gateway.texts(ANA) if text.startswith("B7H")], "the answer")
            until(lambda: [text for text in gateway.texts(LEE) if "B7H" in text], "the alert")
            stays(lambda: (len(gateway.texts(ANA)), len(gateway.texts(LEE))) == (2, 2), "one answer, one alert")
            second.terminate()
            assert second.wait(30) == 0
        with running(file) as one:  # to look
            assert one.entries() == ["commissioned", "put_away", "alert_raised"]
            assert one.entries("C4J") == ["commissioned", "put_away", "alert_raised"]
            assert sorted(row.id for row in one.heard()) == ["gateway:deadly", "gateway:m0"]
            assert one.states("answer", "alert") == [("text", "sent")] * 4
    # What was taken over and not yet marked when the kill came is offered again, under the same name, and is known.
    assert len({each.ours for each in gateway.taken}) == len(gateway.taken) == 4
    assert gateway.asked in (4, 5)
    assert postbox.keeper.envelopes == []
