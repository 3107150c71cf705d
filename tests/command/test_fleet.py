"""`init`, `fleet apply`, `fleet show`, `site add`: only what differs is appended, and a refusal appends nothing."""

from __future__ import annotations

import pytest

from tests.command.conftest import FLEET


def test_init_makes_a_database_once(asked, done, home):
    first = asked("init")
    assert (first["created"], first["from"], first["fleet"]) == (True, None, None)
    assert "fleet apply" in first["next"]
    assert (home / "logbook.sqlite").exists()
    again = asked("init")
    assert (again["created"], again["from"]) == (False, again["to"])
    assert "fleet apply" in done("init")


def test_init_founds_a_fleet_and_leaves_a_founded_one_alone(asked, refused, done):
    words = ["init", "--name", "Kittiwake Crossings", "--origin", "kittiwake.example/floors", "--language", "es"]
    said = asked(*words, "--witness", "claims@dealer.example")
    assert said["fleet"] == {"name": "Kittiwake Crossings", "origin": "kittiwake.example/floors", "machines": 0}
    done("fleet", "apply", "FLEET.toml")
    before = asked("audit")["entries"]
    assert asked(*words)["fleet"]["machines"] == 3
    assert asked("audit")["entries"] == before
    assert asked("policy", "rinse.grace")[0]["in_force"] == "PT40M"
    assert "for ever" in refused("init", "--name", "Other", "--origin", "other.example/log")


def test_init_with_an_owner_is_enough_to_begin_in_the_browser(asked, refused):
    said = asked("init", "--name", "Kittiwake Crossings", "--origin", "kittiwake.example/floors", "--owner", "jo")
    assert said["next"].startswith("logbook link jo ")
    [person] = asked("fleet", "show")["people"]
    assert (person["key"], person["role"]) == ("jo", "owner")
    assert "--owner" in refused("init", "--owner", "x" * 41, "--name", "K", "--origin", "k.example/x")


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["--name", "A", "--origin", "a.example/x", "--language", "fr"], "--language"),
        (["--name", "A", "--origin", "a.example/x", "--witness", "nobody"], "nobody"),
        (["--name", "", "--origin", "a.example/x"], "--name"),
        (["--db", "sqlite://"], "file to live in"),
        (["--db", "oracle://x/y"], "neither"),
    ],
)
def test_init_refuses(words, why, refused, home):
    assert why in refused("init", *words)
    assert not (home / "logbook.sqlite").exists()


def test_where_the_database_is(asked, done, refused, home, monkeypatch):
    monkeypatch.setenv("LOGBOOK_DB", "sqlite:///env.sqlite")
    assert asked("init")["database"] == "sqlite:///env.sqlite"
    assert asked("--db", "sqlite:///front.sqlite", "init")["database"] == "sqlite:///front.sqlite"
    assert asked("--db", "sqlite:///front.sqlite", "init", "--db", "sqlite:///own.sqlite")["database"].endswith(
        "own.sqlite"
    )
    done("fleet", "apply", "FLEET.toml")
    assert asked("fleet", "show")["name"] == "Kittiwake Crossings"
    assert {path.name for path in home.glob("*.sqlite")} == {"env.sqlite", "front.sqlite", "own.sqlite"}
    monkeypatch.delenv("LOGBOOK_DB")
    (home / "logbook.toml").write_text('db = "sqlite:///file.sqlite"\n')
    assert asked("init")["database"] == "sqlite:///file.sqlite"
    (home / "logbook.toml").write_text("dbb = 3\n")
    assert "no setting" in refused("init")


