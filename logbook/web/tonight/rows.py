"""From machines and alerts to rows: one a machine, its most pressing duty first, in the words of the alert's mail."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from logbook.domain.instants import Instant, text
from logbook.domain.people import Person
from logbook.domain.register import Register
from logbook.domain.telling.items import Item
from logbook.domain.wording import capital, speech, times
from logbook.domain.wording.cautions import ORDER
from logbook.domain.wording.duties import WORDS, duty_label
from logbook.domain.wording.labels import entry_label, role_label
from logbook.domain.wording.sentences import happened, title, worst_first
from logbook.intake.passing import may_be_asked
from logbook.store.alerts import Alert
from logbook.store.tellings import Telling
from logbook.web.pages import Words
from logbook.web.tonight.axis import bar_of, city
from logbook.web.tonight.facts import Facts
from logbook.web.tonight.model import Axis, Choice, Mark, Matter, Row
from logbook.web.tonight.told import Answer, answer_line, latest, told_lines

Key = tuple[str, str]
"""(duty, opened by) on one machine."""


@dataclass(frozen=True, slots=True)
class Known:
    """What a board is made of, beside the machines: alerts, who was told of them, who answered, by (machine, duty, …)."""

    register: Register
    alerts: Mapping[tuple[str, str, str], Alert]
    tellings: Mapping[tuple[str, str, str], Sequence[Telling]]
    answers: Mapping[tuple[str, str, str], Sequence[Answer]]
    now: Instant
    say: Words
    axis: Axis
    several_zones: bool
    stopped: bool

    def alert(self, facts: Facts, item: Item) -> Alert | None:
        """The live alert of a machine's duty."""
        return self.alerts.get((facts.uuid, item.duty, item.opened_by))

    def in_hand(self, facts: Facts, item: Item) -> Answer | None:
        """Who has it in hand now, None if nobody has. Being asked is not having it."""
        given = self.answers.get((facts.uuid, item.duty, item.opened_by), ())
        last = latest(given)
        return last if last is not None and last.kind == "acknowledged" and last.until > self.now else None


def late_of(facts: Facts, known: Known) -> tuple[Row | None, Row | None]:
    """A machine's row of what is late and nobody has, and its row of what somebody has."""
    late = [item for item in facts.items if item.due_at <= known.now]
    held = [item for item in late if known.in_hand(facts, item) is not None]
    rest = [item for item in late if known.in_hand(facts, item) is None]
    return _row("late", facts, rest, known), _row("hand", facts, held, known)


def _row(what: str, facts: Facts, items: Sequence[Item], known: Known) -> Row | None:
    if not items:
        return None
    say, now = known.say, known.now
    night = any(item.duty == "night" for item in items)
    spoken = [item for item in items if night and (item.duty, item.opened_by) in facts.spoken_for]
    matters = tuple(matter_of(facts, item, known) for item in worst_first(i for i in items if i not in spoken))
    first = next(item for item in items if (item.duty, item.opened_by) == (matters[0].duty, matters[0].opened_by))
    found = [alert for item in items if (alert := known.alert(facts, item)) is not None]
    tellings = [each for alert in found for each in known.tellings.get(_of(alert), ())]
    answers = [each for alert in found for each in known.answers.get(_of(alert), ())]
    place = first.zone
    until = max((each.until for each in answers), default=None)
    asked = latest(answers)
    waits = asked if asked is not None and asked.kind == "passed_on" and asked.until > now else None
    told = told_lines(tellings, known.register, say, place, now)
    if not found:
        waited = say.plain("No alert is raised yet: what a phone still keeps is waited for.")
        told = (say.plain("No alert is raised, for the clock does not look.") if known.stopped else waited,)
    elif not told:
        told = (say.plain("Nobody was told by a message of its own."),)
    since = first.opened_at if WORDS[first.duty].at_once else first.due_at
    last = facts.last
    return Row(
        key=f"{what}-{facts.code}", mark=_mark(what, facts), word=_word(what, facts, say), machine=facts.uuid,
        code=facts.code, site=first.site_name, hours_of=hours_of(place, known), since=since,
        span=times.span(now - since, say.language), since_words=times.since(since, place, say.language, now),
        matters=matters,
        also=tuple((item.duty, item.opened_by, duty_label(item.duty, say.language)) for item in spoken),
        serials=tuple(alert.serial for alert in found), told=told, answer=answer_line(answers, say, place, now),
        asked=waits.to if waits is not None else None, seen=seen_stamp(found),
        last=last.entry if last is not None else "",
        last_words=times.moment(last.at, place, say.language, now) if last is not None else "",
        bar=bar_of(known.axis, since) if what == "late" else None,
        choices=tuple(_choice(person, say) for person in may_be_asked(known.register, facts.site)),
        until=until if what == "hand" else None,
        until_words=times.moment(until, place, say.language, now) if until is not None else "",
    )  # fmt: skip


def _of(alert: Alert) -> tuple[str, str, str]:
    return alert.machine, alert.duty, alert.opened_by


def seen_stamp(alerts: Sequence[Alert]) -> str:
    """What is known of who has these alerts, as one word that changes when anybody answers."""
    held = [alert.acknowledged_until for alert in alerts if alert.acknowledged_until is not None]
    return text(max(held)) if held else "nobody"


def _mark(what: str, facts: Facts) -> Mark:
    return "stop" if facts.state in ("held", "out") else "late" if what == "late" else "held"


def _word(what: str, facts: Facts, say: Words) -> str:
    if facts.state in ("held", "out"):
        return say.plain("Late, do not run") if what == "late" else say.plain("Do not run")
    return say.plain("Late") if what == "late" else say.plain("In hand")


def hours_of(place: str, known: Known) -> str:
    """Whose hours a row is written in, where the sites shown are not all in one zone; else ""."""
    if not known.several_zones:
        return ""
    return known.say.plain("hours of %(city)s", city=city(place, known.say.language))


def _choice(person: Person, say: Words) -> Choice:
    return Choice(person.uuid, person.name or person.key or "", role_label(person.role, say.language))


def matter_of(facts: Facts, item: Item, known: Known) -> Matter:
    """What there is to say of one duty: as its alert's mail says it."""
    language, now, words = known.say.language, known.now, WORDS[item.duty]
    alerts = speech(language, "alerts")
    alert = known.alert(facts, item)
    return Matter(
        duty=item.duty, opened_by=item.opened_by, label=duty_label(item.duty, language),
        title=capital(title(item, language)), happened=capital(happened(item, language, now)),
        last=_last(item, language, now), doing=capital(alerts(words.do)), cost=capital(alerts(words.cost)),
        care=" ".join(alerts(each) for each in ORDER if each in words.cautions), note=item.note or "", due=item.due_at,
        due_words=times.moment(item.due_at, item.zone, language, now), serial=alert.serial if alert is not None else None,
    )  # fmt: skip


def _last(item: Item, language: str, now: Instant) -> str:
    """By which role the machine was last seen to, as far as this duty is concerned."""
    alerts = speech(language, "alerts")
    acts = [(act.at, kind, act.role) for kind, act in item.last.items() if kind in WORDS[item.duty].last]
    if not acts:
        return ""
    at, kind, role = max(acts)
    return alerts("Last: %(done)s %(time)s (%(role)s).") % {
        "done": entry_label(kind, language), "time": times.moment(at, item.zone, language, now),
        "role": role_label(role, language),
    }  # fmt: skip
