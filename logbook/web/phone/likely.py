"""Which act is the likeliest next: the page makes it the largest button, so that most visits are one tap.

Pure: the fold and `now` say everything. It only guesses what a person wants to tell; it neither forbids an act nor
records one, and every other act stays within reach.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from logbook.domain.history import BEGINNING, Position
from logbook.domain.instants import Instant
from logbook.domain.machine import Machine
from logbook.domain.owed import Owed, is_out, owed_now
from logbook.domain.standing import stop_of

Phase = Literal["retired", "stopped", "ready", "early", "closing", "after"]
"""stopped: standing, and not to be run. ready: standing, nothing left of the last use. early: out, with work
ahead. closing: out, near its end. after: put away, and something of that use is still to be done."""

CLOSING = ("rinse", "squeegee", "charge")
"""In the order in which they are done: water first, while the hose is out; the plug last, for it ends the walk."""
_SETTING_OUT = ("prepared", "unplug", "fill")
_COMMON: dict[Phase, tuple[str, ...]] = {
    "retired": (),
    "stopped": ("charge", "empty", "rinse", "put_away"),
    "ready": ("start", "fill", "unplug", "charge", "not_used"),
    "early": ("empty", "fill", "rinse", "charge", "put_away"),
    "closing": ("empty", "rinse", "squeegee", "charge", "put_away"),
    "after": ("rinse", "squeegee", "charge", "start", "wipe"),
}
"""The acts beside the likeliest, always in this order, so that a thumb finds them where they were."""


@dataclass(frozen=True, slots=True)
class Next:
    """`act`: the likeliest, or None. `others`: four at most that are common now. `card`: which card is at hand."""

    phase: Phase
    act: str | None
    others: tuple[str, ...]
    card: Literal["begin", "end"] | None


def likely(machine: Machine, now: Instant) -> Next:
    """The likeliest act on a machine at `now`."""
    owed = owed_now(machine, now)
    phase = phase_of(machine, now, owed)
    act = _act(machine, now, phase, owed)
    # On an ordinary page four others are enough; the rest is one tap further down.
    others = tuple(kind for kind in _COMMON[phase] if kind != act)[:4]
    card: Literal["begin", "end"] | None = None
    if phase in ("early", "closing", "after"):
        card = "end"
    elif phase == "ready":
        card = "begin"
    return Next(phase, act, others, card)


def phase_of(machine: Machine, now: Instant, owed: tuple[Owed, ...]) -> Phase:
    """Where in its night a machine is, as far as is known."""
    if stop_of(machine) == "retired" or machine.commissioned_at is None:
        return "retired"
    if is_out(machine, now):
        if _not_started(machine):
            return "ready" if stop_of(machine) is None else "stopped"
        # A machine that must not be run is brought in: nothing on its page asks for more work.
        return "closing" if stop_of(machine) is not None or _nearing(machine, now) or _begun(machine, now) else "early"
    put_away = machine.put_away_at
    # Who stands there within a use's length of the put-away came to finish it; later, somebody came to begin.
    if put_away is not None and now - put_away <= machine.policy(now).longest_use and _undone(owed):
        return "after"
    return "ready" if stop_of(machine) is None else "stopped"


def _act(machine: Machine, now: Instant, phase: Phase, owed: tuple[Owed, ...]) -> str | None:
    if phase == "ready":
        return "start" if _looked_over(machine, now) else "prepared"
    if phase == "early":
        return _tank(machine)
    if phase == "closing":
        # Put-away ends the use: it comes when all else is done, and what is left is due a while after it.
        return next(iter(_undone(owed)), "put_away")
    return next(iter(_undone(owed)), None)


def _undone(owed: tuple[Owed, ...]) -> list[str]:
    names = {each.duty for each in owed}
    return [duty for duty in CLOSING if duty in names]


def _place(machine: Machine, kind: str) -> Position:
    """Where in the order of things this was last done; before all of them if never."""
    return machine.last.get(kind, BEGINNING)


def _at(machine: Machine, kind: str) -> Instant:
    """When this was last done; before all time if never."""
    return _place(machine, kind)[0]


def _not_started(machine: Machine) -> bool:
    """Out only by what is done before a start: looked over, unplugged, filled, and not driven off."""
    use = machine.use
    if use is not None and use.put_away is None:
        return False
    signs = (*_SETTING_OUT, "empty", "wipe", *CLOSING)
    return max(signs, key=lambda kind: _place(machine, kind)) in _SETTING_OUT


def _looked_over(machine: Machine, now: Instant) -> bool:
    """Whether no look-over is asked for before a start, or one counts for a start now (used for one start only)."""
    policy = machine.policy(now)
    if "prepared" not in policy.on:
        return True
    fresh = _at(machine, "prepared") >= now - policy.prepared_window
    return fresh and _place(machine, "prepared") > _place(machine, "start")


def _tank(machine: Machine) -> str:
    """Clean water runs out as the dirty tank fills: a stop is emptying, then filling (common practice, no source)."""
    return "empty" if _place(machine, "fill") > _place(machine, "empty") else "fill"


def _begun(machine: Machine, now: Instant) -> bool:
    """Whether an act that ends a night was done since the start, and would count if it were put away now."""
    since = max(_place(machine, "start"), (now - machine.policy(now).closing, 0))
    plugged = _place(machine, "charge")
    return any(_place(machine, kind) > since for kind in ("rinse", "squeegee")) or (
        plugged > since and plugged > _place(machine, "unplug")
    )


def _nearing(machine: Machine, now: Instant) -> bool:
    """Whether a put-away now would be no surprise: by the calendar, or else by how long it has been out."""
    policy, use = machine.policy(now), machine.use
    first = use.first if use is not None and use.put_away is None else None
    calendar = machine.book.nights(machine.site, now)
    if calendar is not None:
        night = calendar.around(now)
        if night is not None:
            return bool(night.ends - now <= policy.closing)
        if first is not None and any(first < each.ends <= now for each in calendar.between(first - 1, now)):
            return True
    # Half the longest use: past it, more have come back than go on (common practice, no source).
    return first is not None and now - first >= policy.longest_use // 2
