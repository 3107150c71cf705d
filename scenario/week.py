"""How much rings: messages a week for sixty machines, when so many of the acts that were done are also told.

Everything is done, every night, on every machine; only the telling varies. So whatever is written to anybody is
about silence, and at 100 % there must be nothing to write but what is true. Run it as
`python -m scenario.week`; it drives the live engine (intake, clock, gathering, letters) on a scratch database by a
virtual clock, through a week to settle and two weeks that are counted.
"""

from __future__ import annotations

import json
import random
import sys
import tempfile
import uuid
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from logbook.bootstrap import Program, program
from logbook.domain import codes
from logbook.domain.fleetfile import read
from logbook.domain.instants import DAY, HOUR, MINUTE, Instant, parse
from logbook.intake import By, Draft
from logbook.intake.fleet import apply
from logbook.store import alerts, migrate, outbox

MACHINES, SITES, SUPERVISORS = 60, 20, 3
FIRST_NOON = parse("2026-04-06T15:00:00Z")  # a Monday, noon in Halifax
SETTLING, COUNTED = 7, 14  # nights
Act = tuple[Instant, int, str, dict[str, object]]
"""(when, machine, kind, data)"""
END_ACTS = ("empty", "rinse", "squeegee", "charge", "put_away")


def fleet() -> str:
    """The invented fleet: three machines a site, a cleaner a site, three supervisors, an owner."""
    lines = ["[fleet]", 'name = "Strait Ferries"', 'origin = "ferry.example/week"', 'language = "en"']
    for site in range(SITES):
        zone = "America/Halifax" if site % 2 else "America/St_Johns"
        lines += [
            "[[site]]", f'code = "pier-{site + 1}"', f'name = "Pier {site + 1}"', f'zone = "{zone}"',
            'nights = [{rule = "FREQ=DAILY", from = "22:00", to = "06:00"}]',
        ]  # fmt: skip
    taken: set[str] = set()
    for machine in range(MACHINES):
        code = codes.generate(3, taken)
        taken.add(code)
        lines += [
            "[[machine]]", f'code = "{code}"', f'site = "pier-{machine % SITES + 1}"', 'battery = "flooded"',
            'commissioned_at = "2026-04-06T15:00:00Z"',
        ]  # fmt: skip
    for site in range(SITES):
        lines += ["[[person]]", f'key = "cleaner-{site + 1}"', 'role = "cleaner"', f'sites = ["pier-{site + 1}"]',
                  f'email = "cleaner-{site + 1}@ferry.example"']  # fmt: skip
    for number in range(SUPERVISORS):
        sites = json.dumps([f"pier-{site + 1}" for site in range(SITES) if site % SUPERVISORS == number])
        lines += ["[[person]]", f'key = "supervisor-{number + 1}"', 'role = "supervisor"', f"sites = {sites}",
                  f'email = "supervisor-{number + 1}@ferry.example"']  # fmt: skip
    lines += ["[[person]]", 'key = "owner"', 'role = "owner"', 'email = "owner@ferry.example"']
    return "\n".join(lines)


def acts(draw: random.Random, told: float) -> list[Act]:
    """(when, machine, kind, data) of everything that is told: all is done, and each act is told with this chance."""
    found: list[Act] = []
    for machine in range(MACHINES):
        # Weekly care falls on one weekday a machine, within the week of the last; segments every second week.
        weekday, wear = draw.randrange(6), 12_000 - draw.randrange(2_000)
        for night in range(SETTLING + COUNTED):
            begins = FIRST_NOON + night * DAY + 10 * HOUR + draw.randrange(5, 50) * MINUTE
            ends = begins + draw.randrange(300, 420) * MINUTE
            done: list[tuple[Instant, str, dict[str, object]]] = [(begins, "start", {})]
            done += [(ends + n * MINUTE, kind, {}) for n, kind in enumerate(END_ACTS)]
            if night % 7 == weekday or night == 0:
                done += [(ends - 9 * MINUTE, "watering", {"water_ml": 1_500 + draw.randrange(800)})]
                done += [(ends - 8 * MINUTE, "filter", {})]
            if night % 7 == weekday:
                done += [(ends - 7 * MINUTE, "segments", {"left_um": [wear - 60 * night]})]
            found += [(at, machine, kind, data) for at, kind, data in done if draw.random() < told]
    return sorted(found, key=lambda act: act[:2])


def run(told: float, seed: int = 7) -> tuple[Counter[tuple[str, str]], int]:
    """Messages of the counted weeks by (role, kind), and the alerts raised in them, with so much told."""
    clock = [FIRST_NOON]
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'week.sqlite'}"
        migrate.upgrade(url)
        draw = random.Random(f"{seed} {told}")
        ids = lambda: str(uuid.UUID(int=draw.getrandbits(128), version=4))  # noqa: E731
        logbook = program(url, now=lambda: clock[0], ids=ids)
        try:
            apply(logbook.intake, read(fleet()))
            return _lived(logbook, clock, acts(draw, told), ids)
        finally:
            logbook.close()


def _lived(
    logbook: Program, clock: list[Instant], told: list[Act], ids: Callable[[], str]
) -> tuple[Counter[tuple[str, str]], int]:
    with logbook.store.read() as connection:
        register = logbook.registry.current(connection)
        machines = list(register.machines)
        cleaners = [register.person_by_key(f"cleaner-{site + 1}") for site in range(SITES)]
    for at, machine, kind, data in told:
        _wait(logbook, clock, at)
        person = cleaners[machine % SITES]
        if person is None:
            raise LookupError("the invented fleet has a cleaner a site")
        logbook.intake.record([Draft(ids(), machines[machine], kind, data)], By(person.uuid, "cleaner", "text"))
    until = FIRST_NOON + (SETTLING + COUNTED) * DAY
    _wait(logbook, clock, until)
    since = FIRST_NOON + SETTLING * DAY
    with logbook.store.read() as connection:
        sent = outbox.latest(connection, 1_000_000)
        roles = {uuid_: person.role for uuid_, person in register.people.items()}
        counted = Counter((roles[m.person or ""], m.kind) for m in sent if since < m.queued_at <= until)
        return counted, len(alerts.raised_between(connection, since, until))


def _wait(logbook: Program, clock: list[Instant], until: Instant) -> None:
    """The clock wakes whenever something is due, up to `until`."""
    while True:
        following = logbook.step(clock[0]).next_at
        if following is None or following >= until:
            clock[0] = until
            return
        clock[0] = max(following, clock[0] + 1)


def table(shares: tuple[float, ...] = (0.7, 0.8, 0.9, 1.0)) -> str:
    """The table, as Markdown: messages a week, a person."""
    heads = {"cleaner": SITES, "supervisor": SUPERVISORS, "owner": 1}
    kinds = (
        ("cleaner", "reminder"),
        ("supervisor", "alert"),
        ("supervisor", "letter"),
        ("owner", "alert"),
        ("owner", "letter"),
    )
    lines = [
        "| acts told | alerts in the log | " + " | ".join(f"{role}: {kind}s" for role, kind in kinds) + " |",
        "|---|---|" + "---|" * len(kinds),
    ]
    for share in shares:
        counted, raised = run(share)
        weeks = COUNTED / 7
        each = [f"{counted[role, kind] / heads[role] / weeks:.1f}" for role, kind in kinds]
        lines.append(f"| {share:.0%} | {raised / weeks:.0f} | " + " | ".join(each) + " |")
        print(lines[-1], file=sys.stderr)
    return "\n".join(lines)


if __name__ == "__main__":
    print(table())
