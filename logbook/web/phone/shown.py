"""What the phone's page of one machine shows: sentences, buttons and cards, as plain objects that templates print.

Promises that a machine which must stand says so before anything else, with the reason if one was given; that what is
late comes before what is due; and that nobody is named but the reader. Decides nothing: the fold does.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import groupby

from sqlalchemy import Connection

from logbook.domain.instants import MINUTE, Instant
from logbook.domain.owed import Owed, pressing
from logbook.domain.people import Person
from logbook.domain.standing import stop_of
from logbook.domain.wording import times
from logbook.domain.wording.cautions import ACID, BARE, BATTERY, DRAIN, FLOOR, HEADS, care
from logbook.domain.wording.duties import duty_label
from logbook.domain.wording.labels import entry_label, role_label
from logbook.evidence.form import read as read_form
from logbook.intake.reading import entry_at, own_words
from logbook.store import log, words
from logbook.web.ground import Ground
from logbook.web.pages import Words
from logbook.web.phone.acts import BUTTONS, CARDS, END_CARD, START_CARD
from logbook.web.phone.likely import Phase, likely
from logbook.web.phone.taking import Saved, acts_said, latest_tap, standing, theirs

WEEKLY = ("watering", "filter", "segments", "hours", "gravity")
_WET = ("watering", "gravity")
RARE = ("prepared", "unplug", "wipe", "not_used", "start", "empty", "fill", "rinse", "squeegee", "charge", "put_away")
FRESH = 2 * MINUTE
LINES_MOST = 4
"""So many lines of what is owed before the rest is one line: the largest button must stay in sight."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of what is owed. `mark`: late, due, held or clear; the words say it too. `then`: once it is put away."""

    mark: str
    text: str
    then: bool = False


@dataclass(frozen=True, slots=True)
class Button:
    """One act, one tap. `tap`: the code of the tap that it will be."""

    kind: str
    label: str
    tap: str


@dataclass(frozen=True, slots=True)
class Stop:
    """The machine must stand. `why`: as it was written, or ""."""

    title: str
    why: str


@dataclass(frozen=True, slots=True)
class Card:
    """Several acts with one thumb. `acts`: (kind, label) to be ticked; `all`: the kinds that the whole card makes."""

    name: str
    acts: tuple[tuple[str, str], ...]
    all: tuple[str, ...]
    ticked: Button
    whole: Button
    care: str
    open: bool


@dataclass(frozen=True, slots=True)
class Back:
    """What can be taken back: in words, and the ids of its entries. `fresh`: just told, so that a slip is seen at once."""

    said: str
    ids: tuple[str, ...]
    tap: str
    fresh: bool


@dataclass(frozen=True, slots=True)
class Care:
    """One act of the week: its button, when it is due ("" if nothing is), and the care it takes."""

    button: Button
    line: Line | None
    care: str


@dataclass(frozen=True, slots=True)
class Shown:
    """The whole page."""

    code: str
    site: str
    phase: Phase
    last: str
    last_at: str
    lines: tuple[Line, ...]
    stop: Stop | None
    big: Button | None
    others: tuple[Button, ...]
    rare: tuple[Button, ...]
    card: Card | None
    weekly: tuple[Care, ...]
    fault: Button
    written: tuple[Button, ...]
    heads: int
    lengths: tuple[int, ...]
    care_heads: str
    back: Back | None
    owed: tuple[Owed, ...]


