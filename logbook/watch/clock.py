"""The clock: the only APScheduler, and an alarm clock at that, not a memory.

What is due stands in the database. One permanent interval job wakes every 60 s, whatever happens; at the end of
each step it is set to the next instant at which something is due, if that comes sooner, and `wake` sets it to now.
(Persistent job stores, cron triggers across a change of clocks and jobs that re-arm themselves each lost or doubled
runs when they were tried.)
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import datetime

import structlog
from apscheduler.jobstores.base import JobLookupError
from apscheduler.jobstores.memory import MemoryJobStore
from apscheduler.schedulers.background import BackgroundScheduler

from logbook.domain.instants import SECOND, Instant, text, to_datetime
from logbook.watch.step import Stepped

PULSE: Instant = 60 * SECOND
"""However wrong everything else is, the clock looks at least this often."""

BREATH: Instant = SECOND // 20
"""How long to wait where a step says that something is still due: another process has it in hand just now."""

_log = structlog.get_logger("logbook.clock")
_JOB = "step"

_INSTANCES = 3
"""For a moment behind its end a strike counts as running with the scheduler. Another that comes due in that moment
would be passed over, until the pulse, if one were all that may run; that no two steps are taken at once is seen to
by `_strike` itself."""


class AlarmClock:
    """Calls `act` when something is due, and never less often than every `pulse`.

    `act` does one step and says what it found. `now` is the one clock. A step that fails is told to the log and
    tried again at the next pulse: what was due is still due then.
    """

    def __init__(
        self, act: Callable[[Instant], Stepped], now: Callable[[], Instant], *, pulse: Instant = PULSE,
        after: Callable[[Stepped], None] = lambda _stepped: None,
    ) -> None:  # fmt: skip
        self._act = act
        self._now = now
        self._pulse = pulse
        self._after = after
        self._armed: Instant | None = None
        self._arming = threading.Lock()
        self._running = False
        self._stopping = False
        self._wished: Instant | None = None
        self.failures = 0
        self._scheduler = BackgroundScheduler(
            jobstores={"default": MemoryJobStore()}, timezone="UTC",
            job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": _INSTANCES},
        )  # fmt: skip

    def start(self) -> None:
        """Begin: the first step is at once."""
        self._scheduler.add_job(
            self._strike, "interval", id=_JOB, seconds=self._pulse / SECOND, next_run_time=to_datetime(self._now())
        )
        self._scheduler.start()

    def stop(self) -> None:
        """End, after the step that is being taken."""
        with self._arming:
            # From here on nobody calls the scheduler: it would wait for its own shutdown, which waits for the step.
            self._stopping = True
        self._scheduler.shutdown(wait=True)

    def wake(self, at: Instant) -> None:
        """Something is due at `at`: strike then, if that is sooner than planned."""
        with self._arming:
            if self._running:
                self._wished = at if self._wished is None else min(self._wished, at)
            elif self._armed is None or at < self._armed:
                self._arm(at)

    def _arm(self, at: Instant) -> None:
        if self._stopping:
            return
        self._armed = at
        moment: datetime = max(to_datetime(at), to_datetime(self._now()))
        try:
            self._scheduler.modify_job(_JOB, next_run_time=moment)
        except JobLookupError:  # not started
            self._armed = None

    def _strike(self) -> None:
        with self._arming:
            if self._running:
                return  # the pulse, while a step takes longer than that
            self._running, self._armed = True, None
        now = self._now()
        following: Instant | None = None
        try:
            stepped = self._act(now)
            following = stepped.next_at
            if stepped.machines or stepped.messages:
                _log.info(
                    "step", at=text(now), machines=stepped.machines, raised=stepped.raised, cleared=stepped.cleared,
                    messages=stepped.messages,
                )  # fmt: skip
            self._after(stepped)
        except Exception:  # noqa: BLE001 - whatever it was, the clock goes on
            self.failures += 1
            _log.exception("step failed; it is tried again at the next pulse", at=text(now))
        finally:
            with self._arming:
                self._running = False
                at = self._now() + self._pulse
                if following is not None:
                    at = min(at, max(following, self._now() + BREATH))
                if self._wished is not None:
                    at = min(at, self._wished)
                self._wished = None
                self._arm(at)
