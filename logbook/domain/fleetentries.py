"""From a fleet file to the entries that would say it in the fleet's log, and to the register they make.

Promises that a file applied twice adds nothing the second time: only what differs from the register is wanted. The
file is the word on what it names. A number of policy that was taken out of it goes back to the wider one; a site,
machine or person that was taken out stays, because leaving is an entry of its own. It gives out no ids itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from logbook.domain.entries import catalogue
from logbook.domain.entries.fleet import NightRule, SegmentFit
from logbook.domain.fleetfile import FleetFile, FleetFileError, MachineTable, PersonTable, SiteTable
from logbook.domain.instants import Instant, parse
from logbook.domain.policy import Value
from logbook.domain.register import MachineRecord, Register, SiteRecord, rule_keys

__all__ = [
    "Commissioning", "Wanted", "commissionings", "differences", "identify", "register_of", "split", "wanted",
]  # fmt: skip


class Wanted(NamedTuple):
    """An entry of the fleet's log that would say what the file says.

    `key` names its subject: the origin, a site's or machine's code, a person's key; for settings `fleet`,
    `site:CODE` or `machine:CODE`. A machine or person that the register does not know yet has no id in `data`:
    `identify` puts one in. `data` holds the private words too; `split` takes them out.
    """

    kind: str
    key: str
    data: dict[str, Any]


class Commissioning(NamedTuple):
    """The first entry of a new machine's own log."""

    code: str
    occurred_at: Instant
    data: dict[str, Any]


def split(kind: str, data: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, str]]:
    """The data without its private words, and those by themselves."""
    found = catalogue.newest(kind)
    private = found.private_fields() if found is not None else frozenset()
    return (
        {name: value for name, value in data.items() if name not in private},
        {name: value for name, value in data.items() if name in private and value is not None},
    )


# -- what a file says -----------------------------------------------------------------------------------------------


def wanted(file: FleetFile) -> list[Wanted]:
    """The entries that would describe the whole fleet, in an order in which they can be recorded.

    Raises FleetFileError if the file leaves out what only a replay can do without: `[fleet]` name and origin.
    """
    if file.fleet.name is None or file.fleet.origin is None:
        raise FleetFileError("fleet file, [fleet]: name and origin are missing; a log needs both. Nothing was changed.")
    return list(_entries(file))


def _entries(file: FleetFile) -> Iterator[Wanted]:
    fleet = file.fleet
    founded = {"name": fleet.name or "", "origin": fleet.origin or "", "language": fleet.language}
    yield Wanted("fleet_founded", founded["origin"], _given(founded, witness=fleet.witness))
    if file.policy:
        yield Wanted("settings", "fleet", {"values": dict(file.policy)})
    for site in file.site:
        yield Wanted("site_set", site.code, _site(site))
        if site.policy:
            yield Wanted("settings", f"site:{site.code}", {"site": site.code, "values": dict(site.policy)})
    for machine in file.machine:
        yield Wanted("machine_set", machine.code, _machine(machine))
        if machine.policy:
            yield Wanted("settings", f"machine:{machine.code}", {"values": dict(machine.policy)})
    for person in file.person:
        yield Wanted("person_set", person.key, _person(person, file))


def _given(data: dict[str, Any], **maybe: Any) -> dict[str, Any]:
    """The data, and of the rest what is not None: an entry does not say what it does not know."""
    return data | {name: value for name, value in maybe.items() if value is not None}


def _rules(rules: Iterable[NightRule]) -> list[dict[str, Any]]:
    return [rule.model_dump(by_alias=True) for rule in rules]


def _site(site: SiteTable) -> dict[str, Any]:
    data = {"site": site.code, "name": site.name or site.code, "zone": site.zone, "nights": _rules(site.nights)}
    return _given(data, order=site.order_text)


def _machine(machine: MachineTable) -> dict[str, Any]:
    return _given(
        {"code": machine.code},
        segments=machine.segments.model_dump(exclude_none=True) if machine.segments is not None else None,
        nights=_rules(machine.nights) if machine.nights is not None else None,
    )


def _person(person: PersonTable, file: FleetFile) -> dict[str, Any]:
    sites = [site.code for site in file.site] if person.sites is None else list(person.sites)
    data = {"key": person.key, "role": person.role, "language": person.language, "sites": sites}
    return _given(data, quiet=person.quiet, name=person.name, phone=person.phone, email=person.email, word=person.word)


def register_of(file: FleetFile, at: Instant) -> Register:
    """The register that the file makes, all in force from `at`, and so from the beginning of time.

    Machines are known by their code, and people by their key: nobody gives out ids in a replay.
    """
    register = Register()
    for kind, key, data in _entries(file):
        if kind == "machine_set":
            data["machine"] = key
        elif kind == "person_set":
            data["person"] = key
        elif key.startswith("machine:"):
            data["machine"] = key.removeprefix("machine:")
        said, private = split(kind, data)
        register.apply(kind, said, private, at)
    return register


# -- what a file says that the log does not -------------------------------------------------------------------------


