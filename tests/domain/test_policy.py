"""The numbers of policy: each default, what is taken, what is refused and how that is said."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.domain.calendar import Duration
from logbook.domain.instants import HOUR, MINUTE
from logbook.domain.policy import DUTIES, KEYS, PolicyError, Step, check, check_change, resolve
from logbook.domain.policy_forms import micrometres_of, show_millimetres

DEFAULTS = {
    "closing": "PT2H", "longest_use": "PT10H", "late_after": "PT12H", "day_turns": "12:00", "settle": "PT10M",
    "rinse.grace": "PT30M", "charge.grace": "PT30M", "squeegee.grace": "PT30M", "prepared.grace": "PT15M",
    "prepared.window": "PT2H", "watering.every": "P7D", "filter.every": "P7D", "segments.every": "P14D",
    "segments.reorder_at": "6.35 mm", "fault.answer_within": "PT4H", "repair.within": "P5D",
    "delivery.within": "P10D", "night.grace": "PT1H", "night.window": "PT1H", "gather": "PT2M",
    "remind_before": "PT15M", "quiet": "21:00-06:30", "charge_before_night": "PT4H", "nights_untold_urgent": 3,
    "lone_machine": True, "undo_within": "PT30M", "keep_texts": "P90D", "segments_low.acknowledge_for": "P7D",
    "repair.acknowledge_for": "P1D", "rinse.acknowledge_for": "PT8H",
}  # fmt: skip
"""The defaults of the rules (common practice, no source: pace of the trade, not of a standard)."""


@pytest.mark.parametrize(("name", "value"), DEFAULTS.items())
def test_defaults(name: str, value: Any) -> None:
    assert KEYS[name].default == value
    assert resolve().values[name] == value


@pytest.mark.parametrize("key", KEYS.values(), ids=lambda key: key.name)
def test_every_key_is_documented_and_takes_its_own_default(key: Any) -> None:
    assert key.meaning.endswith(".")
    assert key.unit
    if key.default is not None:
        assert check({key.name: key.default}) == {key.name: key.default}
        assert type(check({key.name: key.default})[key.name]) is type(key.default)
    else:
        assert key.follows in KEYS


def test_all_duties_but_prepared_are_on() -> None:
    assert resolve().on == frozenset(DUTIES) - {"prepared"}
    assert resolve({"filter": False, "prepared": True}).on == frozenset(DUTIES) - {"filter"}


def test_how_alerts_are_told() -> None:
    told = {duty: resolve().tell(duty) for duty in DUTIES}
    assert {duty for duty, tell in told.items() if tell == "now"} == {"rinse", "charge", "watering"}
    assert {duty for duty, tell in told.items() if tell == "urgent"} == {"segments_gone", "held_start", "fault"}
    assert {tell for duty, tell in told.items()} == {"now", "urgent", "letter"}


def test_numbers_are_ready_for_the_fold() -> None:
    policy = resolve({"settle": "PT5M", "night.grace": "P1D", "segments.reorder_at": "1/4 in", "day_turns": False})
    assert (policy.closing, policy.longest_use, policy.settle) == (2 * HOUR, 10 * HOUR, 5 * MINUTE)
    assert policy.night_grace == policy.duration("night.grace") == Duration(days=1)
    assert policy.reorder_um == 6_350
    assert policy.day_turns is None
    assert resolve().day_turns == 720
    assert resolve().quiet == (21 * 60, 6 * 60 + 30)
    assert resolve({"quiet": False}).quiet is None
    assert policy.number("cap") == 12
    assert policy.flag("remind") is True
    assert policy.acknowledge_for("segments_low") == Duration(days=7)
    with pytest.raises(KeyError):
        policy.number("remind")
    with pytest.raises(KeyError):
        policy.flag("cap")
    with pytest.raises(KeyError):
        policy.duration("cap")


def test_the_narrower_outweighs_the_wider_and_none_does_not() -> None:
    fleet = {"watering.every": "P6D", "filter.every": "P6D", "settle": "PT1M"}
    site = {"watering.every": "P5D", "filter.every": None}
    machine = {"watering.every": "P4D"}
    policy = resolve(fleet, site, machine)
    assert policy.duration("watering.every").days == 4
    assert policy.duration("filter.every").days == 6
    assert policy.settle == MINUTE
    assert resolve(fleet, site).duration("watering.every").days == 5


def test_the_same_values_are_the_same_object() -> None:
    assert resolve({"cap": 3}, {}) is resolve({}, {"cap": 3})
    assert resolve({"escalation": ["PT0S owner"]}) is resolve({"escalation": ["PT0S owner"]})
    assert resolve() is not resolve({"cap": 3})


def test_a_switch_is_not_a_number() -> None:
    resolve({"remind": True})
    with pytest.raises(PolicyError):
        resolve({"remind": 1})
    with pytest.raises(PolicyError):
        resolve({"cap": True})


def test_escalation_by_duty() -> None:
    policy = resolve({"escalation": ["PT0S keeper", "PT1H supervisor mail"], "fault.escalate": ["PT0S owner text"]})
    assert policy.escalation("rinse") == (
        Step(Duration(), "keeper"),
        Step(Duration(micros=HOUR), "supervisor", "mail"),
    )
    assert policy.escalation("fault") == (Step(Duration(), "owner", "text"),)
    assert [step.role for step in resolve().escalation("rinse")] == ["supervisor", "owner"]


@pytest.mark.parametrize(
    ("name", "value", "kept"),
    [
        ("rinse.grace", "PT90M", "PT1H30M"),
        ("repair.within", "P2W", "P14D"),
        ("repair.within", "PT120H", "PT120H"),
        ("closing", "PT0S", "PT0S"),
        ("segments.reorder_at", "6.35 mm", "6.35 mm"),
        ("segments.reorder_at", "6.350mm", "6.35 mm"),
        ("segments.reorder_at", "1/4 in", "6.35 mm"),
        ("segments.reorder_at", '1/4"', "6.35 mm"),
        ("segments.reorder_at", "0.25 in", "6.35 mm"),
        ("segments.reorder_at", "0,25 in", "6.35 mm"),
        ("segments.reorder_at", 6.35, "6.35 mm"),
        ("segments.reorder_at", 6, "6 mm"),
        ("segments.reorder_at", "1 cm", "10 mm"),
        ("quiet", "21:00 – 06:30", "21:00-06:30"),
        ("quiet", False, False),
        ("day_turns", False, False),
        ("day_turns", "06:00", "06:00"),
        ("escalation", ["PT60M supervisor mail"], ["PT1H supervisor mail"]),
        ("rinse.tell", "none", "none"),
    ],
)
def test_values_are_kept_in_one_spelling(name: str, value: Any, kept: Any) -> None:
    (found,) = check({name: value}).values()
    assert found == kept
    assert not isinstance(found, float)


@pytest.mark.parametrize(
    ("name", "value", "why"),
    [
        ("longest_use", "PT0S", "not between"),
        ("longest_use", "P1D", "local days"),
        ("closing", "P1D", "local days"),
        ("settle", "P1D", "local days"),
        ("gather", "P1D", "local days"),
        ("remind_before", "P1D", "local days"),
        ("night.window", "P1D", "local days"),
        ("prepared.window", "P1W", "local days"),
        ("rinse.grace", "P31D", "not between"),
        ("rinse.grace", "PT721H", "not between"),
        ("rinse.grace", "P1M", "months"),
        ("rinse.grace", 30, "not a duration"),
        ("rinse.grace", True, "not a duration"),
        ("watering.every", "P0D", "not between"),
        ("segments.reorder_at", 50, "not between"),
        ("segments.reorder_at", "50 mm", "not between"),
        ("segments.reorder_at", 0, "not between"),
        ("segments.reorder_at", "-1 mm", "not a length"),
        ("segments.reorder_at", "1/0 in", "not a length"),
        ("segments.reorder_at", "1/4", "not a length"),
        ("segments.reorder_at", "6 parsec", "not a length"),
        ("segments.reorder_at", True, "not a length"),
        ("segments.reorder_at", float("nan"), "not a length"),
        ("segments.reorder_at", float("inf"), "not a length"),
        ("segments.reorder_at", [6], "not a length"),
        ("day_turns", True, "neither a time"),
        ("day_turns", "25:00", "time of the day"),
        ("quiet", "21:00", "span"),
        ("quiet", "21:00-21:00", "begins when it ends"),
        ("quiet", 21, "neither a span"),
        ("filter", "false", "neither true nor false"),
        ("filter", 0, "neither true nor false"),
        ("cap", 0, "whole number"),
        ("cap", 2.5, "whole number"),
        ("rinse.tell", "loudly", "none of now"),
        ("rinse.tell", ["now"], "none of now"),
        ("escalation", "PT0S owner", "not a list"),
        ("escalation", [], "not a list"),
        ("escalation", ["owner"], "not a delay"),
        ("escalation", [""], "not a delay"),
        ("escalation", [3], "not a delay"),
        ("escalation", ["PT0S owner pigeon"], "not a delay"),
        ("escalation", ["PT0S owner mail text"], "not a delay"),
        ("escalation", ["PT0S cleaner"], "cleaner"),
        ("escalation", ["soon owner"], "ISO 8601"),
        ("escalation", ["PT2H owner", "PT1H supervisor"], "before the one above"),
    ],
)
def test_what_makes_no_sense_is_refused(name: str, value: Any, why: str) -> None:
    with pytest.raises(PolicyError, match=why) as refused:
        check({"cap": 5, name: value})
    assert refused.value.key == name
    assert name in str(refused.value)
    assert "Nothing was changed" in str(refused.value)
    with pytest.raises(PolicyError):
        resolve({name: value} if not isinstance(value, list) else {name: list(value)})


def test_an_unknown_key_names_the_nearest() -> None:
    with pytest.raises(PolicyError, match=r'did you mean "rinse\.grace"\?'):
        check({"rinse.grase": "PT1M"})
    with pytest.raises(PolicyError, match="lists every name"):
        check({"zzzz": 1})


def test_a_change_may_put_the_wider_number_back() -> None:
    assert check_change({"cap": None, "rinse.grace": "PT60M"}) == {"cap": None, "rinse.grace": "PT1H"}
    with pytest.raises(PolicyError):
        check({"cap": None})
    with pytest.raises(PolicyError):
        check_change({"zzzz": None})


@given(st.integers(1, 39_999))
def test_lengths_keep_every_micrometre(micrometres: int) -> None:
    assert micrometres_of(show_millimetres(micrometres)) == micrometres


@given(
    st.dictionaries(
        st.sampled_from(list(KEYS)),
        st.one_of(st.none(), st.booleans(), st.integers(), st.text(), st.floats(), st.lists(st.text(), max_size=3)),
    )
)
def test_whatever_is_written_is_taken_or_refused_with_a_sentence(values: dict[str, Any]) -> None:
    kept: dict[str, Any] | None = None
    with suppress(PolicyError):
        kept = check_change(values)
    if kept is not None:
        assert check_change(kept) == kept
        resolve(kept)
