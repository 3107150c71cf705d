"""FLEET.toml: what is read, and the sentence for what is not."""

from __future__ import annotations

import pytest

from logbook.domain import codes
from logbook.domain.fleetfile import FleetFileError, read

FLEET = """\
[fleet]
name = "Strait Ferries"
origin = "ferry.example/floors"
language = "en"
witness = "claims@dealer.example"

[policy]
"rinse.grace" = "PT60M"
"filter" = false

[[site]]
code = "north-slip"
name = "North Slip"
zone = "America/Halifax"
nights = [{rule = "FREQ=DAILY", from = "22:00", to = "06:00", except = ["2026-12-25"]}]
policy = {"watering.every" = "P5D"}
order = {account = "7", contact = "Sam", email = "orders@parts.example"}

[[site]]
code = "rock-hall"
zone = "America/St_Johns"

[[machine]]
code = "B7H"
site = "north-slip"
battery = "flooded"
commissioned_at = "2026-03-01T08:00:00-04:00"
serial = "SN-0417"
warranty_from = 2026-01-15
segments = {part = "D-30", heads = 3, new_um = 12000}

[machine.policy]
"segments.reorder_at" = 6.35

[[machine]]
code = "auto"
site = "rock-hall"
battery = "lithium"
commissioned_at = 2026-03-01T08:00:00-03:30

[[person]]
key = "jo"
name = "Jo Marsh"
role = "supervisor"
phone = "+1 902 555 0141"
email = "jo@ferry.example"
sites = ["north-slip"]
quiet = "21:00-06:30"

[[person]]
key = "kim"
role = "owner"
"""


def test_a_whole_file_is_read() -> None:
    file = read(FLEET)
    assert file.fleet.origin == "ferry.example/floors"
    assert file.policy == {"rinse.grace": "PT1H", "filter": False}
    assert file.site[0].policy == {"watering.every": "P5D"}
    assert file.site[0].order_text == '{"account": "7", "contact": "Sam", "email": "orders@parts.example"}'
    assert file.site[1].order_text is None
    b7h, other = file.machine
    assert b7h.commissioned_at == "2026-03-01T12:00:00Z"
    assert other.commissioned_at == "2026-03-01T11:30:00Z"
    assert b7h.warranty_from == "2026-01-15"
    assert b7h.policy == {"segments.reorder_at": "6.35 mm"}
    assert b7h.segments is not None
    assert b7h.segments.heads == 3
    assert file.person[0].phone == "+19025550141"


def test_an_empty_file_is_an_empty_fleet() -> None:
    file = read("")
    assert (file.site, file.machine, file.person) == ([], [], [])
    assert file.fleet.name is None


def test_auto_is_answered_with_the_next_free_code() -> None:
    first, second = codes.generate(3, ["B7H"]), codes.every(3)
    assert read(FLEET).machine[1].code == first == next(second)
    again = read(FLEET.replace('"B7H"', f'"{first}"'))
    assert again.machine[1].code == next(second)
    assert read(FLEET) == read(FLEET)


def test_auto_takes_the_length_that_the_fleet_has() -> None:
    four = next(codes.every(4))
    assert len(read(FLEET.replace('"B7H"', f'"{four}"')).machine[1].code) == 4


def test_auto_takes_a_longer_code_when_there_are_many_machines() -> None:
    rows = '[[site]]\ncode = "s"\nzone = "UTC"\n' + '[[machine]]\ncode = "auto"\nsite = "s"\n' * 146
    found = {machine.code for machine in read(rows).machine}
    assert len(found) == 146
    assert {len(code) for code in found} == {4}