def test_only_what_differs_is_appended(asked, done, home):
    done("init")
    rehearsed = asked("fleet", "apply", "FLEET.toml", "--dry-run")
    first = asked("fleet", "apply", "FLEET.toml")
    assert rehearsed["entries"] == first["entries"]
    assert first["commissioned"] == ["B7H", "C4J", "R4X"]
    assert {"kind": "fleet_founded", "key": "kittiwake.example/floors"} in first["entries"]
    again = asked("fleet", "apply", "FLEET.toml")
    assert (again["entries"], again["commissioned"]) == ([], [])
    assert "Nothing differs" in done("fleet", "apply", "FLEET.toml")
    (home / "FLEET.toml").write_text(FLEET.replace("PT40M", "PT50M").replace("North Slip", "North Slip East"))
    assert asked("fleet", "apply", "FLEET.toml")["entries"] == [
        {"kind": "site_set", "key": "north-slip"},
        {"kind": "settings", "key": "fleet"},
    ]


@pytest.mark.parametrize(
    ("wrong", "right", "why"),
    [
        ("America/Halifax", "America/Halfax", "time zone"),
        ("[[site]]", "[[site]", "broken TOML"),
        ('"PT40M"', '"40 min"', "rinse.grace"),
        ('code = "B7H"', 'code = "B7J"', "check character"),
        ('origin = "kittiwake.example/floors"', "", "origin"),
        ("2026-03-01T08:00:00-04:00", "2099-03-01T08:00:00-04:00", "not come yet"),
    ],
)
def test_a_file_that_is_refused_appends_nothing(wrong, right, why, asked, done, refused, home):
    done("init")
    (home / "FLEET.toml").write_text(FLEET.replace(wrong, right))
    assert why in refused("fleet", "apply", "FLEET.toml")
    assert asked("audit")["entries"] == 0
    assert asked("init")["fleet"] is None
    assert "cannot be read" in refused("fleet", "apply", "no-such.toml")
    (home / "FLEET.toml").write_bytes(b"\xff\xfe")
    assert "UTF-8" in refused("fleet", "apply", "FLEET.toml")


def test_another_origin_is_refused(fleet, home, refused):
    (home / "FLEET.toml").write_text(FLEET.replace("kittiwake.example/floors", "gannet.example/floors"))
    assert "for ever" in refused("fleet", "apply", "FLEET.toml")


def test_without_a_fleet_there_is_one_sentence(done, refused):
    done("init")
    for words in (["owed"], ["fleet", "show"], ["history", "B7H"], ["alerts"], ["plates"], ["rebuild"]):
        assert "no fleet in this database" in refused(*words)


def test_the_fleet_is_shown_without_names_and_numbers(fleet, asked, done):
    told = asked("fleet", "show")
    assert [(m["code"], m["site"], m["battery"], m["state"]) for m in told["machines"]] == [
        ("B7H", "north-slip", "flooded", "in service"),
        ("C4J", "north-slip", "sealed", "in service"),
        ("R4X", "gannet-rock", "lithium", "in service"),
    ]
    assert {p["key"]: p["role"] for p in told["people"]} == {"jo": "supervisor", "ana": "cleaner", "iker": "cleaner"}
    for said in (str(told), done("fleet", "show")):
        assert "Marsh" not in said
        assert "555" not in said
    done("record", "C4J", "held", "--by", "jo")
    assert [m["state"] for m in asked("fleet", "show")["machines"]][1] == "held, not to be run"


def test_a_site_is_added_by_itself(fleet, asked, refused, done):
    asked("site", "add", "east", "--name", "East Pier", "--zone", "America/Halifax", "--nights", "FREQ=DAILY")
    site = asked("fleet", "show")["sites"][-1]
    assert site == {
        "code": "east", "name": "East Pier", "zone": "America/Halifax",
        "nights": [{"rule": "FREQ=DAILY", "from": "22:00", "to": "06:00", "except": []}],
    }  # fmt: skip
    assert "already" in refused("site", "add", "east", "--zone", "America/Halifax")
    assert "time zone" in refused("site", "add", "west", "--zone", "Atlantis")
    assert "night rule" in refused("site", "add", "west", "--zone", "UTC", "--nights", "FREQ=HOURLY")
    assert [site["code"] for site in asked("fleet", "show")["sites"]] == ["north-slip", "gannet-rock", "east"]
