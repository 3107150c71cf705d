"""What the keeper's page shows, worked out of each machine's fold and of its entries about keys and parts. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from logbook.domain.history import Entry
from logbook.domain.instants import Instant
from logbook.domain.machine import FOREVER, Machine
from logbook.domain.owed import owed_now
from logbook.domain.standing import Stop, standing_of
from logbook.domain.wording.duties import duty_label
from logbook.domain.wording.mark import mark
from logbook.domain.wording.times import moment

KINDS = frozenset({"key_out", "key_back", "counted", "ordered", "received"})
SEGMENTS = "segments"
"""What an order without a part is for, and a fleet that has named no part calls it."""

READY = mark("Stands ready for tonight.")
UNUSED = mark("Stands ready; no night is expected.")
IN_USE = mark("In use now.")
OUT = mark("Out of service. Keep its key.")
HELD = mark("Held: it is not to be run. Keep its key.")
BARE = mark("A head has no segment left: it would scratch the floor. Keep its key until new ones are fitted.")
_STOPPED: dict[Stop, str] = {"retired": OUT, "out_of_service": OUT, "held": HELD, "bare_head": BARE}
TO_DO = mark("Not ready yet: %(what)s.")


@dataclass(frozen=True, slots=True)
class Drawer:
    """So many of a part lie in the drawer for this machine, as counted then, and what came in since."""

    part: str
    qty: int
    counted: str
    since: int = 0


@dataclass(frozen=True, slots=True)
class Order:
    """An order that has not come in. `due`: when it should have; `late`: that is over."""

    id: str
    part: str
    qty: int | None
    ordered: str
    due: str | None
    late: bool


@dataclass(frozen=True, slots=True)
class Stand:
    """One machine. `mark`: the shape beside it; `says`, `what`: how it stands, and what is still to be done.

    `key`: out, back, or "" if nothing was ever said of it; `part`: what it is asked for first; `parts`: all known.
    """

    code: str
    mark: str
    says: str
    what: str
    night: str
    low: bool
    key: str
    key_since: str
    drawer: tuple[Drawer, ...]
    orders: tuple[Order, ...]
    part: str
    parts: tuple[str, ...]

    @property
    def may_go_out(self) -> bool:
        """Whether its key may be handed out, as far as is known."""
        return self.mark != "stop"


def stand(
    code: str, machine: Machine, entries: Iterable[Entry], fit: str | None, zone: str, now: Instant, lang: str
) -> Stand:
    """How a machine stands at `now`.

    `entries`: its own about keys and parts, struck ones left out; `fit`: the segments it takes; `zone`: its site's.
    """
    told = sorted((each for each in entries if each.kind in KINDS), key=lambda each: each.position)
    sign, says, what = _ready(machine, now, lang)
    keys = [each for each in told if each.kind in ("key_out", "key_back")]
    drawer = _drawer(told, fit, zone, now, lang)
    orders = tuple(_orders(machine, told, fit, zone, now, lang))
    first = fit or SEGMENTS
    known = {first, *(each.part for each in drawer), *(each.part for each in orders)}
    begins = machine.night_next
    return Stand(
        code, sign, says, what, "" if begins >= FOREVER else moment(begins, zone, lang, now), _low(machine),
        keys[-1].kind.removeprefix("key_") if keys else "",
        moment(keys[-1].occurred_at, zone, lang, now) if keys else "",
        drawer, orders, first, (first, *sorted(known - {first})),
    )  # fmt: skip


def _ready(machine: Machine, now: Instant, lang: str) -> tuple[str, str, str]:
    standing = standing_of(machine, now)
    if standing == "in_use":
        return "held", IN_USE, ""
    if standing != "ready":
        return "stop", _STOPPED[standing], ""
    # Only what keeps it from running tonight, and only as it stands now: a keeper is shown nobody's misses.
    stops = {"charge", "rinse", "watering", "fault", "repair"}
    undone = [
        each.duty for each in owed_now(machine, now) if each.duty in stops and (each.late or each.duty in _WAITING)
    ]
    if undone:
        return "due", TO_DO, ", ".join(dict.fromkeys(duty_label(each, lang) for each in undone))
    return "clear", READY if machine.night_next < FOREVER else UNUSED, ""


_WAITING = frozenset({"charge", "fault", "repair"})
"""What keeps a machine from running tonight before it is late, too."""


def _low(machine: Machine) -> bool:
    return bool(machine.open_duties("segments_low"))


def _called(part: str | None, fit: str | None) -> str:
    """Under one name what is one thing: "segments", or no part at all, means those that this machine takes."""
    return (fit or SEGMENTS) if part in (None, SEGMENTS) else str(part)


def _drawer(told: list[Entry], fit: str | None, zone: str, now: Instant, lang: str) -> tuple[Drawer, ...]:
    ordered = {each.id: each for each in told if each.kind == "ordered"}
    found: dict[str, Drawer] = {}
    for each in told:
        data = each.data
        if each.kind == "counted":
            part = _called(data["part"], fit)
            found[part] = Drawer(part, data["qty"], moment(each.occurred_at, zone, lang, now))
        elif each.kind == "received" and data["order"] in ordered:
            of = ordered[data["order"]].data
            came = data.get("qty") if data.get("qty") is not None else of.get("qty")
            part = _called(of.get("part"), fit)
            if part in found and came:
                was = found[part]
                found[part] = Drawer(part, was.qty, was.counted, was.since + int(came))
    return tuple(found[part] for part in sorted(found))


def _orders(
    machine: Machine, told: list[Entry], fit: str | None, zone: str, now: Instant, lang: str
) -> Iterable[Order]:
    came = {each.data["order"] for each in told if each.kind == "received"}
    due = {duty.opened_by: duty.due for duty in machine.open_duties("delivery")}
    for each in told:
        if each.kind != "ordered" or each.id in came or each.name in came:
            continue
        data = each.data
        by = due.get(each.name)
        yield Order(
            each.id, _called(data.get("part"), fit), data.get("qty"), moment(each.occurred_at, zone, lang, now),
            None if by is None else moment(by, zone, lang, now), by is not None and by <= now,
        )  # fmt: skip
