"""From a tap to entries, and back: what a phone tells is recorded, answered in one sentence, and can be taken back.

Promises that a tap is recorded as a whole or not at all, once however often it arrives, in the name of whoever wrote
it down; and that only one's own taps are taken back, while policy still lets them be. The form and the queue of a
phone both come through here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection

from logbook.domain.door import Refused
from logbook.domain.entries import catalogue
from logbook.domain.instants import DAY, Instant
from logbook.domain.owed import Owed, owed_now, pressing
from logbook.domain.people import Person
from logbook.domain.tapcode import entry_id
from logbook.domain.wording import times
from logbook.domain.wording.duties import duty_label
from logbook.domain.wording.labels import entry_label
from logbook.domain.wording.mark import mark
from logbook.evidence.form import read as read_form
from logbook.intake import By, Draft
from logbook.store import log, words
from logbook.store.log import Stored
from logbook.web.ground import Ground
from logbook.web.house import House
from logbook.web.pages import Words
from logbook.web.phone.acts import BUTTONS

OLDEST = 30 * DAY
"""How long ago a tap may have been made that is sent now."""
CHANNEL = "form"
_LEADERS_DO = frozenset({"fault", "repair", "segments_low", "delivery"})

RETIRED = mark("This machine is retired. Nothing was saved. If it is still in use, tell your supervisor.")
TOO_OLD = mark("That was more than 30 days ago. Nothing was saved. Tell your supervisor what was done.")
TOO_EARLY = mark("The machine was not in the logbook then. Nothing was saved. Choose when it happened.")
AHEAD = mark("That time has not come yet. Nothing was saved. Choose when it happened.")
UNFIT = mark("This cannot be recorded as it is. Nothing was saved. Open the page anew and do it once more.")
NOTHING_BACK = mark("There is nothing of yours to take back here.")
TOO_LATE_BACK = mark("It is too late to take this back. What was saved stands. Tell your supervisor what was wrong.")

_SAID = {"too_early": TOO_EARLY, "future_time": AHEAD}


class NotTaken(Exception):
    """Refused for good. `sentence`: of the room's catalogue; says what was kept and what to do."""

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


@dataclass(frozen=True, slots=True)
class Act:
    """One thing that was done."""

    kind: str
    data: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Saved:
    """An entry of a tap, as it stands. `at`: when it happened."""

    id: str
    kind: str
    at: Instant


@dataclass(frozen=True, slots=True)
class Taken:
    """The answer to a tap. `again`: all of it was there already."""

    saved: tuple[Saved, ...]
    owed: tuple[Owed, ...]
    again: bool = False


def drafts_of(
    ground: Ground, tap: str, acts: Sequence[Act], at: Instant | None, *, card: bool = False
) -> list[Draft]:  # fmt: skip
    """The entries that a tap makes. Raises NotTaken."""
    told = {"told": "card"} if card else {}
    return [
        Draft(entry_id(tap, act.kind), ground.uuid, act.kind, {**act.data, **told}, at, merge=True) for act in acts
    ]  # fmt: skip


def take(
    house: House, ground: Ground, person: Person, tap: str, acts: Sequence[Act], at: Instant | None = None, *,
    card: bool = False,
) -> Taken:  # fmt: skip
    """Record a tap. `at` None: now. `card`: the whole card was confirmed as one. Raises NotTaken, or StoreError."""
    when = ground.now if at is None else at
    retired = ground.machine.retired_at
    if retired is not None and when >= retired:
        raise NotTaken(RETIRED)
    if when < ground.now - OLDEST:
        raise NotTaken(TOO_OLD)
    if not acts or any(act.kind not in BUTTONS for act in acts):
        raise NotTaken(UNFIT)
    return record(house, ground, person, drafts_of(ground, tap, acts, at, card=card))


def record(house: House, ground: Ground, person: Person, drafts: Sequence[Draft]) -> Taken:
    """Through the door, in a person's name. Raises NotTaken, or StoreError."""
    try:
        receipt = house.intake.record(drafts, By(person.uuid, person.role, CHANNEL))
    except Refused as why:
        raise NotTaken(_SAID.get(why.code, UNFIT)) from why
    saved = tuple(Saved(each.id, each.kind, each.occurred_at) for each in receipt.entries)
    return Taken(saved, receipt.owed.get(ground.uuid, ()), all(each.repeated for each in receipt.entries))


# -- taking back ------------------------------------------------------------------------------------------------


def own(connection: Connection, ground: Ground, person: Person, ids: Sequence[str]) -> list[Stored]:
    """Of these entries, those that this person reported on this machine and that can be struck."""
    mine = words.reporter_of(connection, ground.uuid, person.uuid)
    found = [log.find(connection, id_) for id_ in ids]
    return [
        row for row in found
        if row is not None and row.machine == ground.uuid and _strikable(row.kind)
        and mine is not None and read_form(row.bytes).reporter == mine
    ]  # fmt: skip


def of_tap(tap: str) -> list[str]:
    """The ids of every entry that a tap can have made."""
    return [entry_id(tap, kind) for kind in (*BUTTONS, "photo")]


