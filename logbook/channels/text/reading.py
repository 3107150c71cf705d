"""Reads a short message as a whole: what is to be saved, or why nothing is.

Promises all or nothing: either every word, number and time of the text found its place, and then all of it becomes
drafts of entries; or the text is refused with one named reason and nothing of it is saved. It never raises,
whatever the text, and gives the same reading for the same text, fleet and moment.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

from logbook.channels.text import commands, machines, quantities, runs, sentences, taps, times, words
from logbook.channels.text.items import Item, itemise
from logbook.channels.text.tokens import tidy, tokenise
from logbook.channels.text.troubles import Rank, Trouble, first
from logbook.domain.instants import Instant

CARD = ("empty", "rinse", "squeegee", "charge", "put_away")
"""What "all done" says was done; reports count these apart, by `told`."""
LONGEST = 4000
"""Characters. No phone sends more, and no note may be longer."""
_USUAL_LENGTH = frozenset({3})
_UNUSED_AGAINST = frozenset({"start", "put_away", "prepared"})


@dataclass(frozen=True, slots=True)
class Draft:
    """One entry that a text wants recorded. `tap`: the code of the tap it tells of, which may come by itself too."""

    machine: str
    kind: str
    occurred_at: Instant
    data: dict[str, Any]
    tap: str | None = None


@dataclass(frozen=True, slots=True)
class Fleet:
    """What the reading must know of the fleet and of the sender.

    `zone_of` gives a machine's zone by its code. `lone_machine`: the one machine in service at the sender's sites,
    if there is exactly one and the policy lets its code be left out. `language` and `zone` are the sender's.
    """

    codes: frozenset[str]
    zone_of: Callable[[str], ZoneInfo]
    lone_machine: str | None
    language: str
    zone: ZoneInfo


@dataclass(frozen=True, slots=True)
class Reading:
    """What a text came to: drafts, or a refusal, or a control with its argument. `at` is when the text came."""

    drafts: tuple[Draft, ...] = ()
    refused: str | None = None
    control: str | None = None
    argument: Mapping[str, Any] = field(default_factory=dict)
    trouble: Mapping[str, Any] = field(default_factory=dict)
    at: Instant = 0


@dataclass(slots=True, eq=False)
class _Act:
    """One word that is an entry, before its time is known."""

    kind: str
    item: Item
    data: dict[str, Any]
    whens: list[times.When] = field(default_factory=list)


@dataclass(slots=True)
class _Said:
    """What was said of these machines in one go, and the tap that it belongs to."""

    machines: list[str]
    acts: list[_Act]
    tap: str | None


def read(message: str, fleet: Fleet, at: Instant) -> Reading:
    """Read one message that came at `at`."""
    text = tidy(message)
    if len(text) > LONGEST:
        return Reading(refused="out_of_range", trouble={"long": True}, at=at)
    command = commands.whole_text(text, tokenise(text, fleet.codes))
    if command is not None:
        return _commanded(command, at)
    items = itemise(text, fleet.codes)
    lengths = frozenset(map(len, fleet.codes)) or _USUAL_LENGTH
    command = commands.among(items)
    if command is not None:
        return _commanded(command, at)
    troubles: list[Trouble] = []
    said: list[_Said] = []
    for piece in taps.pieces(items, len(text), fleet.lone_machine):
        parts, found = machines.parts(piece.items, piece.end, piece.machine)
        troubles += found
        troubles += words.card(piece.items)
        for part in parts:
            parted = sentences.led(part.items, part.end) if piece.tap is not None else None
            parted = parted or sentences.part(part.items, part.end, fleet.codes, lengths)
            troubles += parted.troubles
            troubles += machines.bad_codes(parted.items, lengths)
            objects = words.objects(parted.items)
            bound = quantities.bind(parted.items, objects)
            troubles += bound.troubles
            troubles += words.check(parted.items, bound.absorbed)
            acts = _acts(parted, bound, objects, text, troubles)
            last = part is parts[-1]
            _give_times(parted.items, acts, troubles, another_follows=not last)
            # One tap is of one machine: what stands before the last code of its piece is not the tap's.
            said.append(_Said(part.machines, acts, piece.tap if last and len(part.machines) < 2 else None))
    return _finish(said, troubles, fleet, at)


def _commanded(command: commands.Command, at: Instant) -> Reading:
    if command.trouble is not None:
        return Reading(refused=command.trouble.reason, trouble=command.trouble.about, at=at)
    return Reading(control=command.control, argument=command.argument, at=at)


def _acts(
    parted: sentences.Parted, bound: runs.Bound, objects: dict[int, Item], text: str, troubles: list[Trouble]
) -> list[_Act]:
    """The entries of one part, in order, with their quantities and notes."""
    acts: list[_Act] = []
    for index, item in enumerate(parted.items):
        if item.role == "remark":
            acts.append(_Act(item.kind, item, {"note": _note(parted.remarks[id(item)], text)}))
        elif item.role == "card":
            acts += [_Act(kind, item, {"told": "card"}) for kind in CARD]
        elif item.role == "kind" and id(item) not in bound.absorbed:
            acts += _one(parted.items, index, bound, troubles)
        elif item.role == "bare" and id(item) not in objects:
            if id(item) in bound.values:
                acts += _one(parted.items, index, bound, troubles)
            elif not bound.troubles:
                troubles.append(Trouble(Rank.WORD, item.start, "ambiguous_word", {"word": item.text, "volume": True}))
    return acts


def _one(items: list[Item], index: int, bound: runs.Bound, troubles: list[Trouble]) -> list[_Act]:
    item = items[index]
    kind, quantity = item.kind, item.quantity
    if kind == "segments" and words.is_change(items, index):
        kind = "segment_change"
    data: dict[str, Any] = {}
    if quantity is not None:
        if id(item) in bound.values:
            data[quantity.field] = bound.values[id(item)]
        elif quantity.required and kind == item.kind and not bound.troubles:
            about = {"word": item.text, "kind": kind, "quantity": quantity}
            troubles.append(Trouble(Rank.NUMBER, item.start, "needs_quantity", about))
    return [_Act(kind, item, data)]


def _note(remark: sentences.Remark, text: str) -> str:
    """The sentence as it was written; sentences that stood apart are put together with a full stop."""
    spans: list[tuple[int, int]] = []
    for start, end in remark.spans:
        between = text[spans[-1][1] : start].strip(" .;,!\n\r\t").lower() if spans else None
        if between in ("", "and", "y", "e", "&"):
            spans[-1] = (spans[-1][0], end)
        else:
            spans.append((start, end))
    return ". ".join(text[start:end].strip(" \t\n\r.,;:-") for start, end in spans)


def _give_times(items: list[Item], acts: list[_Act], troubles: list[Trouble], *, another_follows: bool) -> None:
    """A time belongs to the words before it, back to the last time; one before all of them, to all of them."""
    by_item: dict[int, list[_Act]] = {}
    for act in acts:
        by_item.setdefault(id(act.item), []).append(act)
    leading: times.When | None = None
    pending: list[_Act] = []
    started = False
    for index, item in enumerate(items):
        if item.role == "day":
            troubles.append(Trouble(Rank.TIME, item.start, "ambiguous_time", {"word": item.text}))
        elif id(item) in by_item:
            started = True
            for act in by_item[id(item)]:
                if leading is not None:
                    act.whens.append(leading)
                pending.append(act)
        elif item.when is not None:
            if not started and leading is None:
                leading = item.when
                continue
            if not pending:
                troubles.append(Trouble(Rank.CONFLICT, item.start, "conflicting", {"word": item.text}))
            if _leans_forward(items, index, another_follows):
                troubles.append(Trouble(Rank.TIME, item.start, "ambiguous_time", {"word": item.text, "whose": True}))
            for act in pending:
                act.whens.append(item.when)
            pending = []


def _leans_forward(items: list[Item], index: int, another_follows: bool) -> bool:
    """Whether a time stands behind a break and right before a word: "rinsed. 0430 charged" may be said of either.

    `another_follows`: behind these items stands the code of another machine.
    """
    before, after = index - 1, index + 1
    while before >= 0 and items[before].role == "filler":
        before -= 1
    while after < len(items) and items[after].role in ("filler", "code"):
        after += 1
    cut = before >= 0 and items[before].role in ("break", "and")
    if after == len(items):
        return cut and another_follows
    return cut and items[after].role in ("kind", "remark", "bare")


def _finish(said: list[_Said], troubles: list[Trouble], fleet: Fleet, at: Instant) -> Reading:
    """Put the acts of each machine together, look for contradictions, and give every act its moment.

    Each tap stands for itself: two taps may well say the same twice.
    """
    merged: dict[tuple[str, str | None], list[_Act]] = {}
    for one in said:
        for code in one.machines or [""]:
            merged.setdefault((code, one.tap), []).extend(one.acts)
    for key in merged:
        merged[key] = _merge(merged[key], troubles)
    spoken = [(code, one.tap) for one in said for code in one.machines]
    for key, acts in merged.items():
        if spoken.count(key) > 1 and len({bool(act.whens) for act in acts}) > 1:
            start = min(act.item.start for act in acts)
            troubles.append(Trouble(Rank.TIME, start, "ambiguous_time", {"code": key[0], "whose": True}))
    if not any(merged.values()) and not troubles:
        return Reading(refused="nothing_to_do", at=at)
    if any(acts for (code, _tap), acts in merged.items() if not code):
        troubles.append(Trouble(Rank.MACHINE, 0, "which_machine", {}))
    drafts: list[Draft] = []
    for (code, tap), acts in merged.items():
        zone = fleet.zone_of(code) if code else fleet.zone
        tapped: set[str] = set()
        for act in acts:
            try:
                moment = times.resolve(act.whens[0], zone, at) if act.whens else at
            except times.RefusedTime as why:
                troubles.append(Trouble(Rank.TIME, act.item.start, why.reason, {"when": act.whens[0]}))
                continue
            # A tap makes one entry of a kind: a second one, such as another note, was written in by hand.
            own = tap if act.kind not in tapped else None
            tapped.add(act.kind)
            drafts.append(Draft(code, act.kind, moment, dict(act.data), own))
    trouble = first(troubles)
    if trouble is not None:
        return Reading(refused=trouble.reason, trouble=trouble.about, at=at)
    return Reading(drafts=tuple(drafts), at=at)


def _merge(acts: list[_Act], troubles: list[Trouble]) -> list[_Act]:
    """One act a kind: said twice it is said once, and said in two ways it is asked about. Remarks stay apart."""
    made: dict[str, _Act] = {}
    kept: list[_Act] = []
    for act in acts:
        if len(set(act.whens)) > 1:
            troubles.append(Trouble(Rank.CONFLICT, act.item.start, "conflicting", {"word": act.item.text}))
        same = made.get(act.kind) if act.item.role != "remark" else None
        if same is None:
            same = _Act(act.kind, act.item, dict(act.data), list(act.whens))
            made[act.kind] = same
            kept.append(same)
            continue
        differ = any(same.data.get(name, value) != value for name, value in act.data.items())
        if differ or set(same.whens) != set(act.whens):
            troubles.append(Trouble(Rank.CONFLICT, act.item.start, "conflicting", {"word": act.item.text}))
        same.data.update(act.data)
    if "charge" in made and "unplug" in made:
        both = max(made["charge"].item, made["unplug"].item, key=lambda item: item.start)
        troubles.append(Trouble(Rank.CONFLICT, both.start, "conflicting", {"word": both.text}))
    if "not_used" in made and made.keys() & _UNUSED_AGAINST:
        item = made["not_used"].item
        troubles.append(Trouble(Rank.CONFLICT, item.start, "conflicting", {"word": item.text}))
    return kept
