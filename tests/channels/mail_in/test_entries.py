"""From a mail to entries in the log: the real mailbox, the real desk, the real database."""

from __future__ import annotations

import json
import random
import subprocess
import sys
import time

import pytest

from logbook.channels.desk import FLOOD, Answer, Message
from logbook.channels.mail_in.reading import read
from logbook.channels.text import Fleet
from logbook.channels.text import read as read_text
from logbook.domain.calendar import zone
from logbook.domain.instants import SECOND, parse
from logbook.store import log
from tests.channels.mail_in.mails import OURS, mail
from tests.channels.mail_in.test_mailbox import ASIDE, TAKEN
from tests.channels.mail_in.watching import until, watched
from tests.channels.text.test_worked import ROWS, _expected
from tests.whole.stage import Stage, new_database

NIGHT = parse("2026-11-25T09:12:00Z")
SITES = [{"code": "HX", "name": "North Slip", "zone": "America/Halifax"}]
MACHINES = [
    {"code": code, "site": "HX", "battery": "flooded", "commissioned_at": "2026-03-01T12:00:00Z"}
    for code in ("B7H", "C4J", "C5H", "B8F")
]
PEOPLE = [
    {"key": "ana", "name": "Ana Silva", "role": "cleaner", "email": "Ana@ferry.example", "sites": ["HX"]},
    {"key": "jo", "name": "Jo Marsh", "role": "owner", "email": "jo@ferry.example"},
]
FLEET = {"site": SITES, "machine": MACHINES, "person": PEOPLE}


class Recorder:
    """The real desk, and its answers by text."""

    def __init__(self, stage: Stage) -> None:
        self.desk = stage.program.desk
        self.answers: list[tuple[Message, Answer]] = []
        self.aside: list[tuple[Message, str]] = []

    def take(self, message: Message) -> Answer:
        answer = self.desk.take(message)
        self.answers.append((message, answer))
        return answer

    def keep_aside(self, message: Message, reason: str) -> None:
        self.desk.keep_aside(message, reason)
        self.aside.append((message, reason))


def kinds(stage: Stage, code: str = "B7H") -> list[str]:
    return [kind for kind, _, _ in stage.entries(code) if kind != "commissioned"]


