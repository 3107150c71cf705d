"""The running program and `replay` write the same alerts over the whole scenario: 120 nights, twelve machines.

Texts go through the desk, a supervisor's entries through the intake, the clock is the service's own, mail goes by
SMTP. `LOGBOOK_SCENARIO_NIGHTS` says how many nights (default 120), `LOGBOOK_SCENARIO_SEED` which (default 7).
"""

from __future__ import annotations

import json
import os
from collections import Counter, defaultdict, deque
from functools import partial
from itertools import groupby
from pathlib import Path
from typing import Any

import pytest

from logbook import replay
from logbook.channels.desk import Message
from logbook.domain import door
from logbook.domain.instants import MINUTE, parse, text
from logbook.intake import Draft
from logbook.store import log
from scenario import generate
from tests.whole.fast import FastService, fast
from tests.whole.kills.killer import sink
from tests.whole.live import alerts_in_log, found
from tests.whole.stage import Stage, new_database, stage

NIGHTS = int(os.environ.get("LOGBOOK_SCENARIO_NIGHTS", "120"))
SEED = int(os.environ.get("LOGBOOK_SCENARIO_SEED", "7"))

Line = dict[str, Any]


class Ids:
    """The desk gives its entries ids of its own: which of them is which of the scenario's."""

    def __init__(self, lines: list[Line]) -> None:
        self._waiting: dict[tuple[str, ...], deque[str]] = defaultdict(deque)
        for line in lines:
            public, _private = door.parted(door.checked(line["kind"], line["data"]))
            self._waiting[self._name(line, public)].append(line["id"])
        self.ours: dict[str, str] = {}
        self.theirs: dict[str, str] = {}
        self.strange: list[Line] = []

    def _name(self, line: Line, data: Any) -> tuple[str, ...]:
        said = "" if line["kind"] == "void" else json.dumps(data, sort_keys=True)
        return line["machine"], line["kind"], line["occurred_at"], line["recorded_at"], said

    def learn(self, line: Line) -> None:
        """An entry of the log, in the scenario's terms."""
        waiting = self._waiting.get(self._name(line, self.in_theirs(line["data"])))
        if not waiting:
            self.strange.append(line)
            return
        theirs = waiting.popleft()
        self.ours[theirs], self.theirs[line["id"]] = line["id"], theirs

    def untold(self) -> list[tuple[str, ...]]:
        return [name for name, waiting in self._waiting.items() if waiting]

    def in_ours(self, data: Any) -> Any:
        return _named(data, self.ours)

    def in_theirs(self, data: Any) -> Any:
        return _named(data, self.theirs)


def _named(data: Any, names: dict[str, str]) -> Any:
    if isinstance(data, dict):
        return {key: _named(value, names) for key, value in data.items()}
    return names.get(data, data) if isinstance(data, str) else data


class Telling:
    """Tells the scenario to a stage, each thing at its instant."""

    def __init__(self, one: Stage, folder: Path) -> None:
        self.one = one
        self.entries = _lines(folder / "entries.jsonl")
        self.texts = _lines(folder / "texts.jsonl")
        self.ids = Ids(self.entries)
        self.outcomes: Counter[str] = Counter()
        self.said_again: set[str] = set()
        self._codes: dict[str, str] = {}
        commissioned = [line for line in self.entries if line["kind"] == "commissioned"]
        direct = [*commissioned, *_lines(folder / "direct.jsonl")]
        told = [(parse(line["recorded_at"]), 0, line) for line in direct]
        told += [(parse(line["at"]), 1, line) for line in self.texts]
        self.told = sorted(told, key=lambda each: each[:2])

    def begin(self, file: Line) -> None:
        self.one.now = self.told[0][0] - MINUTE
        found(self.one, file)
        self._codes = {machine.uuid: code for code, machine in self.one.register.by_code.items()}

    def all(self, service: FastService, until: int) -> None:
        for at, some in groupby(self.told, key=lambda each: each[0]):
            lines = [line for _at, _way, line in some]
            service.say(at, [partial(self._tell, line) for line in lines])
        service.until(until)

    def _tell(self, line: Line) -> None:
        if "text" in line:
            answer = self.one.program.desk.take(
                Message(line["id"], "text", line["from"], line["text"], parse(line["at"]))
            )
            self.outcomes[answer.outcome] += 1
            if answer.outcome == "repeated":
                self.said_again.add(line["at"])
            made = () if answer.repeated or answer.outcome == "repeated" else answer.entries
        else:
            data = self.ids.in_ours(line["data"])
            draft = Draft(line["id"], self.one.machine(line["machine"]), line["kind"], data, parse(line["occurred_at"]))
            made = tuple(e.id for e in self.one.program.intake.record([draft], self.one.by(line["reporter"])).entries)
        for id_ in made:
            row = self.one.read(partial(log.find, id=id_))
            if row.machine in self._codes:
                self.ids.learn(self._line(row))

    def _line(self, row: Any) -> Line:
        return {
            "id": row.id, "machine": self._codes[row.machine], "kind": row.kind, "occurred_at": text(row.occurred_at),
            "recorded_at": text(row.recorded_at), "data": json.loads(row.bytes)["data"],
        }  # fmt: skip

    def in_log(self) -> list[Line]:
        """What people told, as the machines' logs have it."""
        rows = self.one.read(lambda c: [row for uuid in self._codes for row in log.by_seq(c, uuid)])
        lines = [self._line(row) for row in rows if not row.kind.startswith("alert_")]
        return sorted(lines, key=lambda line: parse(line["recorded_at"]))


