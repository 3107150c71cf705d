"""The list of a person's machines: each its plate, how it stands in words, and what is owed on it. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from logbook.domain.owed import Owed, is_out, pressing
from logbook.domain.people import Person
from logbook.domain.standing import stop_of
from logbook.domain.wording import times
from logbook.domain.wording.duties import duty_label
from logbook.web.ground import Ground
from logbook.web.pages import Words
from logbook.web.phone.taking import standing, theirs


@dataclass(frozen=True, slots=True)
class Row:
    """One machine. `stop`: it must stand, and `state` says so. `mark`: late, due or clear; `owed` says it in words."""

    code: str
    stop: bool
    mark: str
    state: str
    owed: str


def rows(grounds: Sequence[Ground], person: Person, said: Words) -> list[tuple[str, tuple[Row, ...]]]:
    """(site's name, its machines), as the grounds are ordered."""
    return [
        (name, tuple(_row(each, person, said) for each in group))
        for (name, _code), group in groupby(grounds, key=lambda each: (each.site.name, each.site.code))
    ]


def _row(ground: Ground, person: Person, said: Words) -> Row:
    owed = pressing(theirs(standing(ground), person), ground.now)
    late = [each for each in owed if each.late]
    if late:
        text = said.plain("Late: %(what)s", what=_named(late, said))
    elif owed:
        text = said.plain("Owed: %(what)s", what=_named(owed, said))
    else:
        text = said.plain("Nothing is owed now.")
    mark = "late" if late else "due" if owed else "clear"
    return Row(ground.code, stop_of(ground.machine) is not None, mark, _state(ground, said), text)


def _named(owed: Sequence[Owed], said: Words) -> str:
    return ", ".join(
        said.plain("say whether it was used") if each.duty == "night" else duty_label(each.duty, said.language)
        for each in owed
    )


def _state(ground: Ground, said: Words) -> str:
    machine, now = ground.machine, ground.now

    def time(kind: str) -> str:
        return times.moment(machine.last[kind][0], ground.site.zone, said.language, now)

    if stop_of(machine) is not None:
        return said.plain("Do not run it")
    if is_out(machine, now):
        # The latest start may be another night's: a machine that was only filled tonight is out all the same.
        begun = machine.use is not None and machine.use.put_away is None and "start" in machine.last
        return said.plain("Out since %(time)s", time=time("start")) if begun else said.plain("Out")
    if "put_away" in machine.last:
        return said.plain("Put away %(time)s", time=time("put_away"))
    return said.plain("Not heard of yet")
