"""Delivery: what waits in the outbox goes out. Claim under a lease, send, mark, in that order.

Promises that a message goes out at least once, each time with the same Message-ID: a crash between sending and
marking sends it again, and nothing is marked before it was sent. That nothing is sent after its `not_after`. That a
server's "not now" costs nobody a message, a day's outage included; that a "never" goes to the person's next way, or
is told to the owner; and that a bad login or certificate holds the route, keeps its queue and is told once. Never
decides whom to tell what, and never sees how a route works.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable, Iterable
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from typing import Any, Literal

import structlog
from sqlalchemy import Connection

from logbook.domain.instants import HOUR, MINUTE, SECOND, Instant
from logbook.domain.instants import text as instant_text
from logbook.store import Store, confirmations, outbox
from logbook.store import clock as signs
from logbook.store.outbox import Message, OutOfTurnError
from logbook.watch.backoff import GIVE_UP, MOST_DOWN, backoff
from logbook.watch.routes import Again, Hold, Outcome, Outgoing, Refused, Route, Sent
from logbook.watch.trouble import ABOUT_TROUBLE, ANSWER, Caller, Report, Trouble

TRIAL_EVERY: Instant = 5 * MINUTE
"""A held route is tried so often; the trial that goes well releases it."""

TELL_AFTER: Instant = HOUR
"""A route that could not be reached, or took nothing over, for so long is told to the owner, once."""

LEASE_SLACK: Instant = 60 * SECOND
"""A lease lasts as long as the longest single sending and this. What it does not suffice for is let go."""

PULSE: Instant = 30 * SECOND
"""At least so often `run` looks in earnest, and leaves its sign of life."""

_log = structlog.get_logger("logbook.delivery")


@dataclass(slots=True)
class _Taken:
    """What a pass begins with."""

    messages: dict[str, list[Message]]
    held: dict[str, str]
    trials: set[str]
    down: set[str]
    expired: int
    other_way: int


class Delivery:
    """One worker. Any number may share an outbox, each with its own name `by`."""

    def __init__(
        self, store: Store, routes: Iterable[Route], caller: Caller, *, by: str, now: Callable[[], Instant],
        language: Callable[[Connection, Message], str | None] | None = None,
        limit: int = 100, alone: bool = False, elapsed: Callable[[], float] = time.monotonic,
    ) -> None:  # fmt: skip
        """`now` is for `run`; `once` is told. `elapsed`: seconds that pass while a batch is sent.

        `alone`: nobody else has this name, so leases under it are those of a former life, and end when `run` starts.
        """
        self._store = store
        self._routes = {route.name: route for route in routes}
        self._caller = caller
        self._by = by
        self._now = now
        self._language = language
        self._limit = limit
        self._alone = alone
        self._elapsed = elapsed
        self._bell = asyncio.Event()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._stop: asyncio.Event | None = None
        self._round_at: Instant | None = None
        self.failures = 0

    # -- one pass -----------------------------------------------------------------------------------------------

    async def once(self, now: Instant) -> Report:
        """Send what is due at `now`. Raises StoreError if the database fails: then no more is sent than was marked."""
        started = self._elapsed()
        report = Report(now)
        taken = await self._write(lambda connection: self._take(connection, now))
        report.held, report.expired, report.unconfirmed = taken.held, taken.expired, taken.other_way
        report.claimed = sum(map(len, taken.messages.values()))

        def moment() -> Instant:
            return now + int((self._elapsed() - started) * SECOND)

        # Side by side: a mail server that hangs keeps no text message waiting. All are awaited, whatever one raises.
        results = await asyncio.gather(
            *(self._serve(route, taken, moment, report) for route in self._routes.values()), return_exceptions=True
        )
        for result in results:
            if isinstance(result, BaseException):
                raise result
        return report

    def _take(self, connection: Connection, now: Instant) -> _Taken:
        expired = outbox.expire(connection, now)
        held = outbox.held(connection)
        trials = {
            name for name in self._routes if name in held and outbox.trial_due(connection, name, now, TRIAL_EVERY)
        }
        down = {name for name in self._routes if signs.of(connection, f"down:{name}") is not None}
        # Before anything is claimed: what is claimed goes nowhere else in this pass.
        other_way = self._unconfirmed(connection, now)
        self._round_at = confirmations.next_at(connection)
        other_way += self._go_round(connection, held.keys() | down, now)
        messages = {
            name: outbox.claim(
                connection, now, self._by, self._limit, [name],
                until=now + int(route.longest * SECOND) + LEASE_SLACK,
            )
            for name, route in self._routes.items()
            if name not in held
        }  # fmt: skip
        last = signs.of(connection, "delivery")
        if last is None or any(messages.values()) or now - last.at >= PULSE:
            signs.put(connection, "delivery", now)
        return _Taken(messages, held, trials, down, expired, other_way)

    def _go_round(self, connection: Connection, away: AbstractSet[str], now: Instant) -> int:
        """What waits too long for a route that is held or away, or was tried in vain for so long, goes by its reader's
        next way, and not twice. (A carrier that hangs, or fails at each message, never counts as away.)"""
        gone = 0
        for name in sorted(away | self._routes.keys()):
            for message in outbox.stuck(connection, name, now, now, attempts=0 if name in away else 1):
                until = message.queued_at + self._caller.confirm_within(connection, message, now)
                if now < until:
                    self._look_at(until)
                    continue
                other = self._caller.next_way(connection, message)
                if other is None or other.route in away or (other.route, other.address) in _tried(connection, message):
                    continue
                if outbox.elsewhere(connection, message, now):
                    outbox.queue(connection, replace(other, follows=message.id))
                    gone += 1
        return gone

    def _look_at(self, at: Instant) -> None:
        """Something may have to go by another way at that instant: a pass should be made then."""
        self._round_at = at if self._round_at is None else min(self._round_at, at)

    def _unconfirmed(self, connection: Connection, now: Instant) -> int:
        """What a carrier took over and should have confirmed by now goes by its reader's next way as well."""
        gone = 0
        for waiting in confirmations.overdue(connection, now):
            confirmations.give_up(connection, waiting.message, "the carrier never said that it arrived")
            gone += self._other_way(connection, waiting.message)
        return gone

    def _other_way(self, connection: Connection, id: str) -> bool:
        """Whether a message goes, or went, by its reader's next way."""
        message = outbox.find(connection, id)
        if message is None:
            return False
        other = self._caller.next_way(connection, message)
        if other is None or (other.route, other.address) in _tried(connection, message):
            return False
        # Gone there already: a carrier that kept silent, and says no days later, makes nobody be told twice.
        gone = outbox.find(connection, other.id) is not None
        return gone or outbox.queue(connection, replace(other, follows=message.id))

    def receipt(self, route: str, reference: str, arrived: bool, at: Instant, detail: str) -> bool:
        """A carrier's word about a message that it took over. From any thread.

        False: nothing goes by that name, or not yet, for a carrier can be quicker than we are to note the name.
        Raises StoreError if the database fails: then the carrier should say it again.
        """

        def said(connection: Connection) -> bool:
            if not confirmations.known(connection, route, reference):
                return False
            id = confirmations.said(connection, route, reference, arrived, at, detail)
            if id is None or arrived:
                return True
            if not self._other_way(connection, id):
                message = outbox.find(connection, id)
                if message is not None and message.kind not in (ABOUT_TROUBLE, ANSWER):
                    self._tell(connection, Trouble("failed", route, detail, at, message))
            return True

        found: bool = self._store.write(said)
        self.wake()
        return found

    async def _serve(self, route: Route, taken: _Taken, moment: Callable[[], Instant], report: Report) -> None:
        if route.name in taken.trials:
            await self._try_out(route, moment, report)
        messages = taken.messages.get(route.name, [])
        if not messages:
            return
        down, rest_at = route.name in taken.down, None
        try:
            while messages and rest_at is None and self._has_time(route, messages[0], moment()):
                message = messages.pop(0)
                if message.not_after is not None and message.not_after < moment():
                    await self._mark(report, "expired", outbox.late, message)
                    continue
                outcome = await self._send(route, message)
                rest_at = await self._settle(route, message, outcome, moment(), down, report)
                down = down and not isinstance(outcome, Sent)
        finally:
            await route.rest()
        # Not if the database has failed: it could not let go either, and then the leases end by themselves.
        if messages:
            at = moment() if rest_at is None else rest_at
            kept = await self._write(lambda connection: _let_go(connection, messages, at))
            report.let_go += kept
            report.doubled += len(messages) - kept

    def _has_time(self, route: Route, message: Message, now: Instant) -> bool:
        stopping = self._stop is not None and self._stop.is_set()
        return not stopping and now + int(route.longest * SECOND) <= (message.lease_until or 0)

    async def _send(self, route: Route, message: Message) -> Outcome:
        try:
            return await route.send(
                Outgoing(
                    message.message_id, message.address, message.subject, message.body, message.queued_at,
                    None if self._language is None else await asyncio.to_thread(self._language_of, message),
                )
            )  # fmt: skip
        except Exception as why:  # noqa: BLE001 - told below, and the message waits
            # A fault of ours in one message must not keep the others. It is kept, and tried again.
            _log.exception("a message could not be tried", message=message.id, route=route.name)
            return Again(f"a fault in the program: {type(why).__name__}: {why}")

    def _language_of(self, message: Message) -> str | None:
        with self._store.read() as connection:
            return self._language(connection, message) if self._language is not None else None

    # -- what came of it ----------------------------------------------------------------------------------------

    async def _settle(
        self, route: Route, message: Message, outcome: Outcome, now: Instant, down: bool, report: Report
    ) -> Instant | None:
        """Mark one message; answers with when the rest of the batch may be tried, if not now."""
        name = route.name
        match outcome:
            case Sent(reference=reference, confirms=confirms):

                def sent(connection: Connection, message: Message) -> None:
                    outbox.sent(connection, message, now)
                    if confirms and reference is not None:
                        within = self._caller.confirm_within(connection, message, now)
                        confirmations.expect(connection, message.id, name, reference, now + within)
                        self._look_at(now + within)
                    signs.drop(connection, f"failing:{name}")
                    if down:
                        signs.drop(connection, f"down:{name}")
                        outbox.hurry(connection, name, now)

                await self._mark(report, "sent", sent, message)
                return None
            case Again(reason=reason, after=after, route_down=route_down):
                if not route_down and now - message.queued_at >= GIVE_UP:
                    return await self._settle(
                        route, message, Refused(f"put off for five days; last: {reason}"), now, down, report
                    )
                wait = backoff(message.id, message.attempts + 1, MOST_DOWN) if route_down else (
                    backoff(message.id, message.attempts + 1) if after is None else min(int(after * SECOND), HOUR)
                )  # fmt: skip

                def again(connection: Connection, message: Message) -> None:
                    outbox.again(connection, message, now + wait, reason)
                    self._look_at(message.queued_at + self._caller.confirm_within(connection, message, now))
                    self._note(connection, "down" if route_down else "failing", name, reason, now)

                await self._mark(report, "again", again, message)
                # What a server says of an address stays in the table, where it can be erased; no file holds it.
                more = {"reason": reason} if route_down else {}
                _log.info("not sent yet", message=message.id, route=name, next=instant_text(now + wait), **more)
                return now + wait if route_down else None
            case Refused(reason=reason):
                await self._refused(message, reason, now, report)
                return None
            case Hold(reason=reason):

                def hold(connection: Connection, message: Message) -> None:
                    if outbox.hold(connection, name, reason, now):
                        self._tell(connection, Trouble("held", name, reason, now, message))
                    outbox.let_go(connection, message, max(now, message.next_at))
                    self._look_at(message.queued_at + self._caller.confirm_within(connection, message, now))

                report.held[name] = reason
                await self._mark(report, "let_go", hold, message)
                _log.error("route held", route=name, reason=reason)
                return now

    async def _refused(self, message: Message, reason: str, now: Instant, report: Report) -> None:
        def refused(connection: Connection, message: Message) -> bool:
            outbox.failed(connection, message, reason)
            other = self._caller.next_way(connection, message)
            if other is not None and (other.route, other.address) not in _tried(connection, message):
                outbox.queue(connection, replace(other, follows=message.id))
                return True
            if message.kind not in (ABOUT_TROUBLE, ANSWER):
                self._tell(connection, Trouble("failed", message.route, reason, now, message))
            return False

        went_on = await self._mark(report, "failed", refused, message)
        report.other_way += bool(went_on)
        _log.warning("refused for good", message=message.id, route=message.route, other_way=went_on)

    def _note(
        self, connection: Connection, how: Literal["down", "failing"], route: str, reason: str, now: Instant
    ) -> None:
        """`down:ROUTE`: since when it could not be reached; `failing:ROUTE`: since when it is there and takes nothing
        over. The detail begins with `told` once the owner was."""
        name = f"{how}:{route}"
        sign = signs.of(connection, name)
        if sign is None:
            signs.put(connection, name, now, reason)
        elif not (sign.detail or "").startswith("told ") and now - sign.at >= TELL_AFTER:
            signs.put(connection, name, sign.at, f"told {reason}")
            self._tell(connection, Trouble("unreachable" if how == "down" else "failing", route, reason, sign.at))

    def _tell(self, connection: Connection, trouble: Trouble) -> None:
        for message in self._caller.tell_owner(connection, trouble):
            if trouble.what == "failed" or message.route != trouble.route:
                outbox.queue(connection, message)

    async def _try_out(self, route: Route, moment: Callable[[], Instant], report: Report) -> None:
        try:
            found = await route.trial()
        except Exception as why:  # noqa: BLE001 - told below, and the route stays held
            _log.exception("a held route could not be tried", route=route.name)
            found = Again(f"a fault in the program: {type(why).__name__}: {why}")
        if found is None:
            await self._write(lambda connection: outbox.release(connection, route.name))
            report.held.pop(route.name, None)
            report.released.append(route.name)
            _log.info("route released", route=route.name)
        elif isinstance(found, Hold):
            reason = found.reason
            await self._write(lambda connection: outbox.hold(connection, route.name, reason, moment()))
            report.held[route.name] = reason

    async def _mark(self, report: Report, what: str, job: Callable[..., Any], message: Message, *more: Any) -> Any:
        """Do it to the message in a transaction, and count it; or count that somebody else was quicker."""
        try:
            done = await self._write(lambda connection: job(connection, message, *more))
        except OutOfTurnError as why:
            report.doubled += 1
            _log.warning("out of turn", message=message.id, wanted=what, why=str(why))
            return None
        setattr(report, what, getattr(report, what) + 1)
        return done

    async def _write(self, job: Callable[[Connection], Any]) -> Any:
        return await asyncio.to_thread(self._store.write, job)

    # -- for as long as the program runs ------------------------------------------------------------------------

    async def run(self, stop: asyncio.Event, *, poll: float = 1.0) -> None:
        """Deliver until `stop`; then the message in hand is finished and the rest let go.

        `poll`: seconds between looks at the queue, for what other processes queue; `wake` is quicker. A failing
        database is told to the log, and tried again.
        """
        self._loop, self._stop, self._bell = asyncio.get_running_loop(), stop, asyncio.Event()
        watching = asyncio.create_task(self._ring_at(stop))
        try:
            if self._alone:
                await self._write(lambda connection: outbox.free(connection, self._by))
            while not stop.is_set():
                began = self._now()
                self._bell.clear()
                try:
                    report = await self.once(began)
                    if report.claimed < self._limit:
                        await self._pause(stop, began, poll)
                except Exception:  # noqa: BLE001 - one bad pass must not end delivery; the log has it whole
                    self.failures += 1
                    _log.exception("delivery failed; it is tried again", at=instant_text(began))
                    await self._wait(5 * poll)
        finally:
            self._loop = None
            watching.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await watching

    def wake(self) -> None:
        """Something was queued. May be called from any thread."""
        loop = self._loop
        if loop is not None:
            with contextlib.suppress(RuntimeError):  # it has just ended
                loop.call_soon_threadsafe(self._bell.set)

    async def _pause(self, stop: asyncio.Event, began: Instant, poll: float) -> None:
        while not stop.is_set() and not self._bell.is_set():
            known = [at for at in (await asyncio.to_thread(self._soonest), self._round_at) if at is not None]
            soonest = min(known, default=None)
            now = self._now()
            if now - began >= PULSE or (soonest is not None and soonest <= now):
                return
            left = poll if soonest is None else min(poll, (soonest - now) / SECOND)
            await self._wait(left)

    def _soonest(self) -> Instant | None:
        with self._store.read() as connection:
            free = set(self._routes) - outbox.held(connection).keys()
            return outbox.next_at(connection, free)

    async def _wait(self, seconds: float) -> None:
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._bell.wait(), seconds)

    async def _ring_at(self, stop: asyncio.Event) -> None:
        await stop.wait()
        self._bell.set()


def _let_go(connection: Connection, messages: Iterable[Message], at: Instant) -> int:
    """Let all of them go; answers with how many of them were still ours."""
    kept = 0
    for message in messages:
        with contextlib.suppress(OutOfTurnError):
            outbox.let_go(connection, message, max(at, message.next_at))
            kept += 1
    return kept


def _tried(connection: Connection, message: Message) -> set[tuple[str, str]]:
    """The (route, address) of a message and of all those that it replaces."""
    tried: set[tuple[str, str]] = set()
    at: Message | None = message
    while at is not None and (at.route, at.address) not in tried:
        tried.add((at.route, at.address))
        at = outbox.find(connection, at.follows) if at.follows is not None else None
    return tried
