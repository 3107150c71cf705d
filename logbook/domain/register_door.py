"""What may not enter the fleet's log although its form is right, and the sentence for it.

Every entry of the register's is in force for ever from the moment it is recorded, and nothing strikes one again. So
a zone that does not exist, a night rule that never comes or a number that makes no sense is turned away here, before
it is recorded: the register itself never refuses to read what a log holds. Pure, and silent about who may do it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from logbook.domain import codes
from logbook.domain.calendar import zone
from logbook.domain.people import phone_key
from logbook.domain.policy import PolicyError, check_change
from logbook.domain.policy_forms import quiet_of
from logbook.domain.register import Register, calendar_of, rule_keys


def objection(register: Register, kind: str, data: Mapping[str, Any], private: Mapping[str, str]) -> str | None:
    """Why an entry must not be recorded, as a sentence, or None if nothing speaks against it.

    `data` has passed its kind's own check; `private` holds the words that are kept apart.
    """
    try:
        _object(register, kind, data, private)
    except PolicyError as error:
        return str(error)
    except ValueError as error:
        return f"{error}. Nothing was changed."
    return None


def _object(register: Register, kind: str, data: Mapping[str, Any], private: Mapping[str, str]) -> None:
    match kind:
        case "fleet_founded":
            if register.origin and data["origin"] != register.origin:
                raise ValueError(f"this log is known as {register.origin!r} for ever")
        case "site_set":
            calendar_of(rule_keys(data.get("nights") or ()), zone(data["zone"]).key)
        case "machine_set":
            _machine(register, data)
        case "settings":
            check_change(data["values"])
            if data.get("site") is not None:
                _site(register, data["site"])
            if data.get("machine") is not None and data["machine"] not in register.machines:
                raise ValueError(f"the register knows no machine {data['machine']}")
        case "join_word" | "joined":
            _site(register, data["site"])
            _reachable(data, private)
        case "person_set":
            for site in data.get("sites") or ():
                _site(register, site)
            _reachable(data, private)
            known = register.person_by_key(private.get("key", ""))
            if known is not None and known.uuid != data["person"]:
                raise ValueError(f"another person has the key {private['key']!r}; keys are one person's each")
        case "person_left" | "accepted" | "set_aside" | "opted_out" | "opted_in":
            if data["person"] not in register.people:
                raise ValueError(f"the register knows no person {data['person']}")


def _site(register: Register, site: str) -> None:
    if site not in register.sites:
        known = ", ".join(sorted(register.sites)) or "none yet"
        raise ValueError(f"the register knows no site {site!r}; it knows {known}")


def _machine(register: Register, data: Mapping[str, Any]) -> None:
    code, uuid = data["code"], data["machine"]
    for known in register.machines.values():
        if known.uuid != uuid and known.code.casefold() == code.casefold():
            raise ValueError(f"another machine has the code {code!r}; two plates alike would mix up two logs")
    if codes.plate_form(code) and not codes.valid(code):
        raise ValueError(f"the code {code!r} ends in the wrong check character")
    # Zones do not matter to whether a rule can be read; any will do.
    calendar_of(rule_keys(data.get("nights") or ()), "UTC")


def _reachable(data: Mapping[str, Any], private: Mapping[str, str]) -> None:
    if private.get("phone"):
        phone_key(private["phone"])
    if data.get("quiet"):
        quiet_of(data["quiet"])
