"""What newcomers cost a supervisor: sixty sites, one cleaner each, some of them new every week.

A newcomer either gives the word on the plate first (one text), and the supervisor answers OK and four digits; or just
reports, is kept aside and told so once, and the supervisor says next noon whose texts they are. Run it as
`python -m scenario.turnover`; the texts go through the real desk on a scratch database.
"""

from __future__ import annotations

import random
import tempfile
import uuid
from pathlib import Path

from logbook.bootstrap import Program, program
from logbook.channels.desk import Desk, Message
from logbook.channels.desk.message import WAITING_FOR_NOBODY
from logbook.domain import codes
from logbook.domain.fleetfile import read
from logbook.domain.instants import DAY, HOUR, MINUTE, Instant, parse
from logbook.intake import PROGRAM, Draft
from logbook.intake.fleet import apply
from logbook.store import heard, migrate

SITES = 60
NOON = parse("2026-04-06T15:00:00Z")
SUPERVISOR = "+19025550199"
NIGHTLY = ("start", "empty, rinse, squeegee", "charge, parked")
"""What one cleaner texts in a night, in three texts."""


def _number(site: int, week: int) -> str:
    """Invented numbers: 555-01xx is kept for invention; with sixty sites the area codes make the difference."""
    return f"+1{902 + site % 3 * 10}555{100 + site // 3 + 20 * week:04d}"


def fleet(plates: list[str]) -> str:
    """One machine a site, one known cleaner a site, one supervisor of all."""
    lines = ["[fleet]", 'name = "Strait Ferries"', 'origin = "ferry.example/turnover"', 'language = "en"']
    for site in range(SITES):
        lines += ["[[site]]", f'code = "pier-{site}"', f'name = "Pier {site}"', 'zone = "America/Halifax"']
    for site, plate in enumerate(plates):
        lines += [
            "[[machine]]", f'code = "{plate}"', f'site = "pier-{site}"', 'battery = "sealed"',
            'commissioned_at = "2026-04-06T15:00:00Z"', "[[person]]", f'key = "cleaner-{site}"', 'role = "cleaner"',
            f'sites = ["pier-{site}"]', f'phone = "{_number(site, 0)}"',
        ]  # fmt: skip
    lines += [
        "[[person]]",
        'key = "jo"',
        'role = "supervisor"',
        f'phone = "{SUPERVISOR}"',
        'email = "jo@ferry.example"',
    ]
    return "\n".join(lines)


def week(turnover: float, by_word: float, seed: int = 7) -> dict[str, int]:
    """One week. `turnover`: share of cleaners who are new in it; `by_word`: share of those who begin with the word."""
    draw = random.Random(f"{seed} {turnover} {by_word}")
    clock = [NOON]
    plates: list[str] = []
    for _site in range(SITES):
        plates.append(codes.generate(3, set(plates)))
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'turnover.sqlite'}"
        migrate.upgrade(url)
        logbook = program(url, now=lambda: clock[0], routes=frozenset({"mail", "text"}))
        try:
            apply(logbook.intake, read(fleet(plates)))
            with logbook.store.read() as connection:
                log = logbook.registry.fleet(connection)
            words = [
                Draft(str(uuid.uuid4()), log, "join_word", {"site": f"pier-{n}", "word": f"gannet{n}"})
                for n in range(SITES)
            ]
            logbook.intake.record(words, PROGRAM)
            logbook.desk = Desk(logbook.intake, {"gateway": "text"})
            return _lived(logbook, clock, plates, draw, turnover, by_word)
        finally:
            logbook.close()


def _lived(
    logbook: Program, clock: list[Instant], plates: list[str], draw: random.Random, turnover: float, by_word: float
) -> dict[str, int]:
    counted = dict.fromkeys(("newcomers", "texts", "kept aside", "answers OK", "kept texts settled", "words typed"), 0)
    new = {site: draw.randrange(7) for site in range(SITES) if draw.random() < turnover}
    joined = {site for site in new if draw.random() < by_word}
    counted["newcomers"] = len(new)

    def send(number: str, text: str, at: Instant) -> str:
        clock[0] = max(clock[0], at)
        counted["texts"] += 1
        return logbook.desk.take(Message(str(uuid.uuid4()), "gateway", number, text, clock[0])).outcome

    known: set[int] = set()
    for night in range(7):
        evening = NOON + night * DAY + 10 * HOUR
        for site in range(SITES):
            number = _number(site, 1 if site in new and night >= new[site] else 0)
            if site in joined and night == new[site]:
                send(number, f"join gannet{site} Newcomer", evening)
        for turn, text in enumerate(NIGHTLY):
            for site, plate in enumerate(plates):
                number = _number(site, 1 if site in new and night >= new[site] else 0)
                outcome = send(number, f"{plate} {text}", evening + turn * 3 * HOUR + site * MINUTE)
                counted["kept aside"] += outcome not in WAITING_FOR_NOBODY
        # Next noon the supervisor deals with what waits.
        clock[0] = NOON + (night + 1) * DAY
        _settle(logbook, clock, new, joined, known, night, counted)
    return counted


def _settle(
    logbook: Program, clock: list[Instant], new: dict[int, int], joined: set[int], known: set[int], night: int,
    counted: dict[str, int],
) -> None:  # fmt: skip
    for site in [site for site, first in new.items() if first == night and site in joined]:
        answer = f"ok {_number(site, 1)[1:]}"
        logbook.desk.take(Message(str(uuid.uuid4()), "gateway", SUPERVISOR, answer, clock[0]))
        counted["answers OK"] += 1
        counted["words typed"] += 2
    with logbook.store.read() as connection:
        register = logbook.registry.current(connection)
        waiting = [row for row in heard.latest(connection, most=10_000) if row.outcome not in WAITING_FOR_NOBODY]
    for row in waiting:
        site = next((site for site in new if _number(site, 1) == row.sender), None)
        person = register.person_by_key(f"cleaner-{site}") if site is not None else None
        if person is not None and logbook.desk.take_as(row.id, person) is not None:
            counted["kept texts settled"] += 1
            counted["words typed"] += 4  # texts take ID --as KEY
            known.add(site or 0)


def table() -> str:
    """The table, as Markdown."""
    rows = [
        "| new in the week | begin with the word | newcomers | texts | kept aside | OK answered | settled by hand | words typed |"
    ]
    rows.append("|---|---|---|---|---|---|---|---|")
    for turnover in (0.05, 0.1, 0.2):
        for by_word in (1.0, 0.5):
            c = week(turnover, by_word)
            rows.append(
                f"| {turnover:.0%} | {by_word:.0%} | {c['newcomers']} | {c['texts']} | {c['kept aside']} | "
                f"{c['answers OK']} | {c['kept texts settled']} | {c['words typed']} |"
            )
    return "\n".join(rows)


if __name__ == "__main__":
    print(table())
