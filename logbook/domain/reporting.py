"""What a report says of each duty: kept, told late, late, missed, excused, or not yet due.

Promises one word for every duty of the effective history known at an instant, by the rules alone: pages, packs and
letters that count duties count them here. It knows duties and entries, and nobody's name; it writes nothing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Literal, NamedTuple

from logbook.domain import duties as _duties  # puts every duty's reactions in place
from logbook.domain.history import BEGINNING, Entry, History
from logbook.domain.history_rows import Told
from logbook.domain.instants import Instant, parse
from logbook.domain.machine import Book, Duty, Key, Machine, Use

__all__ = ["Alarm", "Folded", "Judged", "Word", "_duties", "alarms", "count", "ended_by", "fold", "judge", "judged"]

Word = Literal["kept", "told_late", "late", "missed", "excused", "not_due"]
WORDS: tuple[Word, ...] = ("kept", "told_late", "late", "missed", "excused", "not_due")
DEPARTURES: frozenset[Word] = frozenset({"late", "missed", "excused"})
"""What a reader of a history looks for first."""

ENDED_BY: Mapping[str, frozenset[str]] = {
    "segments": frozenset({"segments", "segment_change"}),
    "segments_low": frozenset({"segments", "segment_change", "ordered"}),
    "segments_gone": frozenset({"segments", "segment_change"}),
    "fault": frozenset({"repair_requested", "repaired"}),
    "repair": frozenset({"repaired"}),
    "held_start": frozenset({"put_away", "released", "in_service"}),
    "delivery": frozenset({"received"}),
    "night": frozenset({"put_away", "not_used"}),
}
"""The kinds that meet a duty, where they are not of its own name."""

TAKEN_BACK = frozenset({"not_due", "withdrawn"})
"""How an alert ends that the log itself took back: nothing was told late on its account, and nothing missed."""

_EVERY = 64


class Folded(NamedTuple):
    """The effective history known at an instant, folded: the machine as it then stood, every duty, every use."""

    machine: Machine
    entries: tuple[Entry, ...]
    duties: tuple[Duty, ...]
    uses: tuple[Use, ...]


class Alarm(NamedTuple):
    """One alert as its entries tell it. `answered`: (role, when) of each who took it in hand; who gives it back does
    so by an entry that says "until now", and answers nothing."""

    number: int
    serial: int | None
    raised_at: Instant
    cleared_at: Instant | None
    outcome: str | None
    answered: tuple[tuple[str, Instant], ...]


class Judged(NamedTuple):
    """A duty with its word. `at`: when that word became certain; of a missed duty, when it was due.

    `card`: it was met by an act that came with the closing card, which reports count apart.
    """

    duty: Duty
    word: Word
    at: Instant
    card: bool
    alarms: tuple[Alarm, ...]

    @property
    def on_time(self) -> bool:
        """Kept, or told late: it was done in time."""
        return self.word in ("kept", "told_late")


def fold(book: Book, told: Iterable[Told], known_at: Instant) -> Folded:
    """Fold what was recorded at or before an instant, time led up to it. `told` comes in the order of recording."""
    history = History()
    for each in told:
        if each.recorded_at <= known_at:
            history.add(
                Entry(
                    each.seq,
                    each.id,
                    each.kind,
                    each.occurred_at,
                    each.recorded_at,
                    each.id,
                    dict(each.data),
                    each.role,
                )
            )
    machine = Machine(book=book)
    entries = tuple(history.after(BEGINNING))
    touched: dict[int, Duty] = {}
    uses: list[Use] = []
    for number, entry in enumerate(entries):
        machine.hear(entry)
        if machine.use is not None and (not uses or uses[-1] is not machine.use):
            uses.append(machine.use)
        if number % _EVERY == 0:
            touched.update((id(duty), duty) for duty in machine.drain())
    if machine.commissioned_at is not None:
        machine.reach(known_at)
    touched.update((id(duty), duty) for duty in machine.drain())
    duties = sorted((each for each in touched.values() if machine.holds(each)), key=lambda each: (each.due, each.key))
    return Folded(machine, entries, tuple(duties), tuple(uses))


def alarms(told: Iterable[Told], known_at: Instant) -> dict[Key, tuple[Alarm, ...]]:
    """Every alert recorded at or before an instant, by its duty, in order of number."""
    found: dict[Key, dict[int, Alarm]] = {}
    for each in told:
        if each.recorded_at > known_at or each.kind not in ("alert_raised", "alert_cleared", "acknowledged"):
            continue
        data = each.data
        own = found.setdefault((data["duty"], data["opened_by"]), {})
        number = data["number"]
        if each.kind == "alert_raised":
            own[number] = Alarm(number, data.get("serial"), each.recorded_at, None, None, ())
        elif number in own and each.kind == "alert_cleared":
            own[number] = own[number]._replace(cleared_at=each.recorded_at, outcome=data["outcome"])
        elif number in own and parse(data["until"]) > each.recorded_at:
            answered = (*own[number].answered, (each.role, each.recorded_at))
            own[number] = own[number]._replace(answered=answered)
    return {key: tuple(own[number] for number in sorted(own)) for key, own in found.items()}


def judge(duty: Duty, until: Instant, *, alerted: bool) -> Word | None:
    """A duty's word at the end of a period; None where it is left out: overtaken before it was due, without an alert.

    What ended it after `until` does not count. `alerted`: an alert was raised for it by then, and not taken back.
    """
    ended = duty.ended_at if duty.ended_at is not None and duty.ended_at <= until else None
    if ended is None:
        return "missed" if duty.due <= until else "not_due"
    if duty.how == "excused":
        return "excused"
    if duty.how == "overtaken":
        return "missed" if ended > duty.due or alerted else None
    if ended > duty.due:
        return "late"
    return "told_late" if alerted else "kept"


def ended_by(duty: str) -> frozenset[str]:
    """The kinds of entries that meet a duty."""
    return ENDED_BY.get(duty, frozenset({duty}))


def judged(folded: Folded, by_duty: Mapping[Key, Sequence[Alarm]], until: Instant) -> list[Judged]:
    """Every duty with its word at the end of a period, in the order in which the words became certain."""
    carded = {
        (entry.kind, entry.occurred_at) for entry in folded.entries if entry.data and entry.data.get("told") == "card"
    }
    found = []
    for duty in folded.duties:
        own = tuple(by_duty.get(duty.key, ()))
        word = judge(duty, until, alerted=any(alarm.outcome not in TAKEN_BACK for alarm in own))
        if word is None:
            continue
        at = duty.due
        if word in ("kept", "told_late", "excused") and duty.ended_at is not None:
            at = duty.ended_at
        card = (
            word in ("kept", "told_late", "late")
            and duty.ended_at is not None
            and any((kind, duty.ended_at) in carded for kind in ended_by(duty.duty))
        )
        found.append(Judged(duty, word, at, card, own))
    return sorted(found, key=lambda each: (each.at, each.duty.key))


def count(some: Iterable[Judged]) -> Counter[Word]:
    """How many there are of each word."""
    return Counter(each.word for each in some)
