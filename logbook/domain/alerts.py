"""Alerts: from duties and the clock to what must be raised and cleared.

A duty is *overdue* when its due instant has come and it did not end at or before it. The ledger remembers of every
duty that has ever been overdue: since which step, whether the clock itself came to the due instant, how many
alerts it has had, and whether one is live. From that, `decide` says what to raise and what to clear, each with
a reason that can be told.

Pure: it writes nothing and tells nobody. Who is told, and when, is `logbook.domain.telling`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Literal

import msgspec

from logbook.domain.history import Position
from logbook.domain.instants import Instant
from logbook.domain.machine import FOREVER, Duty, Key

Outcome = Literal["withdrawn", "excused", "overtaken", "late", "told_late", "not_due"]
Reason = Literal[
    "came_due", "still_overdue_after_settling", "opened_no_more", "ended_by_excuse", "ended_by_later_use",
    "done_late", "done_in_time_told_late", "due_moved",
]  # fmt: skip


class Record(msgspec.Struct, gc=False):
    """What the ledger remembers of one duty that has been overdue.

    `since`: the step at which it last became overdue. `reached`: the clock came to the due instant itself, so the
    alert waits for nothing. `count`: alerts raised so far. `raised_at`: when the live one was raised, else None.
    `gone`: the effective history opens this duty no more.
    """

    duty: Duty
    since: Instant
    reached: bool
    over: bool = True
    count: int = 0
    raised_at: Instant | None = None
    gone: bool = False

    def waits(self) -> bool:
        """An alert is yet to be raised: overdue, none live, and not one that was told already and has ended."""
        return self.raised_at is None and self.over and (self.count == 0 or self.duty.ended_at is None)


class Decision(msgspec.Struct, frozen=True):
    """One thing to write: an alert raised (`outcome` None) or cleared. `silent`: raised and cleared in one step."""

    duty: Duty
    number: int
    due_at: Instant
    outcome: Outcome | None
    reason: Reason
    silent: bool = False


_WHY: dict[Outcome, Reason] = {
    "withdrawn": "opened_no_more",
    "excused": "ended_by_excuse",
    "overtaken": "ended_by_later_use",
    "late": "done_late",
    "told_late": "done_in_time_told_late",
    "not_due": "due_moved",
}


def outcome(record: Record) -> Outcome:
    """Why a live alert is over: the first that fits."""
    duty = record.duty
    if record.gone:
        return "withdrawn"
    if duty.how == "excused":
        return "excused"
    if duty.how == "overtaken":
        return "overtaken"
    if duty.ended_at is not None:
        return "late" if duty.ended_at > duty.due else "told_late"
    return "not_due"


class Ledger:
    """The alerts of one machine. `fetch` brings a record that is not in memory, where records are kept elsewhere.

    Most entries change nothing about any alert. `unsettled` says whether there may be something to decide: a record
    was heard of since the last decision, or one waits for its time.
    """

    __slots__ = ("_fetch", "active", "dirty", "records", "unsettled")

    def __init__(self, records: Iterable[Record] = (), fetch: Callable[[Key], Record | None] | None = None) -> None:
        self.records: dict[Key, Record] = {record.duty.key: record for record in records}
        self.active: dict[Key, Record] = {key: record for key, record in self.records.items() if _open(record)}
        self.dirty: set[Key] = set()
        self._fetch = fetch
        self.unsettled = bool(self.active)

    def _find(self, key: Key) -> Record | None:
        record = self.records.get(key)
        if record is None and self._fetch is not None:
            record = self._fetch(key)
            if record is not None:
                self.records[key] = record
        return record

    def hear(self, duty: Duty, now: Instant) -> None:
        """A duty is new or has changed, at the step `now`."""
        key = (duty.duty, duty.opened_by)
        record = self._find(key)
        if record is not None or duty.overdue(now):
            self._judge(key, record, duty, now)

    def _judge(self, key: Key, record: Record | None, duty: Duty, now: Instant) -> None:
        over = duty.overdue(now)
        if record is None:
            if not over:
                return
            record = self.records[key] = Record(duty, now, duty.due == now)
        else:
            record.duty, record.gone = duty, False
            # Judged again within one step, it counts as found overdue by the state at the step's end.
            if over and (not record.over or record.since == now):
                record.since, record.reached = now, duty.due == now
            record.over = over
        self.dirty.add(key)
        self.unsettled = True
        if _open(record):
            self.active[key] = record

    def came_due(self, duties: Iterable[Duty], now: Instant) -> None:
        """The clock has come to `now`: what falls due just then, and has not ended, is overdue from here."""
        for duty in duties:
            if duty.ended_at is None and duty.due <= now:
                record = self._find(duty.key)
                if record is None or not record.over:
                    self.hear(duty, now)

    def heard_again(self, duties: Iterable[Duty], origin: Position, now: Instant) -> None:
        """The history was folded again from `origin`: `duties` are all that it opens, keeps or ends since then.

        What the ledger knows, was not final before `origin`, and is not among them, is gone. Of all these the
        records must be here already (`Watchman.before_folding_again`): none is fetched.
        """
        seen = set()
        self.unsettled = True
        for duty in duties:
            key = (duty.duty, duty.opened_by)
            seen.add(key)
            self._judge(key, self.records.get(key), duty, now)
        for key, record in self.records.items():
            closed = record.duty.closed
            if key in seen or record.gone or (closed is not None and closed <= origin):
                continue
            record.gone, record.over = True, False
            record.duty.closed = None  # whatever the next folding's origin, it may open this one again
            self.dirty.add(key)

    def decide(self, now: Instant, settle: Callable[[Duty], Instant]) -> list[Decision]:
        """What to write at `now`: raised before cleared, in order of duty and opening entry.

        `settle`: how long what was found overdue may wait for the rest of the news, a duty at a time.
        """
        raised: list[Decision] = []
        cleared: list[Decision] = []
        for key in sorted(self.active):
            record = self.active[key]
            new = record.waits() and (record.reached or now >= record.since + settle(record.duty))
            if new:
                record.count += 1
                record.raised_at = now
                self.dirty.add(key)
            over = record.raised_at is not None and (record.gone or not record.duty.standing(now))
            duty = record.duty
            if new:
                reason: Reason = "came_due" if record.reached else "still_overdue_after_settling"
                raised.append(Decision(duty, record.count, duty.due, None, reason, silent=over))
            if over:
                record.raised_at = None
                why = outcome(record)
                cleared.append(Decision(duty, record.count, duty.due, why, _WHY[why], silent=new))
                self.dirty.add(key)
            if not _open(record):
                del self.active[key]
        self.unsettled = any(record.waits() for record in self.active.values())
        return raised + cleared

    def did(self, key: Key, number: int, raised: bool, at: Instant, due_at: Instant) -> None:
        """What the log says that the clock did at an instant: it is so, whatever would be decided now.

        A duty that is not known to be overdue (rules of another day called it so) is remembered as gone: its alert
        is cleared as withdrawn, and its number is not given again.
        """
        record = self._find(key)
        if record is None:
            duty = Duty(*key, opened_at=due_at, due=due_at, site="")
            record = self.records[key] = Record(duty, at, reached=True, over=False, gone=True)
        record.count = max(record.count, number)
        record.raised_at = at if raised else None
        self.dirty.add(key)
        self.unsettled = True
        if _open(record):
            self.active[key] = record
        else:
            self.active.pop(key, None)

    def next_settled(self, settle: Callable[[Duty], Instant]) -> Instant:
        """The first instant at which a duty that was found overdue must be judged again, else FOREVER."""
        return min(
            (
                record.since if record.reached else record.since + settle(record.duty)
                for record in self.active.values()
                if record.waits()
            ),
            default=FOREVER,
        )

    def owes_word(self, now: Instant) -> bool:
        """Whether a live alert is over at `now`, so that the clock owes its clearing."""
        return any(
            record.raised_at is not None and (record.gone or not record.duty.standing(now))
            for record in self.active.values()
        )

    def is_over(self, key: Key) -> bool:
        """Whether the ledger holds this duty to be overdue."""
        record = self.records.get(key)
        return record is not None and record.over


def _open(record: Record) -> bool:
    return record.raised_at is not None or record.waits()
