"""Numbers, units and whose they are."""

from __future__ import annotations

from fractions import Fraction

import pytest

from logbook.channels.text.numbers import RefusedNumber, measure, value
from logbook.domain.entries import Quantity

VOLUME = Quantity("water_ml", "volume", 1, 400_000)
LENGTH = Quantity("left_um", "length", 0, 40_000, required=True, many=True)


@pytest.mark.parametrize(
    ("text", "data"),
    [
        ("fill 60 l", {"water_ml": 60_000}), ("60 l fill", {"water_ml": 60_000}), ("fill 60lts", {"water_ml": 60_000}),
        ("llené 60 l de agua", {"water_ml": 60_000}), ("fill 15 gal", {"water_ml": 56_781}),
        ("watered 1/2 l", {"water_ml": 500}), ("watered ½ l", {"water_ml": 500}), ("watered 2½ l", {"water_ml": 2_500}),
        ("agua destilada 50 cl", {"water_ml": 500}), ("water 2 qt", {"water_ml": 1_893}),
        ("water 12 oz", {"water_ml": 355}), ("water 0.375 l", {"water_ml": 375}), ("agua 0,375 l", {"water_ml": 375}),
        ("topped up water 2 l", {"water_ml": 2_000}), ("agua de la batería 2 l", {"water_ml": 2_000}),
        ("parked 83%", {"charge_pct": 83}), ("83 % parked", {"charge_pct": 83}), ("put away 0 %", {"charge_pct": 0}),
        ("sg 1.265", {"gravity_milli": 1_265}), ("densidad 1,265", {"gravity_milli": 1_265}),
        ("1265 gravity", {"gravity_milli": 1_265}), ("sg 1130", {"gravity_milli": 1_130}),
        ("hours 1233.6", {"meter_s": 4_440_960}), ("1233.6 h hourmeter", {"meter_s": 4_440_960}),
        ("horas 99999,9", {"meter_s": 359_999_640}),
        ("seg 9.5mm", {"left_um": [9_500]}), ("seg 0,95 cm", {"left_um": [9_500]}), ("9 mm seg", {"left_um": [9_000]}),
        ("seg 9.5 9 8.5 mm", {"left_um": [9_500, 9_000, 8_500]}), ('seg 3/8"', {"left_um": [9_525]}),
        ("seg 3/8 5/16 1/4", {"left_um": [9_525, 7_938, 6_350]}), ("seg ⅜ ¼ in", {"left_um": [9_525, 6_350]}),
        ("seg 9, 8.5 y 9 mm", {"left_um": [9_000, 8_500, 9_000]}), ("seg 0 mm", {"left_um": [0]}),
        ("diamantes 1/4 pulgada", {"left_um": [6_350]}), ("seg 9½ mm", {"left_um": [9_500]}),
    ],
)  # fmt: skip
def test_a_quantity(text, data, ask):
    reading = ask(f"B7H {text}")
    assert [draft.data for draft in reading.drafts] == [data]


