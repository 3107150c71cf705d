"""The register: sites, machines, people and policy, as the fleet's log tells of them.

Promises that what was in force at an instant is answered for ever as it was then, whatever was changed since: a
duty keeps the numbers of its day. Policy, zones and nights are in force from the `recorded_at` of their entry on;
an instant before the log's first entry is answered as of that first entry. It never asks what time it is.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from logbook.domain.calendar import Nights
from logbook.domain.calendar import zone as zone_of
from logbook.domain.entries.fleet import NightRule, SegmentFit
from logbook.domain.instants import Instant
from logbook.domain.people import People, Person
from logbook.domain.policy import Policy, Value, resolve
from logbook.domain.timeline import Timeline

FOREVER: Instant = 2**62
BEFORE_ALL: Instant = -FOREVER

RuleKey = tuple[str, str, str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class SiteRecord:
    """A site: its code, name, the name of its zone, its expected nights, and how its orders are placed."""

    code: str
    name: str
    zone: str
    nights: tuple[RuleKey, ...] = ()
    order: str | None = None


@dataclass(frozen=True, slots=True)
class MachineRecord:
    """A machine's plate and fittings. `nights` None: it works by its site's; empty: no night is expected."""

    uuid: str
    code: str
    segments: SegmentFit | None = None
    nights: tuple[RuleKey, ...] | None = None


def rule_keys(rules: Sequence[Mapping[str, Any]]) -> tuple[RuleKey, ...]:
    """Night rules as they stand in an entry, as something that compares and hashes."""
    return tuple((r["rule"], r["from"], r["to"], tuple(r.get("except") or ())) for r in rules)


@lru_cache(maxsize=4096)
def calendar_of(rules: tuple[RuleKey, ...], zone: str) -> Nights | None:
    """The calendar of these rules, the same object each time; None if there are no rules.

    Raises ValueError with a sentence for a rule that cannot be read, or an unknown zone.
    """
    if not rules:
        return None
    read = [
        NightRule(rule=rule, from_=begins, to=ends, except_=list(left_out)) for rule, begins, ends, left_out in rules
    ]
    return Nights(read, zone_of(zone))


class Register:
    """What the fleet's log says, folded entry by entry."""

    def __init__(self) -> None:
        self.name = self.origin = ""
        self.language = "en"
        self.witness: str | None = None
        self.sites: dict[str, SiteRecord] = {}
        self.machines: dict[str, MachineRecord] = {}
        self.by_code: dict[str, MachineRecord] = {}
        self.words: dict[str, str] = {}
        self._people = People()
        self._first: Instant | None = None
        self._changes: list[Instant] = []
        self._site_at: dict[str, Timeline[SiteRecord]] = {}
        self._machine_at: dict[str, Timeline[MachineRecord]] = {}
        self._settings: dict[tuple[str, str], Timeline[Mapping[str, Value]]] = {}
        self._policies: dict[tuple[str, str], Timeline[Policy]] = {}
        self._calendars: dict[tuple[str, str], Timeline[Nights | None]] = {}

    # -- being told ---------------------------------------------------------------------------------------------

    def apply(self, kind: str, data: Mapping[str, Any], private: Mapping[str, str], recorded_at: Instant) -> None:
        """Take in the next entry of the fleet's log. Kinds that say nothing about the register are passed over.

        Raises ValueError if it was recorded before an entry that is known already.
        """
        if self._first is None:
            self._first = recorded_at
        match kind:
            case "fleet_founded":
                self.name, self.origin = data["name"], data["origin"]
                self.language, self.witness = data.get("language") or "en", private.get("witness")
            case "site_set":
                self._set_site(data, private, recorded_at)
            case "machine_set":
                self._set_machine(data, recorded_at)
            case "settings":
                self._set_values(data, recorded_at)
            case "join_word":
                self.words.pop(data["site"], None)
                if "word" in private:
                    self.words[data["site"]] = private["word"]
            case _:
                self._people.apply(kind, data, private)

    def _set_site(self, data: Mapping[str, Any], private: Mapping[str, str], at: Instant) -> None:
        site = SiteRecord(
            data["site"], data["name"], data["zone"], rule_keys(data.get("nights") or ()), private.get("order")
        )
        self.sites[site.code] = site
        self._site_at.setdefault(site.code, Timeline()).put(at, site)
        self._changed(at)

    def _set_machine(self, data: Mapping[str, Any], at: Instant) -> None:
        fit, nights = data.get("segments"), data.get("nights")
        machine = MachineRecord(
            data["machine"],
            data["code"],
            None if fit is None else SegmentFit.model_validate(fit),
            None if nights is None else rule_keys(nights),
        )
        before = self.machines.get(machine.uuid)
        if before is not None and self.by_code.get(before.code) is before:
            del self.by_code[before.code]
        self.machines[machine.uuid] = self.by_code[machine.code] = machine
        self._machine_at.setdefault(machine.uuid, Timeline()).put(at, machine)
        self._changed(at)

    def _set_values(self, data: Mapping[str, Any], at: Instant) -> None:
        line = self._settings.setdefault(_level(data.get("site"), data.get("machine")), Timeline([(BEFORE_ALL, {})]))
        values = {**line.values[-1], **data["values"]}
        line.put(at, {name: value for name, value in values.items() if value is not None})
        self._changed(at)

    def _changed(self, at: Instant) -> None:
        if not self._changes or self._changes[-1] < at:
            self._changes.append(at)
        self._policies.clear()
        self._calendars.clear()

    # -- as of an instant ---------------------------------------------------------------------------------------

    def policy(self, machine: str, site: str, at: Instant) -> Policy:
        """The numbers in force for a machine at a site: its own outweigh the site's, and those the fleet's."""
        line = self._policies.get((machine, site))
        if line is None:
            levels = [
                self._settings.get(level) for level in (("", ""), _level(site, None), _level(None, machine))
            ]  # fmt: skip
            known = [level for level in levels if level is not None]
            line = Timeline(
                (instant, resolve(*(level.at(instant) for level in known)))
                for instant in self._moments(*(level.instants for level in known))
            )
            self._policies[machine, site] = line
        return line.at(self._within(at))

    @property
    def since(self) -> Instant:
        """When the fleet's log began; FOREVER while it is empty."""
        return FOREVER if self._first is None else self._first

    def fleet_policy(self, at: Instant) -> Policy:
        """The fleet's own numbers, where no site or machine is meant."""
        return self.policy("", "", at)

    def settings(self, site: str | None = None, machine: str | None = None) -> Mapping[str, Value]:
        """The numbers that are set now at one level, and at no wider or narrower one."""
        line = self._settings.get(_level(site, machine))
        return line.values[-1] if line is not None else {}

    def zone(self, site: str, at: Instant) -> ZoneInfo:
        """The zone of a site. Raises ValueError if the register knows no such site."""
        line = self._site_at.get(site)
        if line is None:
            raise ValueError(f"the register knows no site {site!r}")
        return zone_of(line.at(at).zone)

    def nights(self, machine: str, site: str, at: Instant) -> Nights | None:
        """The calendar of nights expected of a machine at a site, or None where none are.

        Numbers from before the first entry are answered as of that entry, for a duty must have some; but no night was
        expected before anybody had said so.
        """
        sites = self._site_at.get(site)
        if sites is None or at < sites.instants[0]:
            return None
        line = self._calendars.get((machine, site))
        if line is None:
            machines = self._machine_at.get(machine)
            moments = self._moments(sites.instants, machines.instants if machines is not None else ())
            line = Timeline((instant, self._calendar(sites, machines, instant)) for instant in moments)
            self._calendars[machine, site] = line
        return line.at(self._within(at))

    @staticmethod
    def _calendar(sites: Timeline[SiteRecord], machines: Timeline[MachineRecord] | None, at: Instant) -> Nights | None:
        site = sites.at(at)
        own = machines.at(at).nights if machines is not None else None
        return calendar_of(site.nights if own is None else own, site.zone)

    def segments(self, machine: str, at: Instant) -> SegmentFit | None:
        """Which segments a machine takes, as the register knew at an instant."""
        line = self._machine_at.get(machine)
        return line.at(at).segments if line is not None else None

    def next_change(self, at: Instant) -> Instant:
        """The first instant after `at` from which policy, a zone, nights or fittings may differ, else FOREVER."""
        index = bisect_right(self._changes, at)
        return self._changes[index] if index < len(self._changes) else FOREVER

    def _within(self, at: Instant) -> Instant:
        return at if self._first is None or at >= self._first else self._first

    def _moments(self, *lines: Sequence[Instant]) -> list[Instant]:
        return sorted({BEFORE_ALL, *(instant for line in lines for instant in line)})

    # -- people -------------------------------------------------------------------------------------------------

    @property
    def people(self) -> Mapping[str, Person]:
        """Everyone the log speaks of, by uuid, those who left included."""
        return self._people.by_uuid

    def person_by_phone(self, number: str) -> Person | None:
        """Whose number this is."""
        return self._people.by_phone(number)

    def person_by_email(self, address: str) -> Person | None:
        """Whose address this is."""
        return self._people.by_email(address)

    def person_by_key(self, key: str) -> Person | None:
        """Whom the fleet file calls by this key."""
        return self._people.by_key(key)

    def who(self, role: str, site: str) -> list[Person]:
        """The members with a role at a site; owners have to do with every site."""
        return self._people.who(role, site)

    def site_of_word(self, word: str) -> str | None:
        """The site on whose plates this joining word stands now."""
        for site, known in self.words.items():
            if known.casefold() == word.strip().casefold():
                return site
        return None


def _level(site: str | None, machine: str | None) -> tuple[str, str]:
    """Where a number is set: for the fleet, a site or a machine."""
    if machine is not None:
        return ("machine", machine)
    return ("site", site) if site is not None else ("", "")
