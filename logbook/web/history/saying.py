"""A history's sentences: what a night was like, what an entry says, how a duty departed, in the reader's language.

Promises the wall clock of the site, quantities in the units of people, and roles: nobody's name comes in here.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from babel.numbers import format_decimal

from logbook.domain.instants import HOUR, Instant, parse
from logbook.domain.reporting import Judged
from logbook.domain.wallclock import wall, zone
from logbook.domain.wording import capital, speech, times
from logbook.domain.wording.duties import WORDS, duty_label
from logbook.domain.wording.labels import entry_label, role_label
from logbook.domain.wording.mark import mark
from logbook.domain.wording.sentences import OUTCOMES
from logbook.web.history.nights import Night, Spell
from logbook.web.pages import Words

BATTERIES = {
    "flooded": mark("flooded battery"), "sealed": mark("sealed battery"), "lithium": mark("lithium battery"),
}  # fmt: skip
CHANNELS = {
    "text": mark("by text"), "form": mark("on a page"), "mail": mark("by mail"), "import": mark("out of a file"),
    "api": mark("by another program"), "command": mark("on the command line"),
}  # fmt: skip
REPORT = {
    "kept": mark("kept"), "told_late": mark("told late"), "late": mark("late"), "missed": mark("missed"),
    "excused": mark("excused"), "not_due": mark("not yet due"),
}  # fmt: skip
_SILENT = frozenset({"told", "corrects", "entry", "opened_by", "number", "serial", "duty", "due_at", "outcome", "until",
                     "step", "role", "order"})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Sayer:
    """Says things of one machine. `now`: the moment known, by which a year is named or left out."""

    words: Words
    now: Instant

    @property
    def language(self) -> str:
        """The reader's."""
        return self.words.language

    # -- numbers and times --------------------------------------------------------------------------------------

    def number(self, value: float, pattern: str = "#,##0.##") -> str:
        """A number with the signs of this language."""
        return str(format_decimal(value, format=pattern, locale=times.locale(self.language)))

    def stamp(self, at: Instant, place: str) -> str:
        """Day and wall clock: `Tue 10 Mar 05:10`, with the year where it is another one."""
        if wall(at, zone(place)).date() == wall(self.now, zone(place)).date():
            return times.day_clock(at, place, self.language)
        return times.moment(at, place, self.language, self.now)

    def clock(self, at: Instant, place: str) -> str:
        """The wall clock alone."""
        return times.clock(at, place, self.language)

    def hours(self, seconds: int) -> str:
        """An hour meter's reading."""
        return f"{self.number(seconds / 3_600, '#,##0.0')} h"

    # -- duties -------------------------------------------------------------------------------------------------

    def report(self, word: str) -> str:
        """A report's word."""
        return self.words.plain(REPORT[word])

    def departure(self, each: Judged) -> str:
        """`tank rinse 2 h 3 min late`, `battery charge missed`."""
        label, duty = duty_label(each.duty.duty, self.language), each.duty
        if WORDS[duty.duty].at_once and each.word != "excused":
            if duty.ended_at is None:
                return self.words.plain("%(duty)s, not ended", duty=label)
            return self.words.plain(
                "%(duty)s, over after %(span)s", duty=label, span=self.span(duty.ended_at - duty.due)
            )
        if each.word == "late" and duty.ended_at is not None:
            return self.words.plain("%(duty)s %(span)s late", duty=label, span=self.span(duty.ended_at - duty.due))
        if each.word == "missed":
            return self.words.plain("%(duty)s missed", duty=label)
        return self.words.plain("%(duty)s excused", duty=label)

    def happened(self, each: Judged, place: str) -> str:
        """What happened to a departed duty, in one sentence."""
        duty, plain = each.duty, self.words.plain
        due = self.stamp(duty.due, place)
        if WORDS[duty.duty].at_once and each.word != "excused":
            if duty.ended_at is None:
                return plain("Due the moment it arose, %(due)s; not ended yet.", due=due)
            facts = {"due": due, "at": self.stamp(duty.ended_at, place), "span": self.span(duty.ended_at - duty.due)}
            if each.word == "missed":
                return plain("Due the moment it arose, %(due)s; overtaken %(at)s.", **facts)
            return plain("Due the moment it arose, %(due)s; ended %(at)s, after %(span)s.", **facts)
        if duty.ended_at is None:
            return plain("Due %(due)s; nobody has reported it done.", due=due)
        ended = self.stamp(duty.ended_at, place)
        if each.word == "late":
            span = self.span(duty.ended_at - duty.due)
            return plain("Due %(due)s, done %(at)s: %(span)s late.", due=due, at=ended, span=span)
        if each.word == "missed":
            return plain("Due %(due)s, not reported done; overtaken %(at)s.", due=due, at=ended)
        return plain("Due %(due)s, excused %(at)s.", due=due, at=ended)

    def alarms(self, each: Judged, place: str) -> list[str]:
        """Its alerts: when raised, who answered by role, how it ended."""
        plain, found = self.words.plain, []
        for alarm in each.alarms:
            said = plain("Alert %(n)s, %(at)s", n=alarm.serial or alarm.number, at=self.stamp(alarm.raised_at, place))
            for role, at in alarm.answered:
                said += "; " + plain("answered by the %(role)s %(at)s", role=role_label(role, self.language),
                                   at=self.stamp(at, place))  # fmt: skip
            if alarm.outcome is not None:
                said += "; " + self.outcome(alarm.outcome)
            found.append(said)
        return found

    def outcome(self, outcome: str) -> str:
        """How an alert ended."""
        return speech(self.language, "alerts")(OUTCOMES.get(outcome, outcome))

    def span(self, micros: int) -> str:
        """Elapsed time, and no `0 min`."""
        return times.span(micros, self.language) if micros >= 60_000_000 else self.words.plain("under a minute")

    # -- nights -------------------------------------------------------------------------------------------------

    def day(self, night: Night) -> str:
        """`Tue 10 Mar`."""
        return times.day(night.day.isoformat(), self.language)

    def silence(self, night: Night) -> str:
        """Of a night of which nothing was told, or that the machine stood unused."""
        if not night.silent:
            return entry_label("not_used", self.language)
        if night.now is not None:
            return self.words.plain("nothing told yet")
        if night.expected:
            return self.words.plain("nothing told")
        return self.words.plain("no night expected")

    def night(self, night: Night) -> str:
        """The whole night in sentences."""
        said = [self._worked(spell, night.zone) for spell in night.spells if spell.what == "work"]
        by_clock: dict[str, list[str]] = {}
        for act in night.acts:
            what = f"{entry_label(act.kind, self.language)}{self._beside(act.data)}"
            by_clock.setdefault(self.clock(act.occurred_at, night.zone), []).append(what)
        acts = [f"{clock} {', '.join(done)}" for clock, done in by_clock.items()]
        if acts:
            said.append("; ".join(acts) + ".")
        if night.silent:
            said.append(capital(self.silence(night)) + ".")
        charging = [spell for spell in night.spells if spell.what == "charge"]
        if charging and not charging[-1].over and night.now is not None:
            said.append(self.words.plain("On charge, as far as is known."))
        said += [capital(self.departure(each)) + "." for each in night.departures]
        length = night.ends - night.begins
        if length < 24 * HOUR:
            said.append(self.words.plain("The clocks went forward."))
        elif length > 24 * HOUR:
            said.append(self.words.plain("The clocks went back."))
        return " ".join(said)

    def _worked(self, spell: Spell, place: str) -> str:
        plain, begins, ends = self.words.plain, self.clock(spell.begins, place), self.clock(spell.ends, place)
        if spell.cut:
            return plain("Started %(begins)s; nobody said that it was put away.", begins=begins)
        if not spell.over:
            return plain("Out since %(begins)s.", begins=begins)
        if not spell.begun:
            return plain("Put away %(ends)s; its start was not told.", ends=ends)
        span = times.span(spell.ends - spell.begins, self.language)
        return plain("Worked %(begins)s to %(ends)s, %(span)s.", begins=begins, ends=ends, span=span)

    def _beside(self, data: Mapping[str, Any]) -> str:
        found = list(self.quantities(data))
        return f" ({', '.join(found)})" if found else ""

    # -- entries ------------------------------------------------------------------------------------------------

    def channel(self, name: str) -> str:
        """By which way it came; the clock's and the program's own need no saying."""
        return self.words.plain(CHANNELS[name]) if name in CHANNELS else ""

    def quantities(self, data: Mapping[str, Any]) -> Iterator[str]:
        """Numbers in the units of people."""
        plain = self.words.plain
        for name, value in data.items():
            if value is None or name in _SILENT:
                continue
            match name:
                case "water_ml":
                    yield f"{self.number(value / 1_000)} L"
                case "charge_pct":
                    yield plain("battery at %(n)s %%", n=value)
                case "gravity_milli":
                    yield self.number(value / 1_000, "0.000")
                case "meter_s":
                    yield self.hours(value)
                case "left_um":
                    yield f"{' / '.join(self.number(each / 1_000) for each in value)} mm"
                case "qty":
                    yield plain("%(n)s pieces", n=self.number(value))
                case "battery":
                    yield plain(BATTERIES.get(value, value))
                case "site":
                    yield plain("site %(site)s", site=value)
                case "serial":
                    yield plain("serial %(serial)s", serial=value)
                case "battery_set" | "set":
                    yield plain("battery set %(set)s", set=value)
                case "warranty_from":
                    yield plain("warranty from %(day)s", day=value)
                case "code":
                    yield plain("plate %(code)s", code=value)
                case "by":
                    yield plain("by %(who)s", who=value)
                case "part" | "topic":
                    yield str(value)
                case _:
                    yield f"{name}: {value if isinstance(value, str) else json.dumps(value)}"

    def of_duty(self, kind: str, data: Mapping[str, Any], place: str, at: Instant) -> Iterator[str]:
        """What an entry about a duty says: which, when due, how it ended, who has it until when. `at`: when recorded."""
        plain, duty = self.words.plain, data.get("duty")
        if duty is None:
            return
        label = duty_label(duty, self.language) if duty in WORDS else str(duty)
        if kind == "commissioned":
            return
        if "number" in data:
            serial = data.get("serial")
            if serial is not None:
                yield plain("alert %(n)s", n=serial)
        if kind == "alert_raised":
            yield plain("%(duty)s, due %(at)s", duty=label, at=self._parsed(data["due_at"], place))
        elif kind == "alert_cleared":
            yield f"{label}: {self.outcome(data['outcome'])}"
        elif kind == "alert_escalated":
            yield plain("%(duty)s, now to the %(role)s", duty=label, role=role_label(data["role"], self.language))
        elif kind == "acknowledged" and parse(data["until"]) <= at:
            yield plain("%(duty)s, given back", duty=label)
        elif kind == "passed_on":
            role = role_label(str(data["role"]), self.language)
            yield plain("%(duty)s, the %(role)s is asked until %(at)s", duty=label, role=role,
                        at=self._parsed(data["until"], place))  # fmt: skip
        elif kind == "acknowledged":
            yield plain("%(duty)s, in hand until %(at)s", duty=label, at=self._parsed(data["until"], place))
        else:
            yield label

    def _parsed(self, text: str, place: str) -> str:
        return self.stamp(parse(text), place)