@pytest.mark.parametrize(
    ("text", "refused"),
    [
        ("water 1,500 ml", "ambiguous_number"), ("hours 1.234", "ambiguous_number"),
        ("hours 1.234,5", "ambiguous_number"),
        ("fill -60 l", "ambiguous_number"), ("seg -9 mm", "ambiguous_number"), ("parked <20 %", "ambiguous_number"),
        ("seg 3/7 in", "ambiguous_number"), ("seg 1 1/4 in", "ambiguous_number"), ("seg 9mm 3/8", "ambiguous_number"),
        ("parked 83.5 %", "ambiguous_number"), ("fill 10 l watered", "ambiguous_number"),
        ("rinsed 0510 hours", "ambiguous_number"), ("1234 hours", "ambiguous_number"),
        ("seg 9,5,9 mm", "ambiguous_number"),
        ("fill 9999999999 l", "ambiguous_number"),
        ("seg 9.5", "needs_unit"), ("seg 3/7", "needs_unit"), ("fill 60", "needs_unit"), ("parked 83", "needs_unit"),
        ("parked 100", "needs_unit"), ("fill 2350", "needs_unit"), ("water 2", "needs_unit"),
        ("seg 3/8 0.25", "needs_unit"),
        ("seg", "needs_quantity"), ("sg", "needs_quantity"), ("horas", "needs_quantity"),
        ("water 60 l", "out_of_range"), ("fill 401 l", "out_of_range"), ("fill 0.5 l", "out_of_range"),
        ("seg 41 mm", "out_of_range"), ("seg 2 in", "out_of_range"), ("parked 101 %", "out_of_range"),
        ("sg 1500", "out_of_range"), ("sg 1.5", "out_of_range"), ("hours 100000", "out_of_range"),
        ("seg " + "9 " * 25 + "mm", "out_of_range"),
        ("rinse 60 l", "unknown_number"), ("60 l", "unknown_number"), ("fill 9 mm", "unknown_number"),
        ("rinse 83 %", "unknown_number"), ("rinse 3/8", "unknown_number"), ("rinse 5", "unknown_number"),
        ("rinse in 5 min", "unknown_word"), ("fill 60 l 99", "unknown_number"),
        ("fill 60 l 65 l", "conflicting"), ("sg 1265 1260", "conflicting"), ("parked 80 % 83 %", "conflicting"),
        ("hours 1234 1240", "conflicting"),  ("seg 3/8 seg 9mm", "conflicting"), ("9 mm seg 8 mm", "conflicting"),
        ("fill 60 l fill 65 l", "conflicting"), ("parked 80 % away 83 %", "conflicting"),
    ],
)  # fmt: skip
def test_a_number_that_cannot_be_used(text, refused, ask):
    reading = ask(f"B7H {text}")
    assert reading.drafts == ()
    assert reading.refused == refused


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("B7H fill 60 l, water 2 l", [("fill", 60_000), ("watering", 2_000)]),
        ("B7H water 2 l fill 60 l", [("watering", 2_000), ("fill", 60_000)]),
        ("60 l fill, 2 l battery water B7H", [("fill", 60_000), ("watering", 2_000)]),
        ("B7H fill 60 l battery water 2 l", [("fill", 60_000), ("watering", 2_000)]),
    ],
)
def test_numbers_find_their_words(text, expected, ask):
    assert [(draft.kind, draft.data["water_ml"]) for draft in ask(text).drafts] == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("B7H parked, charge 83 %", ["put_away"]), ("B7H parked 83 % charge", ["put_away"]),
        ("B7H parked, battery 83 %", ["put_away"]), ("B7H charged 83 %, parked", ["put_away"]),
        ("B7H guardada 83 % de carga", ["put_away"]), ("B7H charge, parked 83 %", ["charge", "put_away"]),
        ("B7H parked 83 %, rinsed, charged", ["put_away", "rinse", "charge"]),
        ("B7H parked at 0500, 83 %", ["put_away"]),
        ("B7H parked 0500 83 %", ["put_away"]),
        ("B7H charge 83 %", ["?ambiguous_word"]), ("B7H parked 83 %, charged", ["?ambiguous_word"]),
        ("B7H parked, rinsed, charge 83 %", ["?ambiguous_word"]),
    ],
)  # fmt: skip
def test_a_percentage_is_of_the_charge_when_it_was_put_away(text, expected, kinds, ask):
    assert kinds(text) == expected
    assert all(d.data.get("charge_pct", 83) == 83 for d in ask(text).drafts)


def test_bare_water_counts_with_a_volume_only(kinds):
    assert kinds("B7H water") == ["?ambiguous_word"]
    assert kinds("B7H agua") == ["?ambiguous_word"]
    assert kinds("B7H agua 2 l") == ["watering"]
    assert kinds("B7H topped up water") == ["?ambiguous_word"]  # the tank's or the battery's?
    assert kinds("B7H topped up water 2 l") == ["watering"]
    assert kinds("B7H topped up") == ["watering"]


@pytest.mark.parametrize("text", ["B7H charged 8 hours", "B7H cargué 8 horas", "B7H 8 horas cargando"])
def test_how_long_something_took_is_no_meter_reading(text, kinds):
    assert kinds(text) == ["?ambiguous_number"]
    assert kinds("B7H charged, 1278 hours") == ["charge", "hours"]


def test_exact_values():
    assert value(".375", "length") == Fraction(3, 8)
    assert value("0,375", "volume") == Fraction(3, 8)
    assert value("1.265", "gravity") == Fraction(1265, 1000)
    assert measure("1", "gal", VOLUME) == 3785  # 3.785411784 l, 231 cubic inches
    assert measure("1/4", "in", LENGTH) == 6350
    assert measure("5/16", None, LENGTH) == 7938  # 7937.5, half up
    for text, family in (
        ("1.265", "volume"),
        ("1/3", "length"),
        ("5/0", "length"),
        ("1.2.3", "hours"),
        ("5:10", "hours"),
    ):
        with pytest.raises(RefusedNumber):
            value(text, family)
