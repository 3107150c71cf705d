"""What must be true of a database whose workers were killed, held against what they had said and what mail came."""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from typing import Any

from logbook import replay
from logbook.bootstrap import Program
from logbook.domain.instants import parse, text
from logbook.domain.register import Register
from logbook.domain.reporting import fold
from logbook.evidence.audit import audit
from logbook.intake.reading import told_of
from logbook.store import alerts, folds, log, meta, outbox, tables, words
from tests.whole.kills.killer import Told
from tests.whole.kills.plan import FLEET

Key = tuple[str, str, str]
CLOCKS = ("alert_raised", "alert_cleared", "alert_escalated")


@dataclass
class Found:
    """What the machines' logs hold, by plate: what people told, and what the clock wrote."""

    told: list[dict[str, Any]] = field(default_factory=list)
    alerts: list[dict[str, Any]] = field(default_factory=list)
    ids: Counter[str] = field(default_factory=Counter)


def found(logbook: Program) -> Found:
    result = Found()
    with logbook.store.read() as connection:
        register = logbook.registry.current(connection)
        for code, machine in register.by_code.items():
            for row in log.by_seq(connection, machine.uuid):
                data = json.loads(row.bytes)["data"]
                result.ids[row.id] += 1
                line = {"id": row.id, "machine": code, "kind": row.kind, "at": row.recorded_at, "data": data}
                if row.kind in CLOCKS:
                    result.alerts.append(line)
                else:
                    moments = {"occurred_at": text(row.occurred_at), "recorded_at": text(row.recorded_at)}
                    result.told.append({**line, **moments})
    return result


def entries_are_there_once(had: Found, told: Told) -> Counter[str]:
    """Every answered entry there once; every text that was ever said, answered or not, in the end one answer."""
    assert not told.changed, told.changed[:5]
    assert not told.unanswered(), told.unanswered()[:5]
    doubled = [id_ for id_, times in had.ids.items() if times > 1]
    assert not doubled, doubled[:5]
    promised: Counter[str] = Counter()
    for id_, (outcome, entries) in told.answers.items():
        if outcome == "saved":
            promised.update(entries)
            assert entries, f"{id_} was saved, and made no entry"
    assert max(promised.values()) == 1, "two texts were answered with the same entry"
    lost = [id_ for id_ in promised if had.ids[id_] != 1]
    assert not lost, f"answered and not there: {lost[:5]}"
    # `commissioned` and what people told, and no entry that nobody was answered with.
    more = {line["id"] for line in had.told if line["kind"] != "commissioned"} - promised.keys()
    assert not more, f"there, and nobody was told so: {sorted(more)[:5]}"
    return Counter(outcome for outcome, _entries in told.answers.values())


def alerts_are_there_once(had: Found, logbook: Program, told: Told) -> dict[str, int]:
    """No alert doubled, none cleared that was not raised, and none missed that the clock came to while it stood."""
    raised: dict[tuple[str, str, str, int], int] = {}
    cleared: dict[tuple[str, str, str, int], str] = {}
    for line in had.alerts:
        data = line["data"]
        identity = (line["machine"], data["duty"], data["opened_by"], data["number"])
        if line["kind"] == "alert_raised":
            assert identity not in raised, f"raised twice: {identity}"
            raised[identity] = line["at"]
            assert data["number"] == 1 or (*identity[:3], data["number"] - 1) in cleared
        elif line["kind"] == "alert_cleared":
            assert identity in raised, f"cleared, and never raised: {identity}"
            assert identity not in cleared, f"cleared twice: {identity}"
            cleared[identity] = data["outcome"]
    _table_says_the_same(logbook, raised, cleared)
    until = max(begun for begun, _ended in told.steps)
    wakeful = replay.replay(FLEET, sorted(had.told, key=lambda line: int(line["at"])), text(until))
    return _against_one_that_never_sleeps(raised, wakeful, told, _gone_in_time(logbook, until))


def _table_says_the_same(logbook: Program, raised: Any, cleared: Any) -> None:
    with logbook.store.read() as connection:
        register = logbook.registry.current(connection)
        rows = [(code, a) for code, m in register.by_code.items() for a in alerts.of_machine(connection, m.uuid)]
    table = {(code, a.duty, a.opened_by, a.number): a for code, a in rows}
    assert len(rows) == len(table)
    assert {identity: a.raised_at for identity, a in table.items()} == raised
    assert {identity: a.outcome for identity, a in table.items() if a.cleared_at is not None} == cleared


def _gone_in_time(logbook: Program, until: int) -> set[Key]:
    """The duties that, by all that is known in the end, were overtaken before they were due."""
    gone: set[Key] = set()
    with logbook.store.read() as connection:
        register = logbook.registry.current(connection)
        for code, machine in register.by_code.items():
            told = told_of(connection, machine.uuid, register)
            for duty in fold(logbook.intake.book(register, machine.uuid), told, until).duties:
                if duty.how == "overtaken" and duty.ended_at is not None and duty.ended_at <= duty.due:
                    gone.add((code, duty.duty, duty.opened_by))
    return gone


