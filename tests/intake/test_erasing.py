"""Erasing a person: nothing of theirs is left in the file or the tables, and the log verifies as before."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import text

from logbook.channels.desk import Message
from logbook.command.upkeep import audited
from logbook.domain.door import Refused
from logbook.intake import Draft, erasing
from logbook.store import erased_list, migrate, outbox, sessions, tables
from logbook.store.outbox import Message as Sent
from logbook.store.sessions import Link, Session
from tests.whole.stage import FLEET, Stage

NAME, MAIL, PHONE = "Quillanda Brackwater", "quillanda@ferry.example", "+19025550177"
WORDS = (NAME, "Quillanda", MAIL, PHONE, "9025550177", "zimtstern", "brindled seagull", "heron", "Quincy Old")
PEOPLE = [
    *FLEET["person"],
    {"key": "brackwater-9", "name": NAME, "role": "cleaner", "phone": PHONE, "email": MAIL, "sites": ["HX"]},
]
GROUND = "asked by the person"
ID = "0192d5c8-0000-7000-8000-0000000000ee"


def lived(one: Stage) -> str:
    """A person who has left traces everywhere; answers with their uuid."""
    one.apply({**FLEET, "person": [{**PEOPLE[-1], "name": "Quincy Old"}, *PEOPLE[:-1]]})
    one.apply({**FLEET, "person": PEOPLE})
    uuid, intake = one.person("brackwater-9"), one.program.intake
    one.tell("B7H", "fault", who="brackwater-9", note="the brindled seagull sits on it")
    wrong = one.tell("B7H", "note", who="brackwater-9", note="zimtstern").entries[0].id
    one.tell("B7H", "void", who="brackwater-9", entry=wrong, why="zimtstern was wrong")
    one.tell("B7H", "photo", who="brackwater-9", entry=wrong, image="/9j/4AAQSkZJRg==")
    one.program.intake.record(
        [one.draft("B7H", "name_opened", entry=wrong, why=f"what did {NAME} see?")], one.by("lee")
    )
    one.tell("B7H", "note", who="ana", note="nothing to see")
    for number, said in enumerate(("B7H started", f"it is me {NAME}, brindled seagull again")):
        one.program.desk.take(Message(f"t{number}", "text", PHONE, said, one.now))
    one.program.desk.take(Message("m0", "mail", MAIL, "B7H zimtstern", one.now))

    def more(c):
        own = {"person": uuid, "address": MAIL, "kind": "alert", "subject": "B7H", "body": f"Dear {NAME}"}
        lee = {"person": one.person("lee"), "address": "lee@ferry.example", "kind": "letter", "subject": "New here",
               "body": f"{NAME} ({PHONE}) joined; Aquillandaria did not."}  # fmt: skip
        rows = [
            Sent(id=id_, message_id=f"{id_}@ferry.example", route="mail", queued_at=1, ready_at=1, next_at=1, **each)
            for id_, each in (("a", own), ("b", lee))
        ]
        for row in rows:
            outbox.queue(c, row)
        sessions.begin(c, Session("s1", "h1", uuid, "own", None, f"{NAME}'s phone", 1, 1, one.now + 10**12))
        sessions.offer(c, Link("l1", "enter", uuid, None, None, 1, one.now + 10**12))
        c.execute(tables.pin.insert().values(person=uuid, hash="heron", set_at=1))
        c.execute(
            tables.passkey.insert().values(
                id="p1", person=uuid, public_key=b"heron", sign_count=0, label=NAME, made_at=1
            )
        )

    intake.store.write(more)
    return uuid


def everything(one: Stage) -> str:
    """Every value of every table, as text; of SQLite the files themselves too."""
    found = []
    with one.program.store.read() as c:
        for table in tables.metadata.sorted_tables:
            for row in c.execute(table.select()):
                found += [v.decode("latin-1") if isinstance(v, bytes) else str(v) for v in row]
    if one.program.store.is_sqlite:
        path = Path(one.program.store.url.database)
        for file in path.parent.glob(path.name + "*"):
            found.append(file.read_bytes().decode("latin-1"))
    return "\n".join(found)


@pytest.fixture(params=["sqlite", "postgresql"])
def stage(request, make, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)  # where the list of a PostgreSQL database lies
    url = None
    if request.param == "postgresql":
        url = request.getfixturevalue("postgres_url")
        migrate.upgrade(url)
    return make(url=url, apply=False)


def test_nothing_is_left_and_the_log_is_whole(stage):
    uuid = lived(stage)
    before = everything(stage)
    assert [word for word in WORDS if word not in before] == []
    entries = [row[:2] for row in stage.entries("B7H")]
    with stage.program.store.read() as c:
        shown = erasing.survey(stage.program.intake, c, uuid)
    assert shown.names >= 7
    assert (shown.remarks, shown.photographs, shown.sessions, shown.links) == (4, 1, 1, 1)
    assert (shown.pins, shown.passkeys, shown.mentions) == (1, 1, 1)
    assert shown.texts == 3
    done = erasing.erase(stage.program.intake, uuid, GROUND, stage.by("own"), ID)
    assert done is not None
    assert done.went == shown, "what was shown is what went"
    assert done.thorough
    after = everything(stage)
    assert [word for word in WORDS if word in after] == []
    assert [row[:2] for row in stage.entries("B7H")] == entries, "what was done stays"
    assert audited(stage.program.store)["verdict"] == "whole"
    kept = next(m for m in stage.messages() if m.id == "b")
    assert kept.body == "[…] ([…]) joined; Aquillandaria did not."
    assert stage.register.people[uuid].name is None
    assert stage.register.people[uuid].state == "left"
    assert stage.register.person_by_phone(PHONE) is None
    assert "nothing to see" in after


def test_the_same_again_changes_nothing_and_an_erased_person_is_a_stranger(stage):
    uuid = lived(stage)
    assert erasing.erase(stage.program.intake, uuid, GROUND, stage.by("own"), ID) is not None
    assert erasing.erase(stage.program.intake, uuid, GROUND, stage.by("own"), ID) is None
    with stage.program.store.read() as c:
        assert not erasing.survey(stage.program.intake, c, uuid).anything
        fleet = stage.program.registry.fleet(c)
        count = c.execute(text(f"SELECT count(*) FROM entry WHERE machine = '{fleet}' AND kind = 'erased'")).scalar()
    assert count == 1
    assert stage.program.desk.take(Message("t9", "text", PHONE, "B7H charged", stage.now)).outcome == "unknown_sender"


def test_an_older_backup_that_is_put_back_loses_them_again(make, tmp_path):
    one = make(apply=False)
    uuid = lived(one)
    one.program.store.scrub()
    path = Path(one.program.store.url.database)
    backup = path.read_bytes()
    erasing.erase(one.program.intake, uuid, GROUND, one.by("own"), ID)
    listed = erased_list.file_of(one.program.store)
    lines = erased_list.read(listed)
    assert lines == [(uuid, ID, GROUND)]
    assert not any(word in listed.read_text() for word in WORDS)
    one.close()
    path.write_bytes(backup)
    restored = make(url=f"sqlite:///{path}", apply=False)
    assert NAME in everything(restored)
    assert erasing.again(restored.program.intake, erased_list.read(listed)) == [uuid]
    assert [word for word in WORDS if word in everything(restored)] == []
    assert audited(restored.program.store)["verdict"] == "whole"
    assert erasing.again(restored.program.intake, erased_list.read(listed)) == [], "once is enough"
    assert erased_list.read(listed) == lines


def test_a_list_that_was_lost_is_made_anew_from_the_log(make):
    one = make(apply=False)
    uuid = lived(one)
    erasing.erase(one.program.intake, uuid, GROUND, one.by("own"), ID)
    listed = erased_list.file_of(one.program.store)
    listed.unlink()
    assert erasing.keep_list(one.program.intake) == 1
    assert erased_list.read(listed) == [(uuid, ID, GROUND)]
    listed.write_text("nonsense\n")
    with pytest.raises(ValueError, match="line 1, is not a line"):
        erased_list.read(listed)


@pytest.mark.parametrize(
    ("ground", "who", "code"),
    [
        (" ", "own", "no_ground"),
        (f"because {NAME} asked", "own", "ground_names"),
        (f"call {PHONE}", "own", "ground_names"),
        (GROUND, "lee", "not_allowed"),
    ],
)
def test_what_is_refused_erases_nothing(make, ground, who, code):
    one = make(apply=False)
    uuid = lived(one)
    with pytest.raises(Refused) as why:
        erasing.erase(one.program.intake, uuid, ground, one.by(who), ID)
    assert why.value.code == code
    assert NAME in everything(one)
    assert one.register.people[uuid].name == NAME


def test_the_last_owner_stays(make):
    one = make()
    with pytest.raises(Refused) as why:
        erasing.erase(one.program.intake, one.person("own"), GROUND, one.by("own"), ID)
    assert why.value.code == "last_owner"


def test_remarks_of_others_are_counted_and_stay(make):
    one = make(apply=False)
    uuid = lived(one)
    told = one.tell("B7H", "note", who="ana", note=f"ask {NAME} about it").entries[0]
    with one.program.store.read() as c:
        found = erasing.survey(one.program.intake, c, uuid)
    assert (one.machine("B7H"), told.id) in found.named_by_others
    erasing.erase(one.program.intake, uuid, GROUND, one.by("own"), ID)
    assert f"ask {NAME} about it" in everything(one)


def test_a_draft_under_the_id_of_an_erasure_is_not_another(make):
    one = make(apply=False)
    uuid = lived(one)
    erasing.erase(one.program.intake, uuid, GROUND, one.by("own"), ID)
    with pytest.raises(Refused):
        one.program.intake.record([Draft(ID, one.machine("B7H"), "note", {"note": "x"})], one.by("own"))
