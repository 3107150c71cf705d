"""What the rows of a fleet's spreadsheet would add or change, line by line. Pure.

Promises that what is imported is said by the same tables as a fleet file, that a formula is never taken for a value,
and that a line that is wrong says why and spoils no other.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from logbook.domain import codes
from logbook.domain.fleetentries import Wanted, differences
from logbook.domain.fleettables import FleetFile, MachineTable, PersonTable, SiteTable
from logbook.domain.instants import Instant
from logbook.domain.instants import text as instant_text
from logbook.domain.policy import PolicyError
from logbook.domain.register import Register
from logbook.web.register.preview import rules_of
from logbook.web.register.sheets import Row


@dataclass(frozen=True, slots=True)
class Line:
    """A line and what it does: added, changed, same, or wrong and then why."""

    number: int
    what: str
    name: str
    does: str
    why: str = ""


def plan(rows: list[Row], register: Register, now: Instant) -> tuple[list[Line], FleetFile, list[Row]]:
    """What the rows would do, line by line; the fleet they make of today's; and the rows with what was left open filled in."""
    lines: list[Line] = []
    sites = {s.code: _site_now(register, s.code) for s in register.sites.values()}
    machines: dict[str, MachineTable] = {}
    people: dict[str, PersonTable] = {}
    firm: list[Row] = []
    taken = {*register.by_code, *(r.get("code", "").upper() for r in rows if r.get("what") == "machine")}
    length = max((len(c) for c in taken if codes.valid(c)), default=3)
    for raw in rows:
        row, what, number = dict(raw), raw.get("what", "").lower(), _line(raw)
        if what == "machine" and not row.get("code"):
            row["code"] = codes.generate(length, taken)
            taken.add(row["code"])
        if what == "machine" and row["code"].upper() not in register.by_code:
            row.setdefault("commissioned_at", instant_text(now))
        name = row.get("code", "")
        try:
            if any(value.startswith("=") for value in row.values()):
                raise ValueError("a formula stands in this row; put its value there")
            if what == "site":
                if name in sites and name not in register.sites:
                    raise ValueError("this site stands in a row above already")
                sites[name] = _site(row, sites.get(name))
            elif what == "machine":
                name = row["code"] = name.upper()
                if name in machines:
                    raise ValueError("this machine stands in a row above already")
                if row.get("site") not in sites:
                    raise ValueError(f"there is no site {row.get('site', '')!r} in the fleet or in a row above")
                if codes.plate_form(name) and not codes.valid(name):
                    raise ValueError("the code ends in the wrong check character; leave it empty to be given one")
                machines[name] = _machine(row, register)
            elif what == "person":
                if name in people:
                    raise ValueError("this person stands in a row above already")
                theirs = row.get("site", "").replace(";", " ").split()
                unknown = [s for s in theirs if s not in sites]
                if unknown:
                    raise ValueError(f"there is no site {unknown[0]!r} in the fleet or in a row above")
                people[name] = _person(row, theirs, register)
            else:
                raise ValueError("the column what says site, machine or person")
        except ValidationError as error:
            lines.append(Line(number, what, name, "wrong", _sentence(error)))
            continue
        except ValueError as error:
            lines.append(Line(number, what, name, "wrong", str(error)))
            continue
        lines.append(Line(number, what, name, ""))
        firm.append(row)
    file = FleetFile.model_validate(
        {
            "fleet": {"name": register.name, "origin": register.origin, "language": register.language}
            | ({"witness": register.witness} if register.witness else {}),
            "policy": dict(register.settings()),
            "site": list(sites.values()),
            "machine": list(machines.values()),
            "person": list(people.values()),
        }
    )
    wanting = {(w.kind.partition("_")[0], w.key): w for w in differences(file, register)}
    return [_judged(line, wanting, register) for line in lines], file, firm


def _line(row: Row) -> int:
    """The row's number, as the form brought it back."""
    said = row.get("line", "")
    return int(said) if said.isascii() and said.isdigit() and len(said) < 7 else 0


def _judged(line: Line, wanting: dict[tuple[str, str], Wanted], register: Register) -> Line:
    if line.does:
        return line
    entry = wanting.get((line.what, line.name))
    if line.what == "site":
        before = line.name in register.sites
    elif line.what == "machine":
        before = line.name in register.by_code
    else:
        before = entry is None or "person" in entry.data
    return Line(line.number, line.what, line.name, "same" if entry is None else "changed" if before else "added")


def _site_now(register: Register, code: str) -> SiteTable:
    site = register.sites[code]
    order = {"order": json.loads(site.order)} if site.order else {}
    return SiteTable.model_validate(
        {
            "code": code,
            "name": site.name,
            "zone": site.zone,
            "nights": rules_of(site.nights),
            "policy": dict(register.settings(site=code)),
            **order,
        }
    )


def _site(row: Row, known: SiteTable | None) -> SiteTable:
    data: dict[str, Any] = {} if known is None else known.model_dump(by_alias=True, exclude_none=True)
    data |= {name: row[name] for name in ("code", "name", "zone") if name in row}
    if row.get("night_from") and row.get("night_to"):
        data["nights"] = [{"rule": "FREQ=DAILY", "from": row["night_from"], "to": row["night_to"], "except": []}]
    return SiteTable.model_validate(data)


def _machine(row: Row, register: Register) -> MachineTable:
    data: dict[str, Any] = {
        n: row[n]
        for n in ("code", "site", "battery", "serial", "battery_set", "warranty_from", "commissioned_at")
        if n in row
    }
    known = register.by_code.get(row["code"])
    if known is None and "battery" not in row:
        raise ValueError("a new machine's battery is flooded, sealed or lithium; say which")
    if known is not None:
        data["policy"] = dict(register.settings(machine=known.uuid))
        if known.nights is not None:
            data["nights"] = rules_of(known.nights)
        if known.segments is not None:
            data["segments"] = known.segments.model_dump(exclude_none=True)
    return MachineTable.model_validate(data)


def _person(row: Row, sites: list[str], register: Register) -> PersonTable:
    known = register.person_by_key(row.get("code", ""))
    data: dict[str, Any] = {"key": row.get("code", ""), "sites": sites}
    if known is not None:
        kept = {
            "name": known.name,
            "role": known.role,
            "language": known.language,
            "phone": known.phone,
            "email": known.email,
            "quiet": known.quiet,
            "word": known.word,
        }
        data |= {n: v for n, v in kept.items() if v is not None}
        data["sites"] = sites or list(known.sites)
    data |= {n: row[n] for n in ("name", "role", "language", "phone", "email") if n in row}
    made = PersonTable.model_validate(data)
    other = register.person_by_phone(made.phone) if made.phone else None
    if other is not None and other.key is not None and other.key != made.key:
        raise ValueError("somebody else has this phone number")
    return made


def _sentence(error: ValidationError) -> str:
    first = error.errors()[0]
    cause = first.get("ctx", {}).get("error")
    if isinstance(cause, PolicyError | ValueError):
        return str(cause)
    where = ".".join(str(part) for part in first["loc"])
    return f"{where}: {first['msg']}"