def shown(
    connection: Connection, ground: Ground, person: Person, said: Words, new_tap: Callable[[], str]
) -> Shown:  # fmt: skip
    """The page of a machine, for one reader, in the language of `said`."""
    machine, language, now = ground.machine, said.language, ground.now
    owed = theirs(standing(ground), person)
    following = likely(machine, now)

    def button(kind: str) -> Button:
        return Button(kind, said.plain(BUTTONS[kind]), new_tap())

    mine = latest_tap(connection, ground, person)
    back = None
    if mine:
        acts = [Saved(row.id, row.kind, row.occurred_at) for row in mine]
        fresh = max(row.recorded_at for row in mine) > now - FRESH
        back = Back(acts_said(acts, ground.site.zone, language, now), tuple(row.id for row in mine), new_tap(), fresh)
    last, last_at = _last(connection, ground, person, said)
    lines = (*_lines(owed, ground, said), *_trouble(connection, ground, person, said))
    over = following.phase == "retired"
    big = None if following.act is None else button(following.act)
    others = tuple(button(kind) for kind in following.others)
    seen = {each.kind for each in (*others, *((big,) if big else ()))}
    return Shown(
        code=ground.code, site=ground.site.name, phase=following.phase, last=last, last_at=last_at,
        lines=lines, stop=_stop(connection, ground, said), big=big, others=others,
        rare=() if over else tuple(button(kind) for kind in RARE if kind not in seen),
        card=_card(following.card, following.phase, said, new_tap, machine.policy(now).on),
        weekly=() if over else _weekly(ground, owed, said, button),
        fault=button("fault"), written=() if over else (button("segment_change"), button("repaired"), button("note")),
        heads=_heads(ground), lengths=tuple(range(0, _longest(ground) + 1, 500)), care_heads=care((HEADS, BARE), language), back=back, owed=owed,
    )  # fmt: skip


def _last(connection: Connection, ground: Ground, person: Person, said: Words) -> tuple[str, str]:
    """The latest thing that is known to have happened, and its time alone."""
    places = {kind: place for kind, place in ground.machine.last.items() if kind in BUTTONS}
    if not places:
        return said.plain("Nothing has been told of this machine yet."), ""
    kind = max(places, key=lambda each: places[each])
    at, seq = places[kind]
    row = entry_at(connection, ground.uuid, seq)
    told = None if row is None else read_form(row.bytes)
    mine = words.reporter_of(connection, ground.uuid, person.uuid)
    time = times.moment(at, ground.site.zone, said.language, ground.now)
    who = said.plain("you") if told is not None and told.reporter == mine else ""
    if not who:
        who = role_label("" if told is None else told.role, said.language)
    what = entry_label(kind, said.language)
    return said.plain("Last told: %(what)s, %(time)s (%(who)s).", what=what, time=time, who=who), time


def _lines(owed: Sequence[Owed], ground: Ground, said: Words) -> tuple[Line, ...]:
    """What presses, worst first, a line for each due time."""
    now, zone = ground.now, ground.site.zone

    def rank(each: Owed) -> tuple[int, int]:
        return (0 if each.late else 1, -1 if each.due is None else each.due)

    lines: list[Line] = []
    for (late, due), group in groupby(
        sorted(pressing(tuple(owed), now), key=rank), key=lambda each: (each.late, each.due)
    ):
        what = ", ".join(
            said.plain("say whether it was used") if each.duty == "night" else duty_label(each.duty, said.language)
            for each in group
        )
        if due is None:
            lines.append(Line("due", said.plain("When it is put away: %(what)s", what=what), then=True))
            continue
        time = times.moment(due, zone, said.language, now)
        if late:
            lines.append(Line("late", said.plain("Late since %(time)s: %(what)s", time=time, what=what)))
        else:
            lines.append(Line("due", said.plain("Due by %(time)s: %(what)s", time=time, what=what)))
    if len(lines) > LINES_MOST:
        more = len(lines) - LINES_MOST + 1
        rest = str(said.plural("and %(n)s more", "and %(n)s more", more))
        lines = [*lines[: LINES_MOST - 1], Line("late" if lines[LINES_MOST - 1].mark == "late" else "due", rest)]
    return tuple(lines) or (Line("clear", said.plain("Nothing is owed now.")),)