def _lines(file: Path) -> list[Line]:
    return [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]


def differing(said: list[Line], ought: list[Line]) -> str:
    """The first few lines that only one of the two has."""
    one, other = [json.dumps(line) for line in said], [json.dumps(line) for line in ought]
    only = Counter(one) - Counter(other), Counter(other) - Counter(one)
    rows = [f"only the live clock: {line}" for line in only[0]] + [f"only the replay: {line}" for line in only[1]]
    return f"{len(rows)} lines differ\n" + "\n".join(rows[:40])


def in_order(lines: list[Line]) -> list[Line]:
    return sorted(lines, key=lambda line: (
        parse(line["at"]), line["machine"], line["duty"], line["opened_by"], line["kind"] != "alert_raised",
        line["number"],
    ))  # fmt: skip


@pytest.mark.slow
def test_the_running_program_writes_what_the_replay_writes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    nights = generate.make(SEED, NIGHTS)
    generate.write(nights, tmp_path, SEED, NIGHTS)
    until = json.loads((tmp_path / "period.json").read_text())["until"]
    file = nights.fleet.raw
    one = stage(new_database(tmp_path), seed=SEED)
    try:
        telling = Telling(one, tmp_path)
        telling.begin(file)
        with sink(SEED) as (box, port), fast(one, port, monkeypatch) as service:
            telling.all(service, parse(until))
        assert service.lost == 0, f"{service.lost} strikes of the clock were lost"
        assert service.clock.failures == service.delivery.failures == 0
        print(f"\n{NIGHTS} nights, {len(telling.texts)} texts {dict(telling.outcomes)}, {len(service.steps)} steps")
        live = alerts_in_log(one)
        the_same_as_replay(telling, live, file, until)
        the_mail_is_about_alerts(one, service, box.copies, live)
    finally:
        one.close()


def the_same_as_replay(telling: Telling, live: list[Line], file: Line, until: str) -> None:
    again = in_order(replay.replay(file, telling.in_log(), until))
    assert live == again, differing(live, again)
    print("alerts:", dict(Counter(line["duty"] for line in live if line["kind"] == "alert_raised")))
    print("ended:", dict(Counter(line["outcome"] for line in live if line["kind"] == "alert_cleared")))
    # What was read is what was meant: then the meant ones give the same alerts, under their own ids.
    assert not telling.ids.strange, telling.ids.strange[:5]
    # The same words twice within minutes are meant twice, and kept once.
    untold = [name for name in telling.ids.untold() if name[3] not in telling.said_again]
    assert not untold, untold[:5]
    meant = replay.replay(file, telling.entries, until)
    meant = in_order([{**line, "opened_by": telling.ids.in_ours(line["opened_by"])} for line in meant])
    assert live == meant, differing(live, meant)


def the_mail_is_about_alerts(
    one: Stage, service: FastService, copies: list[tuple[str, str, str]], live: list[Line]
) -> None:
    """Every message came once, and every alert that one tells of is in the log."""
    mail = {message.message_id: message for message in service.messages.values() if message.route == "mail"}
    assert Counter(message_id for message_id, _to, _words in copies) == Counter(mail.keys())
    assert {message.state for message in mail.values()} <= {"sent"}
    raised = {(x["machine"], x["duty"], x["opened_by"], x["number"]) for x in live if x["kind"] == "alert_raised"}
    told: dict[str, set[tuple[str, str, str, int]]] = defaultdict(set)
    codes = {machine.uuid: code for code, machine in one.register.by_code.items()}
    for message in mail.values():
        for notice in service.notices[message.id]:
            if notice.tell != "remind":
                told[message.id].add((codes[notice.machine], notice.duty, notice.opened_by, notice.number))
    for message in mail.values():
        if message.kind == "alert":
            assert told[message.id], f"{message.subject!r} tells of nothing that was put down"
        assert told[message.id] <= raised, f"{message.subject!r} tells of an alert that is not in the log"
        if len(told[message.id]) == 1:
            ((code, *_rest),) = told[message.id]
            assert code in message.body, f"{message.subject!r} does not name {code}"
    print("mail:", dict(Counter(message.kind for message in mail.values())))
    print("alerts told by mail:", len(set().union(*told.values())), "of", len(raised))
