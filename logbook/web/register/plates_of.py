"""Which plates a fleet needs: those of the machines that are not retired, each with the word of its own site alone."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import phonenumbers
from sqlalchemy import Connection

from logbook.domain.register import MachineRecord
from logbook.intake import Intake
from logbook.web.plates import Plate, opens


def spaced(number: str | None) -> str | None:
    """A number as people read it, such as +1 902 555 0100; a carrier's short number stays as it is."""
    if not number:
        return None
    try:
        read = phonenumbers.parse(number, None)
    except phonenumbers.NumberParseException:
        return number
    return phonenumbers.format_number(read, phonenumbers.PhoneNumberFormat.INTERNATIONAL).replace("-", " ")


def plates_of(
    connection: Connection, intake: Intake, machines: Iterable[MachineRecord], *, line: str | None = None,
    address: str = "", at: Callable[[str], bool] = lambda _site: True,
) -> list[tuple[str, Plate]]:  # fmt: skip
    """(site, plate) of these machines, by site and code, for whoever has to do with the sites that `at` allows."""
    register = intake.registry.current(connection)
    found = []
    for machine in machines:
        fold = intake.watchman(connection, register, machine.uuid).machine
        if fold.retired_at is not None or fold.site not in register.sites or not at(fold.site):
            continue
        word = register.words.get(fold.site)
        plate = Plate(machine.code, register.sites[fold.site].name, spaced(line), word, opens(address, machine.code))
        found.append((fold.site, plate))
    return sorted(found)
