"""The morning's letter: one a person a morning, exceptions only; on Mondays with the week against the one before.

It goes out when that person's quiet hours end. A morning without anything to tell sends nothing, but on Mondays.
"""

from __future__ import annotations

import json
from datetime import date

import msgspec
from sqlalchemy import Connection

from logbook.domain.instants import DAY, Instant
from logbook.domain.machine import FOREVER, Machine
from logbook.domain.people import Person
from logbook.domain.register import Register
from logbook.domain.telling.facts import nights_running
from logbook.domain.telling.items import Item, Letter, Week
from logbook.domain.telling.quiet import letter_of, next_letter
from logbook.domain.wording.letter import letter_message
from logbook.store import alerts, folds, heard, log
from logbook.store import notices as shelf
from logbook.trade.battery import thirstier
from logbook.watch.attend import LETTER
from logbook.watch.gather import Post
from logbook.watch.roster import RegisterRoster, ways

_item = msgspec.json.Decoder(Item).decode
WEEK: Instant = 7 * DAY


class Letters:
    """Writes the letters that are due at an instant. `post`: where they are put."""

    def __init__(self, post: Post, connection: Connection, register: Register, now: Instant) -> None:
        self.post = post
        self.connection = connection
        self.register = register
        self.now = now
        self.roster = RegisterRoster(register)
        self._folds: dict[str, Machine] | None = None

    def due(self) -> list[tuple[Person, str, Instant]]:
        """(person, date, instant) of every letter that is due and was not written yet."""
        found = []
        for person in self._readers():
            day, due = letter_of(self._quiet(person), self.roster.zone_of(person, self.now), self.now)
            if due > self.register.since:
                found.append((person, day, due))
        return found

    def next_at(self) -> Instant:
        """When the next letter is due, else FOREVER."""
        return min(
            (
                next_letter(self._quiet(person), self.roster.zone_of(person, self.now), self.now)
                for person in self._readers()
            ),
            default=FOREVER,
        )

    def _readers(self) -> list[Person]:
        return [
            person
            for person in self.register.people.values()
            if person.leads and person.state == "member" and ways(person)
        ]

    def _quiet(self, person: Person) -> tuple[int, int]:
        return self.roster.quiet(person, self.register.fleet_policy(self.now))

    def write(self) -> int:
        """Write every letter that is due. Returns how many messages were queued."""
        queued = 0
        for person, day, due in self.due():
            if not shelf.letter_once(self.connection, person.uuid, day):
                continue
            waiting = [
                notice
                for notice in shelf.waiting_for(self.connection, person.uuid)
                # What is ready and still here is in another process's hands, which is making a message of it.
                if notice.tell != "remind" and notice.ready_at == LETTER
            ]
            monday = date.fromisoformat(day).weekday() == 0
            strangers = heard.from_strangers(self.connection, due - DAY, due)
            if not waiting and not monday and not strangers:
                continue
            newest: dict[tuple[str, str, str], Item] = {}
            for notice in waiting:
                newest[notice.machine, notice.duty, notice.opened_by] = _item(notice.about)
            letter = self._letter(person, day, list(newest.values()), self._week(person, due) if monday else None)
            letter.strangers = strangers
            text = letter_message(letter, person.language, self.now)
            name = self.post.put(self.connection, self.register, person, "letter", text, self.now)
            shelf.gathered(self.connection, [notice.id for notice in waiting], name or "nobody")
            queued += name is not None
        return queued

    # -- what it says -------------------------------------------------------------------------------------------

    def _machines(self) -> dict[str, Machine]:
        """Every machine's fold, looked at once a morning."""
        if self._folds is None:
            self._folds = {}
            for uuid in self.register.machines:
                if log.head(self.connection, uuid) is not None:
                    book = self.post.intake.book(self.register, uuid)
                    self._folds[uuid] = folds.load(self.connection, uuid, book).machine
        return self._folds

    def _sites(self, person: Person) -> set[str]:
        return {site for site in self.register.sites if person.at(site)}

    def _letter(self, person: Person, day: str, items: list[Item], week: Week | None) -> Letter:
        sites = self._sites(person)
        expected = told = 0
        for fold in self._machines().values():
            if fold.site not in sites or fold.retired_at is not None or not fold.in_service:
                continue
            if "night" not in fold.policy(self.now).on:
                continue
            calendar = fold.book.nights(fold.site, self.now)
            nights = calendar.between(self.now - 2 * DAY, self.now) if calendar is not None else ()
            ended = [each for each in nights if each.ends <= self.now]
            if ended and ended[-1].begins >= (fold.commissioned_at or 0) and ended[-1].ends > self.now - DAY:
                expected += 1
                told += f"{fold.site}/{ended[-1].date}" not in fold.standing.get("night", {})
        loud = {item.site for item in items}
        quiet = sorted(self.register.sites[site].name for site in sites - loud)
        return Letter(day, items, expected, told, quiet, week)

    def _week(self, person: Person, until: Instant) -> Week:
        sites = self._sites(person)
        mine = {uuid: fold for uuid, fold in self._machines().items() if fold.site in sites}
        both = [a for a in alerts.raised_between(self.connection, until - 2 * WEEK, until) if a.machine in mine]
        now = [a for a in both if a.raised_at > until - WEEK]
        before = [a for a in both if a.raised_at <= until - WEEK]
        week = Week(
            nights_untold=sum(a.duty == "night" for a in now),
            nights_untold_before=sum(a.duty == "night" for a in before),
            late=sum(a.duty != "night" for a in now),
            late_before=sum(a.duty != "night" for a in before),
        )
        counts: dict[tuple[str, str], int] = {}
        for alert in now:
            counts[alert.machine, alert.duty] = counts.get((alert.machine, alert.duty), 0) + 1
        code = {uuid: self.register.machines[uuid].code for uuid in mine}
        repeated = [(code[machine], duty, times) for (machine, duty), times in counts.items() if times > 1]
        week.repeats = sorted(repeated, key=lambda each: (-each[2], each[0], each[1]))
        for uuid, fold in sorted(mine.items(), key=lambda each: code[each[0]]):
            self._battery(week, uuid, code[uuid], until)
            self._segments(week, uuid, code[uuid], fold)
            self._faults(week, code[uuid], fold)
        week.faults.sort(key=lambda each: (-each[1], each[0]))
        week.visits = self._visits(now, mine)
        return week

    def _battery(self, week: Week, uuid: str, code: str, until: Instant) -> None:
        drunk = [0, 0]
        for occurred_at, data in log.told_between(self.connection, uuid, "watering", until - 2 * WEEK, until):
            drunk[occurred_at > until - WEEK] += data.get("water_ml") or 0
        before, now = drunk
        if thirstier(before, now):
            week.thirsty.append((code, now, before))

    def _segments(self, week: Week, uuid: str, code: str, fold: Machine) -> None:
        if not fold.open_duties("segments_low") and not fold.segment_gone:
            return
        site = self.register.sites[fold.site]
        fit = self.register.segments(uuid, self.now)
        order = json.loads(site.order) if site.order else {}
        week.low.append(
            (
                code, site.name, fit.part if fit else None, fit.heads if fit else None, order.get("account"),
                order.get("contact") or order.get("email"),
            )
        )  # fmt: skip

    def _faults(self, week: Week, code: str, fold: Machine) -> None:
        for name in ("fault", "repair"):
            for duty in fold.open_duties(name):
                week.faults.append((code, (self.now - duty.opened_at) // DAY, None))

    def _visits(self, now: list[alerts.Alert], mine: dict[str, Machine]) -> list[tuple[str, list[str], int]]:
        """Sites where more than one thing went late more than once: somebody should go and see."""
        by_site: dict[str, list[str]] = {}
        for alert in now:
            by_site.setdefault(mine[alert.machine].site, []).append(alert.duty)
        found = [
            (self.register.sites[site].name, sorted(set(duties)), len(duties))
            for site, duties in by_site.items()
            if len(duties) >= 3 or any(nights_running(fold, n) > 1 for fold in mine.values() if fold.site == site
                                       for n in fold.open_duties("night"))
        ]  # fmt: skip
        return sorted(found, key=lambda each: (-each[2], each[0]))