def _against_one_that_never_sleeps(
    raised: Any, wakeful: list[dict[str, Any]], told: Told, gone: set[Key]
) -> dict[str, int]:
    """A clock that was dead at the due instant may find the duty done in time, or gone, when it comes back.

    Everything else it owes. What it raises, a clock that never sleeps had raised too, and no later.
    """
    first: dict[Key, int] = {}
    over: dict[Key, tuple[int, str]] = {}
    for line in wakeful:
        key = (line["machine"], line["duty"], line["opened_by"])
        if line["kind"] == "alert_raised":
            first.setdefault(key, parse(line["at"]))
        elif line["number"] == 1:
            over[key] = (parse(line["at"]), line["outcome"])
    mine: dict[Key, int] = {}
    for (*key, number), at in raised.items():
        if number == 1:
            mine[(key[0], key[1], key[2])] = at
    extra = [key for key in mine if key not in first]
    assert not extra, f"raised, and never overdue: {extra[:5]}"
    early = [key for key, at in mine.items() if at < first[key]]
    assert not early, f"raised before its time: {early[:5]}"
    missed, slept = [], 0
    for key, at in first.items():
        if key in mine:
            continue
        ended, outcome = over.get(key, (None, None))
        in_time = outcome in ("told_late", "withdrawn", "not_due") or (outcome == "overtaken" and key in gone)
        if not in_time or ended is None:
            missed.append((key, text(at), outcome))
        elif any(at <= begun and done < ended for begun, done in told.steps):
            missed.append((key, text(at), f"{outcome}, but the clock had been there"))
        else:
            slept += 1
    assert not missed, f"{len(missed)} missed: {missed[:5]}"
    delays = sorted(at - first[key] for key, at in mine.items())
    return {
        "alerts": len(raised), "told in time while the clock was dead": slept,
        "half were raised within ms": delays[len(delays) // 2] // 1000, "the last one within ms": delays[-1] // 1000,
    }  # fmt: skip


def mail_came(logbook: Program, copies: list[tuple[str, str, str]]) -> dict[str, int]:
    """Each message at least once, always under its one Message-ID, to its one address, with the same words."""
    with logbook.store.read() as connection:
        messages = {m.message_id: m for m in outbox.latest(connection, 1_000_000) if m.route == "mail"}
        rows = connection.execute(tables.notice.select()).all()
        everything = {m.id for m in outbox.latest(connection, 1_000_000)}
    came: dict[str, set[tuple[str, str]]] = defaultdict(set)
    for message_id, address, words_ in copies:
        came[message_id].add((address, words_))
    unknown = [message_id for message_id in came if message_id not in messages]
    assert not unknown, f"received, and not in the outbox: {unknown[:5]}"
    changed = [message_id for message_id, forms in came.items() if len(forms) != 1]
    assert not changed, f"copies of one message differ: {changed[:5]}"
    states = Counter(m.state for m in messages.values())
    for message_id, message in messages.items():
        if message.state == "sent":
            assert message_id in came, f"marked as sent, and never received: {message_id}"
            assert {address for address, _words in came[message_id]} == {message.address}
    assert set(states) <= {"sent", "expired"}, f"still to be sent, or given up: {states}"
    late = [m for m in messages.values() if m.state == "expired" and m.kind != "reminder"]
    assert not late, f"only a reminder can come too late: {late[:3]}"
    # Every notice went into a message that is there, or waits for a letter.
    lost = [row.id for row in rows if row.message is not None and row.message not in everything and "-" in row.message]
    assert not lost, f"told by a message that is not there: {lost[:5]}"
    return {
        "messages": len(messages), "copies received": len(copies), "sent twice or more": len(copies) - len(came),
        **{f"messages {state}": number for state, number in sorted(states.items())},
    }  # fmt: skip


def chain_is_whole(logbook: Program) -> int:
    with logbook.store.read() as connection:
        verdict = audit(
            log.every(connection), log.logs(connection), words.every(connection), origin=meta.of(connection, "origin")
        )
        unlisted = log.unlisted(connection)
    assert verdict.whole, verdict.faults
    assert not unlisted
    return verdict.entries


def folds_equal_a_rebuild(logbook: Program) -> None:
    """What is kept of each machine besides its log is what its log makes."""
    with logbook.store.read() as connection:
        register: Register = logbook.registry.current(connection)
    for code, machine in register.by_code.items():
        book = logbook.intake.book(register, machine.uuid)

        def both(connection: Any, uuid: str = machine.uuid, book: Any = book) -> Any:
            kept, made = folds.load(connection, uuid, book), folds.rebuild(connection, uuid, book)
            made.advance(kept.now)
            return _plain(kept), _plain(made)

        kept, made = logbook.store.write(both)
        assert kept == made, f"{code} is kept otherwise than its log says"


def _plain(watchman: Any) -> dict[str, Any]:
    return {
        "duties": {d.key: (d.due, d.opened_at, d.ended_at, d.how) for d in watchman.machine.duties()},
        "frontier": watchman.machine.frontier,
        "use": watchman.machine.use and watchman.machine.use.name,
        "alerts": {
            r.duty.key: (r.duty.due, r.count, r.raised_at)
            for r in watchman.ledger.active.values()
            if r.raised_at is not None or r.waits()
        },
    }