def differences(file: FleetFile, register: Register) -> list[Wanted]:
    """The entries of the fleet's log that are wanting, new machines' and people's among them (without ids).

    Raises FleetFileError if the file is incomplete, or if it has another origin than the log: the outside world
    knows a fleet's log by that name, and it never changes.
    """
    found: list[Wanted] = []
    for entry in wanted(file):
        match entry.kind:
            case "fleet_founded":
                found += _founding(entry, file, register)
            case "site_set":
                found += [entry] * (register.sites.get(entry.key) != _site_record(entry.data))
            case "machine_set":
                found += _machine_difference(entry, register)
            case "person_set":
                found += _person_difference(entry, register)
            case _:
                pass
    # Policy last: a machine's or site's numbers are recorded after it is known.
    found += _policy_difference("fleet", {}, file.policy, register.settings())
    for site in file.site:
        found += _policy_difference(
            f"site:{site.code}", {"site": site.code}, site.policy, register.settings(site=site.code)
        )
    for machine in file.machine:
        known = register.by_code.get(machine.code)
        now = register.settings(machine=known.uuid) if known is not None else {}
        names = {"machine": known.uuid} if known is not None else {}
        found += _policy_difference(f"machine:{machine.code}", names, machine.policy, now)
    return found


def _founding(entry: Wanted, file: FleetFile, register: Register) -> list[Wanted]:
    if not register.origin:
        return [entry]
    if register.origin != file.fleet.origin:
        raise FleetFileError(
            f'fleet file, [fleet]: origin "{file.fleet.origin}" is not "{register.origin}", by which this log is known '
            "for ever. Nothing was changed; write the old origin, or begin another log."
        )
    now = (register.name, register.language, register.witness)
    return [] if now == (file.fleet.name, file.fleet.language, file.fleet.witness) else [entry]


def _site_record(data: Mapping[str, Any]) -> SiteRecord:
    return SiteRecord(data["site"], data["name"], data["zone"], rule_keys(data["nights"]), data.get("order"))


def _machine_difference(entry: Wanted, register: Register) -> list[Wanted]:
    known = register.by_code.get(entry.key)
    if known is None:
        return [entry]
    nights = entry.data.get("nights")
    fit = entry.data.get("segments")
    same = known == MachineRecord(
        known.uuid,
        entry.key,
        None if fit is None else SegmentFit.model_validate(fit),
        None if nights is None else rule_keys(nights),
    )
    return [] if same else [Wanted(entry.kind, entry.key, {"machine": known.uuid, **entry.data})]


def _person_difference(entry: Wanted, register: Register) -> list[Wanted]:
    data = entry.data
    known = register.person_by_key(entry.key)
    if known is None and data.get("phone"):
        # Someone who joined by the plate's word before the file knew them is the same person.
        known = register.person_by_phone(data["phone"])
        known = known if known is not None and known.key is None else None
    if known is None:
        return [entry]
    now = {
        "key": known.key, "role": known.role, "language": known.language, "sites": list(known.sites),
        "quiet": known.quiet, "name": known.name, "phone": known.phone, "email": known.email,
        "word": known.word,
    }  # fmt: skip
    same = {name: value for name, value in now.items() if value is not None} == data
    return [] if same and known.state == "member" else [Wanted(entry.kind, entry.key, {"person": known.uuid, **data})]


def _policy_difference(
    key: str, names: dict[str, Any], file: Mapping[str, Value], now: Mapping[str, Value]
) -> list[Wanted]:
    values: dict[str, Value | None] = {name: value for name, value in file.items() if now.get(name) != value}
    values |= {name: None for name in now if name not in file}
    return [Wanted("settings", key, {**names, "values": values})] if values else []


def identify(entries: Iterable[Wanted], new_id: Callable[[], str]) -> list[Wanted]:
    """The same entries with an id for every machine and person that has none, the same one throughout."""
    given: dict[str, str] = {}
    found: list[Wanted] = []
    for kind, key, data in entries:
        if kind == "machine_set" and "machine" not in data:
            given[f"machine:{key}"] = new_id()
            data = {"machine": given[f"machine:{key}"], **data}
        elif kind == "person_set" and "person" not in data:
            data = {"person": new_id(), **data}
        elif kind == "settings" and key in given:
            data = {"machine": given[key], **data}
        found.append(Wanted(kind, key, data))
    return found


def commissionings(file: FleetFile, register: Register) -> list[Commissioning]:
    """The `commissioned` entries of machines that the register does not know yet.

    Raises FleetFileError if such a machine's row leaves out its battery or when it was commissioned.
    """
    found: list[Commissioning] = []
    for machine in file.machine:
        if machine.code in register.by_code:
            continue
        if machine.battery is None or machine.commissioned_at is None:
            raise FleetFileError(
                f'fleet file, [[machine]] "{machine.code}": battery and commissioned_at are needed to commission it. '
                "Nothing was changed."
            )
        data = {"site": machine.site, "battery": machine.battery, "code": machine.code}
        data = _given(data, serial=machine.serial, battery_set=machine.battery_set, warranty_from=machine.warranty_from)
        found.append(Commissioning(machine.code, parse(machine.commissioned_at), data))
    return found
