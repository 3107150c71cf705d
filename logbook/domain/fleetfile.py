"""FLEET.toml: the fleet as its owner writes it down, read or refused with one clear sentence.

Promises that a file which is read holds no unknown key, no code twice, no machine at an unknown site, no zone, night
or number of policy that cannot be; and that every sentence names the table, and the line where it can. What a
replay can do without (a machine's battery, the fleet's origin) is asked for only when the file is to become entries
of the log: see `logbook.domain.fleetentries`. It opens no file: it is given the text.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator, Sequence
from typing import Any

from pydantic import BaseModel, ValidationError
from rapidfuzz import process

from logbook.domain import codes
from logbook.domain.calendar import Nights, zone
from logbook.domain.entries.fleet import NightRule
from logbook.domain.fleettables import FleetFile, FleetTable, MachineTable, PersonTable, SiteTable
from logbook.domain.people import email_key
from logbook.domain.policy import PolicyError

__all__ = ["FleetFile", "FleetFileError", "MachineTable", "PersonTable", "SiteTable", "read"]


class FleetFileError(ValueError):
    """The file is refused as a whole; the message says where, why, and what to write."""


_TABLES: dict[str, type[BaseModel]] = {
    "fleet": FleetTable, "site": SiteTable, "machine": MachineTable, "person": PersonTable,
}  # fmt: skip


def read(text: str) -> FleetFile:
    """Read a fleet file. `code = "auto"` becomes the next free code, the same one each time for the same file.

    Raises FleetFileError with one sentence.
    """
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FleetFileError(f"the fleet file is broken TOML: {error}. Nothing was read.") from None
    try:
        file = FleetFile.model_validate(_with_codes(raw))
    except ValidationError as error:
        raise FleetFileError(_sentence(text, raw, error.errors()[0])) from None
    for table, index, key, what in _objections(file):
        end = "" if what.endswith("?") else "."
        raise FleetFileError(f"{_place(text, raw, table, index, key)}: {what}{end} Nothing was read.")
    return file


def _with_codes(raw: dict[str, Any]) -> dict[str, Any]:
    """The same, with `auto` answered: codes are given in the order of the file, skipping those it names.

    So the same file gives the same codes again, as long as new rows are added below the old ones.
    """
    rows = raw.get("machine")
    if not isinstance(rows, list) or not any(isinstance(row, dict) and row.get("code") == "auto" for row in rows):
        return raw
    named = {str(row.get("code")).upper() for row in rows if isinstance(row, dict)}
    lengths = [len(code) for code in named if codes.valid(code)]
    length = max(lengths) if lengths else next(n for n in codes.LENGTHS if n == 5 or len(rows) <= _ROOM[n])
    answered = []
    for row in rows:
        if isinstance(row, dict) and row.get("code") == "auto":
            row = {**row, "code": codes.generate(length, named)}
            named.add(row["code"])
        answered.append(row)
    return {**raw, "machine": answered}


_ROOM = {length: sum(1 for _ in codes.every(length)) for length in (3, 4)}


def _objections(file: FleetFile) -> Iterator[tuple[str, int | None, str, str]]:
    """What is wrong although each value is well formed: table, which one, key, and the rest of a sentence."""
    sites = {site.code for site in file.site}
    yield from _twice("site", "code", [site.code for site in file.site])
    yield from _twice("machine", "code", [machine.code for machine in file.machine])
    yield from _twice("person", "key", [person.key for person in file.person])
    yield from _twice("person", "phone", [person.phone for person in file.person])
    yield from _twice("person", "email", [person.email and email_key(person.email) for person in file.person])
    for index, site in enumerate(file.site):
        yield from _bad_nights("site", index, site.nights, site.zone)
    for index, machine in enumerate(file.machine):
        if machine.site not in sites:
            yield (
                "machine",
                index,
                "site",
                f'site "{machine.site}" stands in no [[site]] table{_near(machine.site, sites)}',
            )
            continue
        here = next(site for site in file.site if site.code == machine.site)
        yield from _bad_nights("machine", index, machine.nights or [], here.zone)
        yield from _bad_code(index, machine.code, file.machine)
    for index, person in enumerate(file.person):
        for code in person.sites or ():
            if code not in sites:
                yield "person", index, "sites", f'site "{code}" stands in no [[site]] table{_near(code, sites)}'


def _twice(table: str, key: str, values: Sequence[str | None]) -> Iterator[tuple[str, int, str, str]]:
    seen: set[str] = set()
    for index, value in enumerate(values):
        if value is None:
            continue
        if value.casefold() in seen:
            yield table, index, key, f'{key} "{value}" stands in another [[{table}]] table already'
        seen.add(value.casefold())


def _bad_nights(table: str, index: int, rules: list[NightRule], zone_name: str) -> Iterator[tuple[str, int, str, str]]:
    try:
        Nights(rules, zone(zone_name))
    except ValueError as error:
        yield table, index, "nights", str(error)


def _bad_code(index: int, code: str, machines: list[MachineTable]) -> Iterator[tuple[str, int, str, str]]:
    if not codes.plate_form(code):
        return
    if not codes.valid(code):
        right = codes.check_character(code[:-1])
        usable = codes.valid(code[:-1] + right)
        instead = f'write "{code[:-1]}{right}"' if usable else 'take another code, or write "auto"'
        yield "machine", index, "code", f'code "{code}" ends in the wrong check character; {instead}'
    first = next(machine.code for machine in machines if codes.valid(machine.code)) if codes.valid(code) else code
    if len(first) != len(code):
        yield "machine", index, "code", f'code "{code}" is not as long as "{first}"; one fleet uses one length'


def _near(text: str, known: set[str]) -> str:
    near = process.extractOne(text, sorted(known), score_cutoff=60)
    return f'; did you mean "{near[0]}"?' if near else ""


# -- sentences ------------------------------------------------------------------------------------------------------


_WANTED = {
    "from": "it is a time of the day like 22:00",
    "to": "it is a time of the day like 06:00",
    "code": "it is made of letters, digits, blanks and . _ -, and begins with a letter or digit",
    "language": "it is en or es",
}


def _sentence(text: str, raw: dict[str, Any], error: Any) -> str:
    """One clear sentence from the first thing that the form of the file refused."""
    where = error["loc"]
    table = str(where[0])
    index = where[1] if len(where) > 1 and isinstance(where[1], int) else None
    keys = [str(part) for part in where[(1 if index is None else 2) :]]
    key = keys[-1] if keys else table
    cause = error["ctx"]["error"] if error["type"] == "value_error" else None
    if isinstance(cause, PolicyError):
        key, what = cause.key, f"{cause.what}; {cause.instead}"
    elif cause is not None:
        what = str(cause)
    elif error["type"] == "extra_forbidden":
        what = f'"{key}" is no key of this table' + _other_keys(key, table, keys)
    elif error["type"] == "missing":
        what = f'"{key}" is missing'
    elif error["type"] == "list_type" and not keys and table in _TABLES:
        what = f"there may be several, so write [[{table}]] with two brackets"
    else:
        wanted = _WANTED.get(key, f"{error['msg'][0].lower()}{error['msg'][1:]}")
        what = f'"{".".join(keys) or table}" cannot be {_toml(error["input"])}: {wanted}'
    what += "" if what.endswith(("?", ".")) else "."
    return f"{_place(text, raw, table, index, key)}: {what} Nothing was read."


def _other_keys(key: str, table: str, keys: list[str]) -> str:
    if len(keys) > 1:
        return ""
    known = _TABLES[table].model_fields if keys and table in _TABLES else FleetFile.model_fields
    return _near(key, set(known)) or f"; it has {', '.join(known)}"


def _toml(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, default=str)


def _place(text: str, raw: dict[str, Any], table: str, index: int | None, key: str) -> str:
    """Where in the file, as `fleet file, line 12, [[machine]] "B7H"`."""
    name = f"[{table}]" if index is None else f"[[{table}]] number {index + 1}"
    if index is not None and isinstance(raw.get(table), list):
        row = raw[table][index]
        called = row.get("code") or row.get("key") if isinstance(row, dict) else None
        name = f'[[{table}]] "{called}"' if called and called != "auto" else name
    line = _line(text, table, index, key)
    return f"fleet file{f', line {line}' if line else ''}, {name}"


def _line(text: str, table: str, index: int | None, key: str) -> int | None:
    """The line of a key in a table, else of the table's header, else None (tables can be written inline)."""
    header = re.compile(rf"\s*\[{{1,2}}\s*{re.escape(table)}\s*\]")
    below = re.compile(rf"\s*\[{{1,2}}\s*{re.escape(table)}\s*\.")
    wanted = re.compile(rf'(?:.*[{{,])?\s*["\']?{re.escape(key)}["\']?\s*=')
    seen, inside, found = -1, False, None
    for number, line in enumerate(text.splitlines(), start=1):
        if header.match(line):
            seen += 1
            inside = seen == (index or 0)
            found = number if inside else found
        elif inside and wanted.match(line):
            return number
        elif line.lstrip().startswith("[") and not below.match(line):
            inside = False
    return found
