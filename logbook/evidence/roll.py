"""The roll call: every machine that the fleet's log names has a log, and goes by the plate that it was given there.

A log that was removed whole leaves no gap in any chain; but the fleet's log still names its machine. Pure.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from logbook.evidence.audit import Fault
from logbook.evidence.form import Formed


def named(entries: Iterable[Formed]) -> dict[str, str]:
    """Machine -> plate, as the fleet's log says it last."""
    found: dict[str, str] = {}
    for entry in entries:
        if entry.kind == "machine_set":
            machine, code = entry.data.get("machine"), entry.data.get("code")
            if isinstance(machine, str) and isinstance(code, str):
                found[machine] = code
    return found


def roll(machines: Mapping[str, str], logs: Mapping[str, str | None]) -> list[Fault]:
    """What is missing or wrong. `machines`: as `named` says; `logs`: machine -> plate of the logs that are there."""
    faults = []
    for machine, code in sorted(machines.items()):
        if machine not in logs:
            sentence = f"log {machine}: the fleet's log names this machine, {code}, and it has no log"
            faults.append(Fault(machine, 0, "", "no_log", sentence))
        elif logs[machine] != code:
            sentence = f"log {machine}: it goes by {logs[machine]} in the database, and by {code} in the fleet's log"
            faults.append(Fault(machine, 0, "", "column", sentence))
    return faults
