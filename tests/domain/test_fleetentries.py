"""A fleet file as entries: applied once it says everything, applied twice it adds nothing."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count

import pytest

from logbook.domain.entries import catalogue
from logbook.domain.fleetentries import Wanted, commissionings, differences, identify, register_of, split, wanted
from logbook.domain.fleetfile import FleetFile, FleetFileError, read
from logbook.domain.instants import DAY, HOUR, parse
from logbook.domain.register import FOREVER, Register

T0 = parse("2026-03-01T12:00:00Z")
FLEET = """\
[fleet]
name = "Strait Ferries"
origin = "ferry.example/floors"
witness = "claims@dealer.example"
[policy]
"rinse.grace" = "PT60M"
[[site]]
code = "north"
name = "North Slip"
zone = "America/Halifax"
nights = [{rule = "FREQ=DAILY", from = "22:00", to = "06:00", except = ["2026-12-25"]}]
policy = {"watering.every" = "P5D"}
order = {account = "7"}
[[site]]
code = "rock"
zone = "America/St_Johns"
[[machine]]
code = "B7H"
site = "north"
battery = "flooded"
commissioned_at = "2026-03-01T08:00:00-04:00"
serial = "SN-0417"
segments = {part = "D-30", heads = 3}
policy = {"watering.every" = "P4D"}
[[machine]]
code = "C4J"
site = "rock"
battery = "sealed"
commissioned_at = "2026-03-01T08:00:00-04:00"
nights = []
[[person]]
key = "jo"
name = "Jo Marsh"
role = "supervisor"
phone = "+19025550141"
email = "jo@ferry.example"
sites = ["north"]
[[person]]
key = "kim"
role = "owner"
language = "es"
quiet = "22:00-07:00"
"""


def ids() -> Callable[[], str]:
    numbers = count(1)
    return lambda: f"0192d5c8-0000-7000-8000-{next(numbers):012d}"


def record(entries: list[Wanted], register: Register, at: int) -> None:
    for entry in entries:
        kind = catalogue.newest(entry.kind)
        assert kind is not None
        kind.model_validate(entry.data)
        register.apply(entry.kind, *split(entry.kind, entry.data), at)


@pytest.fixture
def file() -> FleetFile:
    return read(FLEET)


@pytest.fixture
def register(file: FleetFile) -> Register:
    found = Register()
    record(identify(differences(file, found), ids()), found, T0)
    return found


def change(register: Register, old: str, new: str) -> list[Wanted]:
    assert old in FLEET
    return differences(read(FLEET.replace(old, new, 1)), register)


def test_all_of_a_file_is_wanted_by_an_empty_log(file: FleetFile) -> None:
    found = differences(file, Register())
    assert sorted((entry.kind, entry.key) for entry in found) == sorted(
        (entry.kind, entry.key) for entry in wanted(file)
    )
    assert found[0].kind == "fleet_founded"
    assert {entry.key for entry in found if entry.kind == "settings"} == {"fleet", "site:north", "machine:B7H"}


def test_applied_twice_a_file_adds_nothing(file: FleetFile, register: Register) -> None:
    assert differences(file, register) == []
    assert commissionings(file, register) == []


def test_the_same_numbers_in_other_words_are_no_difference(register: Register) -> None:
    assert change(register, '"PT60M"', '"PT1H"') == []
    assert change(register, "[[machine]]", "[[machine]]\n# a remark") == []


def test_the_register_is_as_the_file_says(register: Register) -> None:
    b7h = register.by_code["B7H"]
    assert register.policy(b7h.uuid, "north", T0).duration("watering.every").days == 4
    assert register.policy("another", "north", T0).duration("watering.every").days == 5
    assert register.policy(b7h.uuid, "rock", T0).duration("rinse.grace").micros == HOUR
    assert register.nights(register.by_code["C4J"].uuid, "rock", T0) is None
    assert [person.key for person in register.who("owner", "rock")] == ["kim"]
    assert register.people[register.who("owner", "rock")[0].uuid].sites == ("north", "rock")


@pytest.mark.parametrize(
    ("old", "new", "kind", "key"),
    [
        ('name = "Strait Ferries"', 'name = "Straits"', "fleet_founded", "ferry.example/floors"),
        ("claims@", "claim@", "fleet_founded", "ferry.example/floors"),
        ('name = "North Slip"', 'name = "North"', "site_set", "north"),
        ("2026-12-25", "2026-12-26", "site_set", "north"),
        ('account = "7"', 'account = "8"', "site_set", "north"),
        ('code = "C4J"', 'code = "C5H"', "machine_set", "C5H"),
        ("heads = 3", "heads = 4", "machine_set", "B7H"),
        ("nights = []\n", "", "machine_set", "C4J"),
        ('sites = ["north"]', 'sites = ["rock"]', "person_set", "jo"),
        ("+19025550141", "+19025550142", "person_set", "jo"),
        ('language = "es"', "", "person_set", "kim"),
    ],
)
def test_what_differs_is_wanted_and_nothing_else(old: str, new: str, kind: str, key: str, register: Register) -> None:
    (entry,) = change(register, old, new)
    assert (entry.kind, entry.key) == (kind, key)
    record(identify([entry], lambda: "0192d5c8-0000-7000-8000-0000000000ff"), register, T0 + DAY)
    assert change(register, old, new) == []


def test_policy_is_changed_key_by_key_and_put_back(register: Register) -> None:
    (entry,) = change(register, '"P5D"', '"P6D"')
    assert entry == Wanted("settings", "site:north", {"site": "north", "values": {"watering.every": "P6D"}})
    (entry,) = change(register, '"rinse.grace" = "PT60M"', '"settle" = "PT1M"')
    assert entry.data == {"values": {"settle": "PT1M", "rinse.grace": None}}
    (entry,) = change(register, 'policy = {"watering.every" = "P4D"}', "")
    assert entry.data == {"machine": register.by_code["B7H"].uuid, "values": {"watering.every": None}}


def test_a_new_machine_is_given_one_id_throughout(register: Register) -> None:
    text = FLEET + '[[machine]]\ncode = "C5H"\nsite = "rock"\npolicy = {"cap" = 3}\n'
    machine, settings = identify(differences(read(text), register), lambda: "new")
    assert (machine.data["machine"], machine.data["code"]) == ("new", "C5H")
    assert settings.data == {"machine": "new", "values": {"cap": 3}}


def test_a_known_machine_keeps_its_id(register: Register) -> None:
    (entry,) = change(register, "heads = 3", "heads = 4")
    assert entry.data["machine"] == register.by_code["B7H"].uuid
    assert identify([entry], lambda: "new") == [entry]


def test_someone_who_joined_is_the_same_person(register: Register) -> None:
    register.apply("joined", {"person": "ana-id", "site": "north"}, {"name": "Ana", "phone": "+19025550150"}, T0)
    text = FLEET + '[[person]]\nkey = "ana"\nrole = "cleaner"\nphone = "+1 902 555 0150"\n'
    (entry,) = differences(read(text), register)
    assert entry.data["person"] == "ana-id"


def test_someone_who_left_comes_back_by_the_file(file: FleetFile, register: Register) -> None:
    jo = register.person_by_key("jo")
    assert jo is not None
    register.apply("person_left", {"person": jo.uuid}, {}, T0 + HOUR)
    (entry,) = differences(file, register)
    assert (entry.kind, entry.data["person"]) == ("person_set", jo.uuid)


def test_what_was_taken_out_of_the_file_stays(register: Register) -> None:
    text = FLEET[: FLEET.index('[[person]]\nkey = "kim"')]
    assert differences(read(text), register) == []


def test_the_origin_never_changes(register: Register) -> None:
    with pytest.raises(FleetFileError, match="for ever"):
        change(register, "ferry.example/floors", "other.example")


def test_a_log_needs_a_name_and_an_origin() -> None:
    with pytest.raises(FleetFileError, match="name and origin"):
        wanted(read(""))
    assert register_of(read(""), T0).sites == {}


def test_new_machines_are_commissioned(file: FleetFile) -> None:
    b7h, c4j = commissionings(file, Register())
    assert b7h.occurred_at == T0
    assert b7h.data == {"site": "north", "battery": "flooded", "code": "B7H", "serial": "SN-0417"}
    assert c4j.code == "C4J"
    kind = catalogue.newest("commissioned")
    assert kind is not None
    kind.model_validate(b7h.data)
    with pytest.raises(FleetFileError, match="battery and commissioned_at"):
        commissionings(read(FLEET.replace('battery = "flooded"\n', "")), Register())


def test_a_replays_register_is_in_force_from_the_beginning(file: FleetFile) -> None:
    register = register_of(file, -FOREVER)
    for at in (T0 - 9999 * DAY, T0, T0 + 9999 * DAY):
        assert register.policy("B7H", "north", at).duration("watering.every").days == 4
        assert register.next_change(at) == FOREVER
    assert register.machines["B7H"].code == "B7H"
    assert register.person_by_key("jo") is register.people["jo"]
    assert register.sites["north"].order == '{"account": "7"}'


def test_private_words_are_taken_out() -> None:
    said, private = split("person_set", {"person": "p", "key": "jo", "name": None, "role": "owner"})
    assert said == {"person": "p", "role": "owner"}
    assert private == {"key": "jo"}