def latest_tap(connection: Connection, ground: Ground, person: Person) -> list[Stored]:
    """The entries of this person's latest tap on this machine that can still be taken back; [] if there is none."""
    since = ground.now - undo_within(ground)
    mine = words.reporter_of(connection, ground.uuid, person.uuid)
    if mine is None:
        return []
    gone = log.struck(connection, ground.uuid)
    # By when it happened, as the log is indexed: what was told as having been half a day ago is among them.
    rows = [
        row for row in log.after(connection, ground.uuid, (since - DAY, 0))
        if row.recorded_at >= since and row.id not in gone and (row.kind in BUTTONS or row.kind == "photo")
    ]  # fmt: skip
    rows = [row for row in rows if (told := read_form(row.bytes)).reporter == mine and told.channel == CHANNEL]
    newest = max((row.recorded_at for row in rows if row.kind != "photo"), default=None)
    return sorted((row for row in rows if row.recorded_at == newest), key=lambda row: row.seq)


def take_back(house: House, ground: Ground, person: Person, tap: str, ids: Sequence[str]) -> Taken:
    """Strike one's own entries. `tap`: this act's own code. Raises NotTaken, or StoreError."""
    with house.store.read() as connection:
        rows = own(connection, ground, person, ids)
        gone = log.struck(connection, ground.uuid)
        done = {row.id for row in rows if log.find(connection, entry_id(tap, f"void {row.id}")) is not None}
    mine = [row for row in rows if row.id not in gone or row.id in done]
    if not mine:
        raise NotTaken(NOTHING_BACK)
    if any(row.recorded_at < ground.now - undo_within(ground) for row in mine if row.id not in done):
        raise NotTaken(TOO_LATE_BACK)
    strikes = [
        Draft(entry_id(tap, f"void {row.id}"), ground.uuid, "void", {"entry": row.id}, merge=True) for row in mine
    ]
    taken = record(house, ground, person, strikes)
    shown = tuple(Saved(row.id, row.kind, row.occurred_at) for row in mine)
    return Taken(shown, taken.owed, taken.again)


def undo_within(ground: Ground) -> Instant:
    """How long a tap can be taken back."""
    return ground.machine.policy(ground.now).duration("undo_within").micros


def _strikable(kind: str) -> bool:
    found = catalogue.newest(kind)
    return found is not None and found.strikable


# -- the sentence -----------------------------------------------------------------------------------------------


def acts_said(saved: Sequence[Saved], zone: str, language: str, now: Instant) -> str:
    """`emptied, rinsed 05:12`: what was saved, and when it happened."""
    parts: list[str] = []
    for index, each in enumerate(saved):
        label = entry_label(each.kind, language)
        last = index + 1 == len(saved) or saved[index + 1].at != each.at
        parts.append(f"{label} {times.moment(each.at, zone, language, now)}" if last else label)
    return ", ".join(parts)


def owed_said(owed: Sequence[Owed], now: Instant, language: str) -> str:
    """The labels of what presses, one after another; "" if nothing does."""
    return ", ".join(duty_label(each.duty, language) for each in pressing(tuple(owed), now))


def theirs(owed: Sequence[Owed], person: Person) -> tuple[Owed, ...]:
    """What is owed, as far as it is this reader's to do: a cleaner neither orders parts nor has repairs made."""
    return tuple(each for each in owed if person.role != "cleaner" or each.duty not in _LEADERS_DO)


def answer(taken: Taken, ground: Ground, person: Person, said: Words, *, back: bool = False) -> str:
    """The answer to a tap in one line: what was saved, or taken back, and what is still owed."""
    what = acts_said(taken.saved, ground.site.zone, said.language, ground.now)
    first = said.plain("Taken back: %(what)s.", what=what) if back else said.plain("Saved: %(what)s.", what=what)
    return f"{first} {left(taken.owed, ground, person, said)}"


def told(connection: Connection, ground: Ground, person: Person, tap: str, said: Words) -> str:
    """The answer to a tap of this person's once more, as its entries stand now; "" if none does."""
    gone = log.struck(connection, ground.uuid)
    rows = sorted(own(connection, ground, person, of_tap(tap)), key=lambda row: row.seq)
    saved = tuple(Saved(row.id, row.kind, row.occurred_at) for row in rows if row.id not in gone)
    return answer(Taken(saved, standing(ground)), ground, person, said) if saved else ""


def left(owed: Sequence[Owed], ground: Ground, person: Person, said: Words) -> str:
    """What is still to be done: what is owed already apart from what a put-away would ask for, lest a start be scolded.

    That somebody should say by morning whether it was used is no news to whoever has just told something.
    """
    mine = [each for each in theirs(owed, person) if each.late or each.duty != "night"]
    already = owed_said([each for each in mine if each.due is not None], ground.now, said.language)
    then = owed_said([each for each in mine if each.due is None], ground.now, said.language)
    parts = []
    if already:
        parts.append(said.plain("Still owed: %(what)s.", what=already))
    if then:
        parts.append(said.plain("When it is put away: %(what)s", what=then) + ".")
    return " ".join(parts) or said.plain("Nothing else is owed.")


def standing(ground: Ground) -> tuple[Owed, ...]:
    """What is owed on a machine now."""
    return owed_now(ground.machine, ground.now)
