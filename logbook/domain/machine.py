"""The fold of one machine's facts: what is known of it after each entry, in effective order.

A `Machine` is fed entries by `hear` in the order in which they happened, and told by `reach` how far time has
come. It keeps facts (where it stands, whether it may run, its present use) and the duties that entries opened.
What opens, moves and ends a duty stands in `logbook.domain.duties`, one file a duty; this file only keeps them.

Whether news comes late is not its business: whoever feeds it (`logbook.domain.watchman`) starts again from an
earlier copy when something happened before the machine's `frontier`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any, Literal, Protocol
from zoneinfo import ZoneInfo

import msgspec

from logbook.domain.calendar import Duration, Nights, after
from logbook.domain.entries.fleet import SegmentFit
from logbook.domain.history import BEGINNING, Entry, Position
from logbook.domain.instants import Instant
from logbook.domain.policy import Policy

How = Literal["met", "overtaken", "excused"]
Key = tuple[str, str]
"""A duty's identity on its machine: (duty, id of the opening entry)."""

FOREVER: Instant = 2**62
LAST_SEQ = 2**62


class Book(Protocol):
    """What the fold asks of the register, for its one machine; always as of an instant, so that it never changes."""

    def policy(self, site: str, at: Instant) -> Policy:
        """The numbers in force for this machine at a site."""

    def zone(self, site: str, at: Instant) -> ZoneInfo:
        """The site's zone."""

    def nights(self, site: str, at: Instant) -> Nights | None:
        """The calendar of expected nights: the machine's own, else its site's, else None."""

    def segments(self, at: Instant) -> SegmentFit | None:
        """Which segments the machine takes."""

    def next_change(self, at: Instant) -> Instant:
        """The first instant after `at` from which any of these answers may differ."""


class Duty(msgspec.Struct, gc=False):
    """Something owed: opened by an entry, due at an instant, ended by being met, overtaken or excused.

    `opened_at` is when its opening happened. `mark` is a number that the duty keeps from its opening, where it
    needs one (the reorder length, in um); `alias` another id by which later entries may mean it.
    `closed` is the machine's frontier when nothing later *in order* could change the duty any more.
    """

    duty: str
    opened_by: str
    opened_at: Instant
    due: Instant
    site: str
    ended_at: Instant | None = None
    how: How | None = None
    excused_at: Instant | None = None
    mark: int = 0
    alias: str = ""
    closed: Position | None = None

    @property
    def key(self) -> Key:
        """Its identity on its machine."""
        return (self.duty, self.opened_by)

    def standing(self, now: Instant) -> bool:
        """Due has come and it has not ended."""
        return self.due <= now and self.ended_at is None

    def overdue(self, now: Instant) -> bool:
        """Due has come, and it did not end at or before it."""
        return self.due <= now and (self.ended_at is None or self.ended_at > self.due)


class Use(msgspec.Struct, gc=False):
    """One spell of work, from its first start (or an assumed one) to its put-away.

    `name`, `name_seq` and `name_recorded` belong to the entry of the use with the lowest `seq`: the identity.
    `cut_off` is the last instant at which a further start still goes on with it.
    """

    name: str
    name_seq: int
    name_recorded: Instant
    first: Instant
    cut_off: Instant
    site: str
    assumed: bool = False
    put_away: Instant | None = None
    charges: list[Instant] = []