def test_a_text_goes_in_and_its_entry_is_there(box, make):
    stage = make(at=NIGHT, **FLEET)
    recorder = Recorder(stage)
    box.drop(mail("B7H rinsed at 0505"), arrived=NIGHT // SECOND)
    with watched(box.settings(), recorder, now=lambda: NIGHT):
        until(lambda: box.flags() == [TAKEN])
    assert kinds(stage) == ["rinse"]
    (_, answer) = recorder.answers[0]
    assert answer.outcome == "saved"
    (entry,) = stage.read(lambda c: [log.find(c, id_) for id_ in answer.entries])
    assert json.loads(entry.bytes)["occurred_at"] == "2026-11-25T09:05:00Z"
    assert json.loads(entry.bytes)["channel"] == "mail"
    (said,) = stage.messages("answer")
    assert (said.route, said.address) == ("mail", "ana@ferry.example")


def test_every_worked_text_comes_to_the_same_entries_by_mail(box, make):
    stage = make(at=NIGHT, **FLEET)
    recorder = Recorder(stage)
    for number, row in enumerate(ROWS):
        box.drop(mail(row[0], message_id=f"<{number}@phone.example>"), arrived=NIGHT // SECOND)
    with watched(box.settings(), recorder, now=lambda: NIGHT):
        until(lambda: len(recorder.answers) + len(recorder.aside) == len(ROWS))
    assert recorder.aside == []
    by_number = {int(message.id[5:].split("@")[0]): answer for message, answer in recorder.answers}
    codes = {stage.machine(machine["code"]): machine["code"] for machine in MACHINES}
    for number, row in enumerate(ROWS):
        text, entries, other = [*row, "", ""][:3]
        answer = by_number[number]
        assert answer.reading is not None, text
        if not entries:
            assert answer.entries == () or answer.reading.control, text
            assert other in (answer.reading.refused, f"control {answer.reading.control}"), text
            continue
        assert answer.outcome == "saved", text
        found = []
        for stored in stage.read(lambda c, ids=answer.entries: [log.find(c, id_) for id_ in ids]):
            said = json.loads(stored.bytes)
            data = {key: (... if key == "note" else value) for key, value in said["data"].items()}
            if "note" not in data and "note" in said.get("private", {}):
                data["note"] = ...
            found.append((codes[stored.machine], said["kind"], parse(said["occurred_at"]), data))
        drafts = [
            (d.machine, d.kind, d.occurred_at, {k: (... if k == "note" else v) for k, v in d.data.items()})
            for d in answer.reading.drafts
        ]
        assert drafts == _expected(entries), text
        assert [each[:3] for each in found] == [each[:3] for each in _expected(entries)], text


def test_killed_between_the_commit_and_the_mark(box, make, tmp_path):
    url = new_database(tmp_path)
    stage = make(url=url, at=int(time.time()) * SECOND, **FLEET)
    box.drop(mail("B7H rinsed"))
    done = tmp_path / "taken"
    settings = box.settings().model_dump(mode="json", exclude={"password"})
    settings["password"] = box.settings().secret()
    command = [sys.executable, "-m", "tests.channels.mail_in.worker", url, json.dumps(settings)]
    with subprocess.Popen([*command, str(done)]) as worker:
        until(lambda: (done.exists() and done.read_text()) or worker.poll() is not None, seconds=60)
        worker.kill()
    assert done.read_text() == "saved"
    assert box.flags() == [set()]
    assert kinds(stage) == ["rinse"]
    with subprocess.Popen(command) as worker:
        until(lambda: box.flags() == [TAKEN], seconds=60)
        worker.terminate()
    assert worker.returncode == 0
    assert kinds(stage) == ["rinse"]
    assert len(stage.messages("answer")) == 1


@pytest.mark.slow
def test_killed_at_any_moment(box, make, tmp_path):
    """Twelve mails, a process killed eight times within the first second or two: twelve entries, twelve answers or fewer."""
    url = new_database(tmp_path)
    stage = make(url=url, at=int(time.time()) * SECOND, **FLEET)
    texts = [f"B7H note number{n} of the night" for n in range(12)]
    for text in texts:
        box.drop(mail(text))
    settings = box.settings().model_dump(mode="json", exclude={"password"})
    settings["password"] = box.settings().secret()
    command = [sys.executable, "-m", "tests.channels.mail_in.worker", url, json.dumps(settings)]
    chance = random.Random(7)
    for _ in range(8):
        with subprocess.Popen(command) as worker:
            time.sleep(0.9 + chance.random() * 0.8)
            worker.kill()
    with subprocess.Popen(command) as worker:
        until(lambda: box.flags() == [TAKEN] * 12, seconds=60)
        worker.terminate()
    assert kinds(stage) == ["note"] * 12


def test_the_same_mail_delivered_twice_is_one_entry(box, make):
    stage = make(at=NIGHT, **FLEET)
    recorder = Recorder(stage)
    one = mail("B7H rinsed")
    box.drop(one)
    box.drop(b"Delivered-To: log@ferry.example\r\n" + one)
    with watched(box.settings(), recorder, now=lambda: NIGHT):
        until(lambda: box.flags() == [TAKEN] * 2)
    assert kinds(stage) == ["rinse"]
    assert len(stage.messages("answer")) == 1


def test_a_used_message_id_with_other_words_is_another_report(box, make):
    stage = make(at=NIGHT, **FLEET)
    box.drop(mail("B7H rinsed", message_id="<1@phone.example>"))
    box.drop(mail("B7H charge", message_id="<1@phone.example>"))
    with watched(box.settings(), Recorder(stage), now=lambda: NIGHT):
        until(lambda: box.flags() == [TAKEN] * 2)
    assert sorted(kinds(stage)) == ["charge", "rinse"]


def test_forged_mail_makes_no_entry_and_is_not_answered(box, make):
    stage = make(at=NIGHT, **FLEET)
    recorder = Recorder(stage)
    passed = "dmarc=pass header.from=ferry.example"
    forged = [
        mail("B7H rinsed", proof=None),
        mail("B7H rinsed", proof=f"mx.evil.example; {passed}"),
        mail("B7H rinsed", proof=f"{OURS}; dmarc=fail header.from=ferry.example"),
        mail("B7H rinsed", proof=f"{OURS}; dmarc=none", more=f"Authentication-Results: {OURS}; {passed}"),
        mail("B7H rinsed", sender='"ana@ferry.example" <x@evil.example>'),
        mail("B7H rinsed", more="From: x@evil.example"),
        mail("B7H rinsed", sender="x@evil.example", more="Sender: ana@ferry.example\nReply-To: ana@ferry.example"),
    ]
    for each in forged:
        box.drop(each)
    with watched(box.settings(), recorder, now=lambda: NIGHT):
        until(lambda: box.flags() == [ASIDE] * len(forged))
    assert kinds(stage) == []
    assert recorder.answers == []
    assert stage.messages("answer") == []


def test_two_machines_do_not_talk_to_each_other(box, make):
    """Somebody's mailbox answers our answers: marked as a machine it is answered never, unmarked a few times."""
    stage = make(at=NIGHT, **FLEET)
    recorder = Recorder(stage)
    box.drop(mail("B7H rinsed"))
    with watched(box.settings(), recorder, now=lambda: NIGHT):
        until(lambda: len(recorder.answers) == 1)
        (said,) = stage.messages("answer")
        away = f"I am away.\n\n> {said.body}"
        box.drop(mail(away, subject="Re: B7H", more="Auto-Submitted: auto-replied"))
        until(lambda: len(recorder.aside) == 1)
        assert len(stage.messages("answer")) == 1
        for n in range(20):
            box.drop(mail(f"I am away, and this is number {n}.\n\n> {said.body}", subject="Re: B7H"))
        until(lambda: len(recorder.answers) == 21)
    assert len(stage.messages("answer")) <= FLOOD
    assert kinds(stage) == ["rinse"]


def test_what_was_kept_aside_with_quotes_in_it_is_never_read_as_a_report():
    quoted = "On Tue, Nov 24, 2026, Jo wrote:\n> Please see to it that the machine is emptied and rinsed tonight and\nB7H charge\n> B7H rinse"
    halifax = zone("America/Halifax")
    fleet = Fleet(frozenset({"B7H"}), lambda code: halifax, "B7H", "en", halifax)
    for body in (quoted, "> B7H rinse", "> B7H fault hose leaks", "> B7H note all well"):
        found = read(mail(body), {OURS})
        assert found.aside is not None
        assert read_text(found.text, fleet, NIGHT).drafts == ()
