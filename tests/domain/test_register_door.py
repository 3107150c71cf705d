"""What the fleet's log turns away, each with its sentence."""

from __future__ import annotations

from typing import Any

import pytest

from logbook.domain.entries import catalogue
from logbook.domain.register import Register
from logbook.domain.register_door import objection

M, N = "0192d5c8-0000-7000-8000-00000000000b", "0192d5c8-0000-7000-8000-00000000000c"
JO = "0192d5c8-0000-7000-8000-00000000000a"
NIGHT = {"rule": "FREQ=DAILY", "from": "22:00", "to": "06:00"}


@pytest.fixture
def register() -> Register:
    found = Register()
    found.apply("fleet_founded", {"name": "Straits", "origin": "ferry.example/floors"}, {}, 1)
    found.apply("site_set", {"site": "north-slip", "name": "North", "zone": "America/Halifax"}, {}, 1)
    found.apply("machine_set", {"machine": M, "code": "B7H"}, {}, 1)
    found.apply("person_set", {"person": JO, "role": "owner"}, {"key": "jo"}, 1)
    return found


@pytest.mark.parametrize(
    ("kind", "data", "private", "why"),
    [
        ("fleet_founded", {"origin": "other.example"}, {}, "for ever"),
        ("site_set", {"zone": "America/Nowhere"}, {}, "not a time zone"),
        ("site_set", {"zone": "UTC", "nights": [{**NIGHT, "rule": "FREQ=HOURLY"}]}, {}, "needs FREQ"),
        ("machine_set", {"machine": N, "code": "b7h"}, {}, "another machine"),
        ("machine_set", {"machine": N, "code": "B7K"}, {}, "check character"),
        (
            "machine_set",
            {"machine": N, "code": "C4J", "nights": [{**NIGHT, "except": ["2026-02-30"]}]},
            {},
            "not a date",
        ),
        ("settings", {"values": {"rinse.grase": 1}}, {}, "did you mean"),
        ("settings", {"values": {"longest_use": "PT0S"}}, {}, "not between"),
        ("settings", {"site": "south", "values": {}}, {}, "no site 'south'; it knows north-slip"),
        ("settings", {"machine": N, "values": {}}, {}, "no machine"),
        ("join_word", {"site": "south"}, {"word": "gannet"}, "no site"),
        ("joined", {"site": "north-slip", "person": N}, {"phone": "555"}, "country in front"),
        ("person_set", {"person": N, "sites": ["south"]}, {}, "no site"),
        ("person_set", {"person": N, "quiet": "25:00-06:00"}, {}, "time of the day"),
        ("person_set", {"person": N}, {"key": "jo"}, "another person has the key"),
        ("person_left", {"person": N}, {}, "no person"),
        ("accepted", {"person": N}, {}, "no person"),
    ],
)
def test_turned_away(register: Register, kind: str, data: dict[str, Any], private: dict[str, str], why: str) -> None:
    sentence = objection(register, kind, data, private)
    assert sentence is not None
    assert why in sentence
    assert "Nothing was changed" in sentence


@pytest.mark.parametrize(
    ("kind", "data", "private"),
    [
        ("fleet_founded", {"name": "Straits and Isles", "origin": "ferry.example/floors"}, {}),
        ("machine_set", {"machine": M, "code": "B7H", "nights": [NIGHT]}, {}),
        ("machine_set", {"machine": M, "code": "C4J"}, {}),
        ("settings", {"site": "north-slip", "values": {"filter": None, "cap": 3}}, {}),
        ("settings", {"machine": M, "values": {"cap": 3}}, {}),
        ("person_set", {"person": JO, "role": "owner"}, {"key": "jo", "phone": "+19025550141"}),
        ("opted_out", {"person": JO, "way": "text"}, {}),
    ],
)
def test_let_in(register: Register, kind: str, data: dict[str, Any], private: dict[str, str]) -> None:
    assert objection(register, kind, data, private) is None


@pytest.mark.parametrize("kind", [kind for kind in catalogue if kind.log == "fleet"], ids=lambda kind: kind.kind)
def test_every_example_may_enter(register: Register, kind: Any) -> None:
    private = {name: str(kind.example[name]) for name in kind.private_fields() if name in kind.example}
    data = {name: value for name, value in kind.example.items() if name not in private}
    assert objection(register, kind.kind, data, private) is None