class Machine(msgspec.Struct):
    """Everything known of one machine at its frontier. The fields are the snapshot.

    `last`: the latest act of each kind, as (occurred_at, seq); the entry itself says the rest.
    """

    book: Any = None
    frontier: Position = BEGINNING
    commissioned_at: Instant | None = None
    site: str = ""
    battery: str = ""
    held: bool = False
    in_service: bool = True
    retired_at: Instant | None = None
    use: Use | None = None
    put_away_at: Instant | None = None
    stirred: bool = False
    acts: dict[str, Instant] = {}
    charges: list[Instant] = []
    prepared: list[Instant] = []
    nightly: list[Instant] = []
    least_um: int | None = None
    segment_gone: bool = False
    standing: dict[str, dict[str, Duty]] = {}
    excuses: dict[str, Instant] = {}
    last: dict[str, tuple[Instant, int]] = {}
    night_from: Instant = -FOREVER
    night_next: Instant = FOREVER
    night_ends: Instant = FOREVER
    night_date: str = ""
    changed: list[Duty] = []

    # -- being told ---------------------------------------------------------------------------------------------

    def hear(self, entry: Entry) -> None:
        """Take in the next entry in effective order. What changes nothing does not move the frontier either."""
        reactions = _reactions.get(entry.kind)
        if reactions is None:
            return
        if self.night_next < entry.occurred_at:
            self.reach(entry.occurred_at - 1)
        self.frontier = (entry.occurred_at, entry.seq)
        for react in reactions:
            react(self, entry)

    def reach(self, now: Instant) -> None:
        """Time has come to `now`, entries of that instant included: expected nights that have begun are opened."""
        while self.night_next <= now:
            begun = self.night_next
            self.frontier = max(self.frontier, (begun, LAST_SEQ))
            for rule in _night_rules:
                rule(self)
            self.find_night(begun)

    def find_night(self, after_instant: Instant) -> None:
        """Work out when the next expected night begins, by the calendar that will be in force then."""
        self.night_from = after_instant
        self.night_next = FOREVER
        if self.retired_at is not None or self.commissioned_at is None:
            return
        at = after_instant
        while True:
            calendar, change = self.book.nights(self.site, at), self.book.next_change(at)
            night = calendar.first_after(after_instant) if calendar is not None else None
            if night is not None and night.begins < change:
                self.night_next, self.night_ends, self.night_date = night.begins, night.ends, night.date
                return
            if change >= FOREVER:
                return
            at, after_instant = change, max(after_instant, change - 1)

    # -- what the rules use -------------------------------------------------------------------------------------

    def policy(self, recorded_at: Instant) -> Policy:
        """The numbers in force for this machine, where it stands, at an instant of recording."""
        policy: Policy = self.book.policy(self.site, recorded_at)
        return policy

    def later(self, at: Instant, duration: Duration, policy: Policy, recorded_at: Instant) -> Instant:
        """The instant that lies a duration of policy later: exact, or by the wall clock of the machine's site."""
        if duration.days == 0:
            return at + duration.micros
        return after(at, duration, self.book.zone(self.site, recorded_at), policy.day_turns)

    def open(self, duty: str, opened_by: str, opened_at: Instant, due: Instant) -> Duty | None:
        """Open a duty, unless the machine is retired. Returns it."""
        if self.retired_at is not None:
            return None
        opened = Duty(duty, opened_by, opened_at, due, self.site)
        members = self.standing.get(duty)
        if members is None:
            members = self.standing[duty] = {}
        members[opened_by] = opened
        self.changed.append(opened)
        return opened

    def open_duties(self, duty: str) -> Sequence[Duty]:
        """This duty's members that have not ended, oldest first."""
        members = self.standing.get(duty)
        return [each for each in members.values() if each.ended_at is None] if members else ()

    def member(self, duty: str, opened_by: str) -> Duty | None:
        """The duty of this identity, if it is still kept."""
        members = self.standing.get(duty)
        return members.get(opened_by) if members else None

    def end(self, duty: Duty, at: Instant, how: How) -> None:
        """End a duty, or end it otherwise than before. An excuse that came earlier keeps its word, and so does
        the machine's retirement.
        """
        if duty.excused_at is not None and (how == "excused" or duty.excused_at < at):
            at, how = duty.excused_at, "excused"
        if self.retired_at is not None and at > self.retired_at:
            at, how = self.retired_at, "overtaken"
        duty.ended_at, duty.how = at, how
        self.changed.append(duty)

    def finish(self, duty: Duty, at: Instant, how: How) -> None:
        """End a duty for good: nothing that comes later in order can change it."""
        self.end(duty, at, how)
        duty.closed = self.frontier
        self.standing[duty.duty].pop(duty.opened_by, None)

    def close(self, duty: Duty) -> None:
        """Let go of an ended duty that nothing later in order can change."""
        duty.closed = self.frontier
        self.standing[duty.duty].pop(duty.opened_by, None)
        self.changed.append(duty)

    def forget(self, duty: Duty) -> None:
        """There never was such a duty."""
        self.standing[duty.duty].pop(duty.opened_by, None)

    def holds(self, duty: Duty) -> bool:
        """Whether there is such a duty still, or there was and it was closed."""
        return duty.closed is not None or self.member(duty.duty, duty.opened_by) is duty

    def reopen(self, duty: Duty) -> None:
        """What seemed to end it did not."""
        if duty.excused_at is not None:
            self.end(duty, duty.excused_at, "excused")
            return
        if self.retired_at is not None:
            self.end(duty, self.retired_at, "overtaken")
            return
        duty.ended_at = duty.how = None
        self.changed.append(duty)

    def rename(self, duty: Duty, name: str) -> None:
        """The duty's opening entry is another one than it seemed."""
        members = self.standing[duty.duty]
        members.pop(duty.opened_by, None)
        duty.opened_by = name
        members[name] = duty
        self.changed.append(duty)

    # -- what others ask ----------------------------------------------------------------------------------------

    def duties(self) -> Iterator[Duty]:
        """Every duty still kept: all that have not ended, and ended ones that the next entry may still change."""
        for members in self.standing.values():
            yield from members.values()

    def next_due(self, later_than: Instant) -> Instant:
        """The first due instant of an open duty after `later_than`, else FOREVER."""
        soonest = FOREVER
        for members in self.standing.values():
            for duty in members.values():
                if duty.ended_at is None and later_than < duty.due < soonest:
                    soonest = duty.due
        return soonest

    def drain(self) -> list[Duty]:
        """The duties that changed since the last call; one may stand in the list more than once."""
        changed, self.changed = self.changed, []
        return changed

    # -- snapshots ----------------------------------------------------------------------------------------------

    def freeze(self) -> bytes:
        """The whole state as bytes, to go on from later."""
        return _encoder.encode(self)

    @classmethod
    def thaw(cls, state: bytes, book: Book) -> Machine:
        """Go on from frozen state. The next night is looked up again: the calendar may have changed since.

        Raises msgspec.ValidationError if the bytes are another version's.
        """
        machine = _decoder.decode(state)
        machine.book = book
        machine.find_night(machine.night_from)
        return machine


Reaction = Callable[[Machine, Entry], None]
_reactions: dict[str, list[Reaction]] = {}
_night_rules: list[Callable[[Machine], None]] = []
_encoder = msgspec.msgpack.Encoder(enc_hook=lambda _book: None)
_decoder = msgspec.msgpack.Decoder(Machine)


def reacts(kind: str) -> bool:
    """Whether an entry of this kind changes anything in the fold (a `void` does, by what it strikes)."""
    return kind in _reactions or kind == "void"


def on(*kinds: str) -> Callable[[Reaction], Reaction]:
    """Decorator: this function reacts to entries of these kinds, in the order in which it was written down."""

    def register(react: Reaction) -> Reaction:
        for kind in kinds:
            _reactions.setdefault(kind, []).append(react)
        return react

    return register


def on_night(rule: Callable[[Machine], None]) -> Callable[[Machine], None]:
    """Decorator: this function is called when an expected night has begun (`machine.night_next`)."""
    _night_rules.append(rule)
    return rule