@pytest.mark.parametrize("code", ["M1", "machine-1", "B 7", "X99999", "AA", "b7k"])
def test_codes_that_are_not_of_our_making_are_free(code: str) -> None:
    assert read(FLEET.replace('"B7H"', f'"{code}"')).machine[0].code == code


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("[policy]", "[policy", ["broken TOML", "line 7"]),
        ("[fleet]", "[fleeet]", ['"fleeet"', 'did you mean "fleet"?', "line 1"]),
        ("language =", "languag =", ['"languag" is no key', 'did you mean "language"?', "line 4", "[fleet]"]),
        ('"en"', '"fr"', ["en or es", "line 4"]),
        ("claims@dealer.example", "claims", ["'claims' is not a mail address", "line 5"]),
        ("PT60M", "P1M", ['"rinse.grace"', "months or years", "line 8", "[policy]"]),
        ('"rinse.grace"', '"rinse.grase"', ['did you mean "rinse.grace"?', "line 8"]),
        ('"P5D"', "5", ['"watering.every" = 5', "line 16", '[[site]] "north-slip"']),
        ("6.35", "50", ["not between 0 and 40 mm", '[[machine]] "B7H"', "line 33"]),
        ("America/Halifax", "America/Halifacts", ["not a time zone", "line 14", '[[site]] "north-slip"']),
        ("FREQ=DAILY", "FREQ=HOURLY", ["needs FREQ=", "line 15"]),
        ('"22:00"', '"22"', ["a time of the day like 22:00", "line 15"]),
        ("2026-12-25", "2026-13-25", ["'2026-13-25' is not a date", "line 15"]),
        ('code = "rock-hall"', 'code = "North-Slip"', ["another [[site]]", "line 20"]),
        ('zone = "America/St_Johns"', "", ['"zone" is missing', '[[site]] "rock-hall"', "line 19"]),
        ('site = "north-slip"', 'site = "north-slib"', ['did you mean "north-slip"?', "line 25", '"B7H"']),
        ('"B7H"', '"B7K"', ["wrong check character", 'write "B7H"', "line 24"]),
        ('"B7H"', '"A7K"', ["wrong check character", "take another code"]),
        ('code = "auto"', 'code = "B7H"', ["another [[machine]]", "line 36"]),
        ('code = "auto"', 'code = "b7h"', ["another [[machine]]", "line 36"]),
        ('code = "auto"', 'code = "C224"', ["one fleet uses one length", "line 36"]),
        ('code = "auto"', 'code = "_"', ["letters, digits", "line 36"]),
        ('"flooded"', '"wet"', ['cannot be "wet"', "line 26"]),
        ('"2026-03-01T08:00:00-04:00"', '"yesterday"', ["'yesterday' is not an RFC 3339 time", "line 27"]),
        ('"2026-03-01T08:00:00-04:00"', "2026-03-01", ["names no instant", "line 27"]),
        ('"2026-03-01T08:00:00-04:00"', "2026-03-01T08:00:00", ["names no instant", "line 27"]),
        ('"2026-03-01T08:00:00-04:00"', "7", ["cannot be 7", "line 27"]),
        ("heads = 3", "heads = 99", ['"segments.heads" cannot be 99', "line 30"]),
        ("heads = 3", "headz = 3", ['"headz" is no key', "line 30"]),
        ('"supervisor"', '"boss"', ['cannot be "boss"', '[[person]] "jo"']),
        ("+1 902 555 0141", "555-0141", ["country in front", '[[person]] "jo"']),
        ('"jo@ferry.example"', '"jo@ferry.example, x@y.example"', ["not a mail address"]),
        ('["north-slip"]', '["nowhere"]', ['site "nowhere"', '[[person]] "jo"']),
        ('"21:00-06:30"', '"21-6"', ["time of the day"]),
        ('key = "kim"', 'key = "jo"', ["another [[person]]"]),
        ('key = "kim"', 'key = "kim"\nphone = "+19025550141"', ["another [[person]]", "phone"]),
        ('key = "kim"', 'key = "kim"\nemail = "JO@ferry.example"', ["another [[person]]", "email"]),
        ("[[person]]\nkey = \"kim\"\nrole = \"owner\"\n", "[person2]\n", ['"person2"', "[person2]"]),
    ],
)  # fmt: skip
def test_the_sentence_for_what_is_refused(old: str, new: str, said: list[str]) -> None:
    assert old in FLEET
    with pytest.raises(FleetFileError) as refused:
        read(FLEET.replace(old, new, 1))
    sentence = str(refused.value)
    assert [part for part in said if part not in sentence] == [], sentence
    assert "\n" not in sentence
    assert sentence.endswith("Nothing was read.")


def test_tables_that_may_come_several_times_need_two_brackets() -> None:
    with pytest.raises(FleetFileError, match=r"write \[\[site\]\] with two brackets"):
        read('[site]\ncode = "x"\n')


def test_inline_tables_have_no_line_but_a_name() -> None:
    with pytest.raises(FleetFileError, match=r'\[\[machine\]\] "M1": site "y"'):
        read('site = [{code = "x", zone = "UTC"}]\nmachine = [{code = "M1", site = "y"}]\n')


def test_a_machines_nights_are_read_in_its_sites_zone() -> None:
    text = FLEET.replace("segments =", 'nights = [{rule = "FREQ=NEVER", from = "22:00", to = "06:00"}]\nsegments =')
    with pytest.raises(FleetFileError, match=r'\[\[machine\]\] "B7H".*needs FREQ'):
        read(text)
