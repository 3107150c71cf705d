"""Examining an installation: database, clock, mail, zones, people, queue. Each finding says what to do about it.

It changes nothing but what `send_trial` sends. Showing it is `logbook.command.doctor`.
"""

from __future__ import annotations

import asyncio
import shutil
import socket
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import timedelta
from importlib import metadata
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Literal
from urllib.parse import urlsplit

from sqlalchemy import text as sql

from logbook.bootstrap import Program
from logbook.channels.desk.message import WAITING_FOR_NOBODY
from logbook.config import Config
from logbook.domain import calendar
from logbook.domain.instants import DAY, Instant, to_datetime
from logbook.domain.people import Person
from logbook.domain.register import Register
from logbook.domain.wording.messages import trial_message
from logbook.store import StoreError, heard, log, outbox
from logbook.watch.health import health
from logbook.watch.roster import ways
from logbook.watch.routes import Again, Outgoing, Refused, Route, Sent

State = Literal["well", "look", "wrong"]
_LOOPBACK = {"127.0.0.1", "::1", "localhost"}
_LITTLE = 512 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing looked at. `look`: works, but somebody should know; `wrong`: something is not done because of it."""

    what: str
    state: State
    found: str
    do: str = ""

    def as_json(self) -> dict[str, Any]:
        """The finding as an object."""
        return asdict(self)


def examine(program: Program, config: Config, routes: Sequence[Route], now: Instant) -> list[Finding]:
    """Look at database, clock, mail, zones, people and queue."""
    found = [
        *_database(program), _clock(program, now), *_routes(config, routes), *_ways_in(config, program),
        *_zones(program, now),
    ]  # fmt: skip
    try:
        with program.store.read() as connection:
            register = program.registry.current(connection)
    except LookupError:
        return [
            *found,
            Finding("fleet", "wrong", "There is no fleet in this database.", "Run `logbook fleet apply FLEET.toml`."),
        ]
    return [*found, *_people(register, routes), *_queue(program, now)]


def _database(program: Program) -> list[Finding]:
    found = []
    try:
        with program.store.read() as connection:
            if program.store.is_sqlite:
                answer = connection.execute(sql("PRAGMA quick_check(1)")).scalar()
                good = answer == "ok"
                do = "" if good else "Copy the file away, put the last backup back, and run `logbook audit` over both."
                found.append(Finding("database", "well" if good else "wrong", f"SQLite says: {answer}", do))
                file = Path(str(program.store.url.database)).resolve()
                free = shutil.disk_usage(file.parent).free
                if free < _LITTLE:
                    found.append(
                        Finding("disk", "wrong", f"{free // 1_000_000} MB are left beside the database.",
                                "Free some space: when the disk is full, entries are refused.")
                    )  # fmt: skip
            else:
                version = connection.execute(sql("SHOW server_version")).scalar()
                found.append(Finding("database", "well", f"PostgreSQL {version} answers"))
            missed = log.unlisted(connection)
            if missed:
                found.append(
                    Finding(
                        "ids",
                        "wrong",
                        f"{len(missed)} entries are missing from the list of ids.",
                        "Run `logbook audit`.",
                    )
                )
    except StoreError as why:
        found.append(Finding("database", "wrong", str(why), "Nothing else works until it answers."))
    return found


def _clock(program: Program, now: Instant) -> Finding:
    state = health(program.store, now)
    if state.well:
        return Finding("clock", "well", f"The last step was {state.step_age_s} s ago.")
    return Finding("clock", "wrong", f"{state.why[:1].upper()}{state.why[1:]}.", "Start it, or see its log.")


def _routes(config: Config, routes: Sequence[Route]) -> list[Finding]:
    if not routes:
        return [
            Finding("mail", "wrong", "No mail server is set: alerts are raised, but reach nobody.",
                    "Set [mail] in logbook.toml, or LOGBOOK_MAIL_HOST and the rest.")
        ]  # fmt: skip
    found = []
    for route in routes:
        trouble = asyncio.run(route.trial())
        good, whose = _other_side(config, route)
        if trouble is None:
            found.append(Finding(route.name, "well", good))
        else:
            do = (
                f"It is tried again by itself. If it stays so, look after {whose}."
                if isinstance(trouble, Again)
                else "Mend the setting; what waits is not lost."
            )
            found.append(Finding(route.name, "wrong", f"{trouble.reason}.", do))
    return found


def _other_side(config: Config, route: Route) -> tuple[str, str]:
    """What to say of a way out that is well, and whom to look after where it is not."""
    if route.name == "mail" and config.mail is not None:
        return f"{config.mail.host}:{config.mail.to_port} took our login and sender.", "the mail server"
    if route.name == "text" and config.gateway is not None and config.gateway.out is not None:
        return f"The gateway at {urlsplit(config.gateway.out.url).netloc} would take a text from us.", "the gateway"
    if route.name == "text" and config.modem is not None:
        return "The modem's daemon is at work, and its tables can be used.", "the modem and its daemon"
    return f"{route.name} can be sent by.", "the other side"


def _ways_in(config: Config, program: Program) -> list[Finding]:
    """Each way by which texts come in, as far as it can be tried from here."""
    found = []
    if config.gateway is not None and config.gateway.inward is not None:
        place = f"{config.gateway.host}:{config.gateway.port}"
        try:
            socket.create_connection((config.gateway.host, config.gateway.port), timeout=3).close()
            found.append(Finding("texts in", "well", f"The gateway's posts are listened for at {place}."))
        except OSError as why:
            do = "Start `logbook serve`, or see its log; then have the gateway send a trial text."
            found.append(Finding("texts in", "wrong", f"Nothing listens at {place}: {why.strerror or why}.", do))
    found += _pages(config)
    if config.mail_in is not None:
        from logbook.channels.mail_in.mailbox import Mailbox  # needs the extra `mail-in`

        mailbox = Mailbox(
            config.mail_in, take=program.desk.take, keep_aside=program.desk.keep_aside, now=program.now
        )  # fmt: skip
        trouble = mailbox.trial()
        if trouble is None:
            found.append(Finding("mail in", "well", "The mailbox can be read."))
        else:
            found.append(Finding("mail in", "wrong", trouble, "Mend [mail_in]; what waits in the mailbox is not lost."))
    return found


def _pages(config: Config) -> list[Finding]:
    """The pages: whether they are served, and whether links that are sent lead to them."""
    if config.web is None:
        do = "None are needed for texts. To have them, add a table [web] to logbook.toml (deploy/pages.md)."
        return [Finding("pages", "look", "No pages are served.", do)]
    if find_spec("fastapi") is None:
        do = "Install it, or take [web] out of the settings: `logbook serve` does not start like this."
        return [Finding("pages", "wrong", "The pages need machine-logbook[web], which is not installed.", do)]
    place = f"{config.web.host}:{config.web.port}"
    found = []
    try:
        socket.create_connection((config.web.host, config.web.port), timeout=3).close()
        found.append(Finding("pages", "well", f"The pages are served at {place}."))
    except OSError as why:
        do = "Start `logbook serve`, or see its log."
        found.append(Finding("pages", "wrong", f"Nothing is served at {place}: {why.strerror or why}.", do))
    if config.web.host not in _LOOPBACK:
        do = "Whoever is on that network can read along. Listen on 127.0.0.1 behind a reverse proxy, but for a trial."
        found.append(Finding("pages", "look", f"They listen at {place} themselves, without encryption.", do))
    if not config.base_address:
        do = "Set base_address to the address by which phones reach the pages (deploy/pages.md)."
        found.append(Finding("links", "wrong", "No link can be sent, and plates bear no code to scan.", do))
    elif config.base_address.startswith("http:"):
        do = "Put a reverse proxy with a certificate in front (deploy/pages.md), and set base_address to https."
        found.append(Finding("links", "look", "The pages are reached without encryption.", do))
    return found


def _zones(program: Program, now: Instant) -> list[Finding]:
    found = [Finding("zone data", "well", f"tzdata {metadata.version('tzdata')}")]
    release = metadata.version("tzdata").split(".")
    age = to_datetime(now).year * 12 + to_datetime(now).month - (int(release[0]) * 12 + 1)
    if age > 24:
        found = [
            Finding(
                "zone data", "look", f"tzdata {'.'.join(release)} is old.", "Update it: governments move their clocks."
            )
        ]
    try:
        with program.store.read() as connection:
            sites = program.registry.current(connection).sites.values()
    except (LookupError, StoreError):
        return found
    for site in sites:
        try:
            zone = calendar.zone(site.zone)
        except ValueError as why:
            found.append(Finding(f"zone of {site.code}", "wrong", str(why), "Set the site's zone again."))
            continue
        here = to_datetime(now).astimezone(zone)
        change = next((d for d in range(1, 15) if (here + timedelta(days=d)).utcoffset() != here.utcoffset()), None)
        if change is not None:
            day = (here + timedelta(days=change)).date()
            found.append(
                Finding(
                    f"zone of {site.code}",
                    "look",
                    f"Clocks change by {day}.",
                    "Nothing to do; nights then differ by an hour.",
                )
            )
    if abs(time.time() - now / 1_000_000) > 5:
        found.append(Finding("time", "look", "The instant examined is not the system's time."))
    return found


def _people(register: Register, routes: Sequence[Route]) -> list[Finding]:
    members = [person for person in register.people.values() if person.state == "member"]
    found = [
        Finding("fleet", "look", f"There is no {what} yet.", "Add one in the Register, or by `logbook fleet apply`.")
        for what, there in (
            ("site", register.sites), ("machine", register.machines),
            ("cleaner", [person for person in members if person.role == "cleaner"]),
        ) if not there
    ]  # fmt: skip
    can = {route.name for route in routes}
    for site in register.sites.values():
        who = [person for role in ("supervisor", "owner") for person in register.who(role, site.code)]
        reached = [person for person in who if any(way in can for way, _address in ways(person))]
        if not reached:
            found.append(
                Finding(f"people of {site.code}", "wrong", f"Nobody can be told of an alert at {site.name}.",
                        "Give a supervisor or owner an address by a way that is set.")
            )  # fmt: skip
    found += [
        Finding(
            "opted out", "look", f"A {person.role} takes no more messages by {', '.join(sorted(person.opted_out))}.",
            "Their alerts go by another way, or to the next in line.",
        )
        for person in register.people.values()
        if person.state == "member" and person.role != "cleaner" and person.opted_out
    ]  # fmt: skip
    if register.sites and not any(each.state == "wrong" for each in found):
        found.append(Finding("people", "well", "Every site has somebody who can be told."))
    return found


def _queue(program: Program, now: Instant) -> list[Finding]:
    with program.store.read() as connection:
        counts = outbox.counts(connection)
        oldest = outbox.oldest(connection)
        aside = [row for row in heard.latest(connection, most=200) if row.outcome not in WAITING_FOR_NOBODY]
    failed = sum(number for (_route, state), number in counts.items() if state == "failed")
    waiting = sum(number for (_route, state), number in counts.items() if state == "waiting")
    found = []
    if failed:
        found.append(
            Finding(
                "outbox", "look", f"{failed} messages reached nobody.", "See `logbook alerts`; check the addresses."
            )
        )
    if oldest is not None and now - oldest > DAY // 24:
        found.append(
            Finding(
                "outbox",
                "wrong",
                f"{waiting} messages wait, the oldest for {(now - oldest) // 60_000_000} min.",
                "See the ways of sending above.",
            )
        )
    if aside:
        unknown = sum(row.outcome == "unknown_sender" for row in aside)
        found.append(
            Finding("texts", "look", f"{len(aside)} recent texts were not saved, {unknown} of them from unknown numbers.",
                    "See `logbook texts list`.")
        )  # fmt: skip
    return found or [Finding("outbox", "well", f"{waiting} messages wait.")]


def send_trial(program: Program, routes: Sequence[Route], person: Person, now: Instant) -> list[Finding]:
    """Send a person a trial message by each of their ways that can be sent by."""
    text = trial_message(person.language, now)
    found = []
    for way, address in ways(person):
        route = next((each for each in routes if each.name == way), None)
        if route is None:
            found.append(Finding(f"trial by {way}", "look", f"This installation cannot send by {way}."))
            continue
        with program.store.read() as connection:
            origin = program.registry.current(connection).origin
        name = outbox.message_id(program.intake.new_id(), origin)
        outgoing = Outgoing(
            name, address, text.subject, text.short if way == "text" else text.body, now, person.language
        )
        outcome = asyncio.run(_once(route, outgoing))
        if isinstance(outcome, Sent):
            found.append(
                Finding(
                    f"trial by {way}", "well", f"The server took a message for {address}.", "Ask whether it arrived."
                )
            )
        else:
            do = "Check the address." if isinstance(outcome, Refused) else "Mend the setting."
            found.append(Finding(f"trial by {way}", "wrong", f"{outcome.reason}.", do))
    return found or [
        Finding("trial", "wrong", "This person has no way by which they can be reached.", "Give them an address.")
    ]


async def _once(route: Route, outgoing: Outgoing) -> Any:
    try:
        return await route.send(outgoing)
    finally:
        await route.rest()
