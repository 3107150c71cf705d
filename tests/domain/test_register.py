"""The register: what was in force when, and who there is."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.domain.entries import catalogue
from logbook.domain.instants import DAY, HOUR, parse
from logbook.domain.people import phone_key
from logbook.domain.register import FOREVER, Register
from logbook.domain.timeline import Timeline

T0 = parse("2026-03-01T12:00:00Z")
NIGHTS = [{"rule": "FREQ=DAILY", "from": "22:00", "to": "06:00"}]
M, N = "0192d5c8-0000-7000-8000-00000000000b", "0192d5c8-0000-7000-8000-00000000000c"
ANA, JO, KIM = (f"0192d5c8-0000-7000-8000-0000000000{n}" for n in ("a1", "a2", "a3"))


def told(register: Register, at: int, kind: str, private: dict[str, str] | None = None, **data: Any) -> None:
    register.apply(kind, data, private or {}, at)


@pytest.fixture
def register() -> Register:
    found = Register()
    told(found, T0, "fleet_founded", {"witness": "claims@dealer.example"},
         name="Strait Ferries", origin="ferry.example/floors", language="es")  # fmt: skip
    told(
        found,
        T0,
        "site_set",
        {"order": "acct 7"},
        site="north",
        name="North Slip",
        zone="America/Halifax",
        nights=NIGHTS,
    )
    told(found, T0, "site_set", site="rock", name="Rock Hall", zone="America/St_Johns")
    told(found, T0 + 1, "machine_set", machine=M, code="B7H", segments={"part": "D-30", "heads": 3, "new_um": 12000})
    return found


def test_what_the_fleet_is(register: Register) -> None:
    assert (register.name, register.origin, register.language) == ("Strait Ferries", "ferry.example/floors", "es")
    assert register.witness == "claims@dealer.example"
    assert register.sites["north"].order == "acct 7"
    assert register.by_code["B7H"].uuid == M


def test_policy_is_in_force_from_its_entry_on_and_for_ever_as_it_was(register: Register) -> None:
    told(register, T0 + HOUR, "settings", values={"watering.every": "P6D"})
    told(register, T0 + 2 * HOUR, "settings", site="north", values={"watering.every": "P5D", "filter": False})
    told(register, T0 + 3 * HOUR, "settings", machine=M, values={"watering.every": "P4D"})
    told(register, T0 + 4 * HOUR, "settings", site="north", values={"filter": None})

    def days(machine: str, site: str, at: int) -> int:
        return register.policy(machine, site, at).duration("watering.every").days

    assert [days(M, "north", T0 + n * HOUR) for n in (-1, 0, 1, 2, 3, 4)] == [7, 7, 6, 5, 4, 4]
    assert days(M, "north", T0 + HOUR - 1) == 7
    assert [days(N, "north", T0 + n * HOUR) for n in (2, 3)] == [5, 5]
    assert [days(N, "rock", T0 + n * HOUR) for n in (2, 3)] == [6, 6]
    assert ["filter" in register.policy(M, "north", T0 + n * HOUR).on for n in (1, 2, 3, 4)] == [
        True,
        False,
        False,
        True,
    ]
    assert register.policy(M, "north", T0 + 3 * HOUR) is register.policy(M, "north", T0 + 4 * HOUR - 1)
    assert register.settings(site="north") == {"watering.every": "P5D"}
    assert register.settings(machine=N) == {}


def test_later_news_changes_no_earlier_answer(register: Register) -> None:
    before = register.policy(M, "north", T0 + HOUR)
    told(register, T0 + 2 * HOUR, "settings", values={"settle": "PT1M"})
    assert register.policy(M, "north", T0 + HOUR) is before
    assert register.policy(M, "north", T0 + 2 * HOUR) is not before


def test_before_the_first_entry_it_is_as_at_the_first() -> None:
    register = Register()
    told(register, T0, "settings", values={"settle": "PT1M"})
    told(register, T0, "site_set", site="north", name="North", zone="America/Halifax", nights=NIGHTS)
    told(register, T0, "machine_set", machine=M, code="B7H", segments={"heads": 2})
    for at in (T0 - 1000 * DAY, -FOREVER):
        assert register.policy(M, "north", at) is register.policy(M, "north", T0)
        assert register.policy(M, "north", at).settle == 60_000_000
        assert register.zone("north", at).key == "America/Halifax"
        # But no night was expected before anybody had said so.
        assert register.nights(M, "north", at) is None
        fit = register.segments(M, at)
        assert fit is not None
        assert fit.heads == 2
        assert register.next_change(at) == T0
    assert register.nights(M, "north", T0) is not None


def test_zones_change(register: Register) -> None:
    told(register, T0 + DAY, "site_set", site="north", name="North Slip", zone="America/St_Johns", nights=NIGHTS)
    assert register.zone("north", T0 + DAY - 1).key == "America/Halifax"
    assert register.zone("north", T0 + DAY).key == "America/St_Johns"
    with pytest.raises(ValueError, match="no site"):
        register.zone("nowhere", T0)


def test_a_machines_own_nights_outweigh_its_sites(register: Register) -> None:
    told(register, T0 + HOUR, "machine_set", machine=M, code="B7H", nights=[{**NIGHTS[0], "from": "23:00"}])
    told(register, T0 + 2 * HOUR, "machine_set", machine=M, code="B7H", nights=[])
    told(register, T0 + 3 * HOUR, "machine_set", machine=M, code="B7H")
    lengths = []
    for hours in (0, 1, 2, 3):
        calendar = register.nights(M, "north", T0 + hours * HOUR)
        night = calendar.first_after(T0) if calendar is not None else None
        lengths.append(None if night is None else (night.ends - night.begins) // HOUR)
    assert lengths == [8, 7, None, 8]
    assert register.nights(N, "north", T0) is register.nights(M, "north", T0)
    assert register.nights(M, "rock", T0) is None
    assert register.nights(M, "nowhere", T0) is None


def test_next_change(register: Register) -> None:
    assert register.next_change(T0) == T0 + 1
    assert register.next_change(T0 + 1) == FOREVER
    told(register, T0 + HOUR, "settings", values={"cap": 3})
    told(register, T0 + DAY, "person_left", person=JO)
    assert register.next_change(T0 + 1) == T0 + HOUR
    assert register.next_change(T0 + HOUR) == FOREVER


def test_a_log_never_goes_back(register: Register) -> None:
    told(register, T0 + HOUR, "settings", values={"cap": 3})
    with pytest.raises(ValueError, match="before"):
        told(register, T0, "settings", values={"cap": 4})


def test_a_plate_can_change(register: Register) -> None:
    told(register, T0 + HOUR, "machine_set", machine=M, code="C4J")
    assert "B7H" not in register.by_code
    assert register.by_code["C4J"].uuid == M
    told(register, T0 + HOUR, "machine_set", machine=N, code="B7H")
    assert register.by_code["B7H"].uuid == N
    assert register.segments(M, T0 + 1) is not None
    assert register.segments(M, T0 + HOUR) is None
    assert register.segments("unknown", T0) is None


def test_joining_words(register: Register) -> None:
    told(register, T0 + HOUR, "join_word", {"word": "gannet"}, site="north")
    assert register.site_of_word(" Gannet ") == "north"
    told(register, T0 + HOUR, "join_word", {"word": "puffin"}, site="north")
    assert register.site_of_word("gannet") is None
    told(register, T0 + HOUR, "join_word", site="north")
    assert register.site_of_word("puffin") is None


# -- people -----------------------------------------------------------------------------------------------------------

JO_WORDS = {"key": "jo", "name": "Jo Marsh", "phone": "+19025550141", "email": "Jo@ferry.example"}


def test_a_person_is_found_by_number_address_and_key(register: Register) -> None:
    told(
        register, T0 + HOUR, "person_set", JO_WORDS, person=JO, role="supervisor", sites=["north"], quiet="22:00-06:00"
    )
    jo = register.people[JO]
    assert (jo.role, jo.name, jo.language, jo.sites, jo.quiet, jo.state) == (
        "supervisor", "Jo Marsh", "en", ("north",), "22:00-06:00", "member",
    )  # fmt: skip
    assert register.person_by_phone("+1 (902) 555-0141") is jo
    assert register.person_by_email(" jo@FERRY.example") is jo
    assert register.person_by_key("jo") is jo
    assert register.person_by_phone("+19025550142") is None
    assert register.person_by_phone("not a number") is None
    assert register.who("supervisor", "north") == [jo]
    assert register.who("supervisor", "rock") == []
    assert register.who("owner", "north") == []


def test_owners_have_to_do_with_every_site(register: Register) -> None:
    told(register, T0 + HOUR, "person_set", {"key": "kim"}, person=KIM, role="owner")
    assert [person.key for person in register.who("owner", "rock")] == ["kim"]


def test_joining_waits_for_a_yes(register: Register) -> None:
    told(
        register, T0 + HOUR, "joined", {"name": "Ana", "phone": "+19025550150"}, person=ANA, site="north", language="es"
    )
    ana = register.people[ANA]
    assert (ana.role, ana.state, ana.sites, ana.language, ana.key) == ("cleaner", "unconfirmed", ("north",), "es", None)
    assert register.person_by_phone("+19025550150") is ana
    assert register.who("cleaner", "north") == []
    told(register, T0 + HOUR, "set_aside", person=ANA)
    assert register.people[ANA].state == "set_aside"
    told(register, T0 + HOUR, "accepted", person=ANA)
    assert register.who("cleaner", "north") == [ana]
    told(register, T0 + HOUR, "person_left", person=ANA)
    assert register.people[ANA].state == "left"
    assert register.who("cleaner", "north") == []


def test_a_new_number_replaces_the_old_and_a_number_is_handed_on(register: Register) -> None:
    told(register, T0 + HOUR, "person_set", JO_WORDS, person=JO, role="supervisor", sites=["north"])
    told(register, T0 + HOUR, "person_set", {**JO_WORDS, "phone": "+19025550142"}, person=JO, role="supervisor")
    assert register.person_by_phone("+19025550141") is None
    told(register, T0 + HOUR, "joined", {"name": "Ana", "phone": "+19025550142"}, person=ANA, site="north")
    assert register.person_by_phone("+19025550142") is register.people[ANA]
    told(register, T0 + HOUR, "person_set", {"key": "jo"}, person=JO, role="supervisor")
    assert register.person_by_phone("+19025550142") is register.people[ANA]


def test_opting_out_outlasts_a_change(register: Register) -> None:
    told(register, T0 + HOUR, "person_set", JO_WORDS, person=JO, role="supervisor", sites=["north"])
    told(register, T0 + HOUR, "opted_out", person=JO, way="text")
    told(register, T0 + HOUR, "person_set", JO_WORDS, person=JO, role="keeper", sites=["north"])
    assert register.people[JO].opted_out == {"text"}
    told(register, T0 + HOUR, "opted_in", person=JO, way="text")
    assert register.people[JO].opted_out == set()


def test_after_an_erasure_the_words_are_gone(register: Register) -> None:
    told(register, T0 + HOUR, "person_set", JO_WORDS, person=JO, role="supervisor", sites=["north"])
    told(register, T0 + HOUR, "erased", person=JO, items=4, ground="asked by the person")
    jo = register.people[JO]
    assert (jo.key, jo.name, jo.phone, jo.email) == (None, None, None, None)
    assert register.person_by_phone("+19025550141") is None
    assert register.person_by_email("jo@ferry.example") is None


@pytest.mark.parametrize("number", ["5550141", "", "+1", "+19025550141123456", "hello"])
def test_what_is_no_number_is_refused(number: str) -> None:
    with pytest.raises(ValueError, match="phone number"):
        phone_key(number)


@pytest.mark.parametrize("number", ["+19025550100", "+1 902 555 0199", "+1-709-555-0123", "+44 20 7946 0000"])
def test_invented_numbers_are_possible(number: str) -> None:
    """555-0100 to 555-0199 are kept for fiction: possible, though not valid, to the phonenumbers library."""
    assert phone_key(number).startswith("+")


@pytest.mark.parametrize("kind", [kind for kind in catalogue if kind.log == "fleet"], ids=lambda kind: kind.kind)
def test_every_fleet_entrys_example_is_taken(kind: Any) -> None:
    register = Register()
    private = {name: str(kind.example[name]) for name in kind.private_fields() if name in kind.example}
    register.apply(kind.kind, {k: v for k, v in kind.example.items() if k not in private}, private, T0)


# -- timelines --------------------------------------------------------------------------------------------------------


@given(st.lists(st.tuples(st.integers(0, 50), st.integers()), min_size=1, max_size=20), st.integers(-5, 60))
def test_a_timeline_answers_with_the_last_change_before(changes: list[tuple[int, int]], at: int) -> None:
    changes.sort(key=lambda change: change[0])
    known = [value for instant, value in changes if instant <= at]
    first = [value for instant, value in changes if instant == changes[0][0]]
    assert Timeline(changes).at(at) == (known[-1] if known else first[-1])
    assert bool(Timeline(changes)) is True
    assert bool(Timeline()) is False