def _trouble(connection: Connection, ground: Ground, person: Person, said: Words) -> list[Line]:
    """What was reported wrong and is not mended yet, for whoever has no duty in it: so that nobody reports it twice."""
    known = {each.duty: each for each in standing(ground)}
    found = []
    for duty, mark, sentence in (
        ("fault", "due", said.plain("Something is wrong with it: reported %(time)s, not answered yet.", time="{time}")),
        ("repair", "held", said.plain("A repair was asked for %(time)s.", time="{time}")),
    ):
        row = log.find(connection, known[duty].opened_by) if duty in known and person.role == "cleaner" else None
        if row is not None:
            time = times.moment(row.occurred_at, ground.site.zone, said.language, ground.now)
            found.append(Line(mark, sentence.replace("{time}", time)))
    return found


def _stop(connection: Connection, ground: Ground, said: Words) -> Stop | None:
    def why(kind: str) -> str:
        return own_words(connection, ground.uuid, ground.machine, kind, "why") or ""

    match stop_of(ground.machine):
        case "retired":
            at = ground.machine.retired_at or ground.now
            day = times.moment(at, ground.site.zone, said.language, ground.now)
            return Stop(said.plain("Retired since %(time)s: nothing more is told of it here.", time=day), "")
        case "out_of_service":
            return Stop(said.plain("Do not run this machine. It is out of service."), why("out_of_service"))
        case "held":
            return Stop(said.plain("Do not run this machine. It is held."), why("held"))
        case "bare_head":
            title = said.plain("Do not run this machine. A head has no abrasive left.")
            return Stop(title, said.plain("Bare metal cuts rings into the floor. It stands until new segments are on."))
        case None:
            return None


def _card(
    name: str | None, phase: Phase, said: Words, new_tap: Callable[[], str], on: frozenset[str]
) -> Card | None:  # fmt: skip
    if name is None:
        return None
    # A step that policy does not ask for is not asked for on a card either.
    left_out = {duty for duty in ("prepared", "squeegee") if duty not in on}
    steps = tuple(kind for kind in (START_CARD if name == "begin" else END_CARD) if kind not in left_out)
    whole = tuple(kind for kind in CARDS[name] if kind not in left_out)
    cautions = (HEADS, FLOOR) if name == "begin" else (BATTERY, DRAIN, FLOOR)
    acts = tuple((kind, said.plain(BUTTONS[kind])) for kind in steps)
    ticked = Button(name, said.plain("Save what is ticked"), new_tap())
    all_done = Button(f"{name}-all", said.plain("All of it is done"), new_tap())
    return Card(name, acts, whole, ticked, all_done, care(cautions, said.language), phase in ("closing", "after"))


def _weekly(
    ground: Ground, owed: Sequence[Owed], said: Words, button: Callable[[str], Button]
) -> tuple[Care, ...]:  # fmt: skip
    due: dict[str, Owed] = {each.duty: each for each in owed}
    found = []
    for kind in WEEKLY:
        if kind in _WET and ground.machine.battery != "flooded":
            continue
        line = None
        if kind in due and (at := due[kind].due) is not None:
            time = times.moment(at, ground.site.zone, said.language, ground.now)
            late = due[kind].late
            text = said.plain("Late since %(time)s", time=time) if late else said.plain("Due by %(time)s", time=time)
            line = Line("late" if late else "due", text)
        found.append(Care(button(kind), line, care(_CARE.get(kind, ()), said.language)))
    return tuple(found)


_CARE = {
    "watering": (BATTERY, ACID),
    "gravity": (BATTERY, ACID),
    "filter": (HEADS, FLOOR),
    "segments": (HEADS, BARE),
}


def _heads(ground: Ground) -> int:
    fit = ground.record.segments
    return 1 if fit is None else fit.heads or 1


def _longest(ground: Ground) -> int:
    """The longest length that a reading may give: as new ones are, rounded up to half a millimetre."""
    fit = ground.record.segments
    new: Instant = 14_000 if fit is None or fit.new_um is None else fit.new_um
    return -(-new // 500) * 500
