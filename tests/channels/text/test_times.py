"""Times: how they are written, whose they are, and the nights on which the clocks change."""

from __future__ import annotations

import pytest

HALIFAX_SPRING = "2026-03-08T12:00:00Z"  # 09:00, after the gap of 02:00 to 03:00
HALIFAX_AUTUMN = "2026-11-01T10:00:00Z"  # 06:00 standard time; 01:00 to 02:00 came twice


@pytest.mark.parametrize(
    ("said", "clock"),
    [
        ("at 0510", "09:10"), ("0510", "09:10"), ("05:10", "09:10"), ("05.10", "09:10"), ("5:10am", "09:10"),
        ("5:10 am", "09:10"), ("5:10 a.m.", "09:10"), ("510am", "09:10"), ("5 am", "09:00"), ("at 05", "09:00"),
        ("a las 05:10", "09:10"), ("a las 0510 h", "09:10"), ("05:10h", "09:10"), ("at 0510 hours", "09:10"),
        ("5 min ago", "09:07"), ("5min ago", "09:07"), ("hace 5 min", "09:07"), ("hace 2 horas", "07:12"),
        ("1.5 h ago", "07:42"), ("a las 5:10 de la mañana", "09:10"), ("a las 11 de la noche", "03:00"),
        ("11pm", "03:00"), ("12:30am", "04:30"), ("0030", "04:30"), ("00:30", "04:30"), ("2350", "03:50"),
        ("17:30", "21:30"), ("yesterday 2330", "03:30"), ("2330 yesterday", "03:30"), ("ayer a las 23:30", "03:30"),
        ("anoche 2330", "03:30"), ("last night at 2330", "03:30"), ("yesterday at 11:30 pm", "03:30"),
        ("0514", "09:12"), ("yesterday 0600", "10:00"),
    ],
)  # fmt: skip
def test_a_time(said, clock, clocks):
    assert clocks(f"B7H rinsed {said}") == [f"rinse {clock}"]


@pytest.mark.parametrize(
    ("said", "refused"),
    [
        ("at 4", "ambiguous_time"), ("510", "ambiguous_time"), ("5:10", "ambiguous_time"), ("1130", "ambiguous_time"),
        ("12:30", "ambiguous_time"), ("yesterday", "ambiguous_time"), ("anoche", "ambiguous_time"),
        ("yesterday 3:00", "ambiguous_time"), ("last night 0200", "ambiguous_time"), ("anoche 1400", "ambiguous_time"),
        ("a las 3 de la noche", "ambiguous_time"), ("15:00 am", "ambiguous_time"), ("0510 first", "ambiguous_time"),
        ("0530", "future_time"), ("1400", "future_time"), ("20 h ago", "too_old"), ("hace 15 horas", "too_old"),
        ("0510 0500", "conflicting"), ("at 2560", "unknown_number"), ("yesterday 5 min ago", "ambiguous_time"),
        ("mañana 0500", "negated"), ("first 0510", "unknown_word"),
    ],
)  # fmt: skip
def test_a_time_that_cannot_be_used(said, refused, clocks):
    assert clocks(f"B7H rinsed {said}") == [f"?{refused}"]


def test_without_a_leading_zero_the_afternoon_is_weighed_too(clocks):
    # At 08:00 the day before's 17:10 is more than fourteen hours past: only the morning is left.
    assert clocks("B7H rinsed 510", at="2026-11-25T12:00:00Z") == ["rinse 09:10"]
    assert clocks("B7H rinsed 510", at="2026-11-25T09:12:00Z") == ["?ambiguous_time"]
    # At 18:00 both are past; at 14:00 only the morning is.
    assert clocks("B7H rinsed 5:10", at="2026-11-25T22:00:00Z") == ["?ambiguous_time"]
    assert clocks("B7H rinsed 5:10", at="2026-11-25T18:00:00Z") == ["rinse 09:10"]
    # "instead": the morning's 11:30 is too long ago at 05:12, the evening's is not.
    assert clocks("B7H rinsed 1130", at="2026-11-25T09:12:00Z") == ["?ambiguous_time"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("B7H rinse 0510 empty 0500", ["rinse 09:10", "empty 09:00"]),
        ("B7H empty rinse 0510 charge", ["empty 09:10", "rinse 09:10", "charge 09:12"]),
        ("B7H 0430 empty rinse charge", ["empty 08:30", "rinse 08:30", "charge 08:30"]),
        ("B7H 0430 empty 0440 rinse", ["?conflicting"]),
        ("B7H rinsed. 0430 charged", ["?ambiguous_time"]),
        ("B7H rinse 0430 rinse 0440", ["?conflicting"]),
        ("B7H rinse 0430 rinse 0430", ["rinse 08:30"]),
        ("B7H rinse 0430. C4J rinse", ["rinse 08:30", "rinse 09:12"]),
        ("0430 B7H rinse. C4J rinse", ["?which_machine"]),
        ("B7H rinse. 0430 C4J charge", ["?ambiguous_time"]),
        ("B7H rinse, 0430. C4J charge", ["rinse 08:30", "charge 09:12"]),
        ("0430 B7H rinse", ["rinse 08:30"]),
        ("rinsed, 0430 B7H charged", ["?ambiguous_time"]),
        ("rinsed. 0430 B7H charged", ["?which_machine"]),
        ("B7H and C4J rinsed 0430", ["rinse 08:30", "rinse 08:30"]),
    ],
)
def test_whose_a_time_is(text, expected, clocks):
    assert clocks(text) == expected


def test_last_night_told_in_the_morning(clocks):
    morning = "2026-11-25T13:00:00Z"  # 09:00
    assert clocks("B7H rinsed last night 0200", at=morning) == ["rinse 06:00"]
    assert clocks("B7H rinsed last night 2330", at=morning) == ["rinse 03:30"]


def test_a_time_that_spring_skips(clocks):
    assert clocks("B7H rinsed 0230", at=HALIFAX_SPRING) == ["?skipped_time"]
    assert clocks("B7H rinsed 0159", at=HALIFAX_SPRING) == ["rinse 05:59"]
    assert clocks("B7H rinsed 0300", at=HALIFAX_SPRING) == ["rinse 06:00"]
    # A night later the same figures are a time again.
    assert clocks("B7H rinsed 0230", at="2026-03-09T12:00:00Z") == ["rinse 05:30"]


def test_a_time_that_autumn_repeats(clocks):
    assert clocks("B7H rinsed 0130", at=HALIFAX_AUTUMN) == ["?ambiguous_time"]
    assert clocks("B7H rinsed 0130 first", at=HALIFAX_AUTUMN) == ["rinse 04:30"]
    assert clocks("B7H rinsed 0130 second", at=HALIFAX_AUTUMN) == ["rinse 05:30"]
    assert clocks("B7H enjuagada 0130 la primera", at=HALIFAX_AUTUMN) == ["rinse 04:30"]
    assert clocks("B7H enjuagada 0130 segunda", at=HALIFAX_AUTUMN) == ["rinse 05:30"]
    # While the second is still to come, only the first can be meant.
    assert clocks("B7H rinsed 0130", at="2026-11-01T04:45:00Z") == ["rinse 04:30"]
    assert clocks("B7H rinsed 0130 second", at="2026-11-01T04:45:00Z") == ["?ambiguous_time"]
    assert clocks("B7H rinsed 0230", at=HALIFAX_AUTUMN) == ["rinse 06:30"]


def test_the_machines_zone_counts(clocks):
    assert clocks("B7H rinsed 0510", zone="America/St_Johns") == ["rinse 08:40"]


def test_no_time_is_the_moment_of_the_gateway(ask):
    reading = ask("B7H rinsed", at="2026-11-25T09:12:34.5Z")
    assert reading.drafts[0].occurred_at == reading.at


def test_nothing_is_ever_later_than_the_text(ask):
    for minute in range(60):
        reading = ask(f"B7H rinsed 05{minute:02d}")
        assert all(draft.occurred_at <= reading.at for draft in reading.drafts)
        assert bool(reading.drafts) == (minute <= 17)


@pytest.mark.parametrize("at", ["2026-03-08T06:01:00Z", "2026-03-08T06:15:00Z", "2026-03-08T07:30:00Z"])
def test_a_skipped_time_is_told_as_such_as_soon_as_the_clocks_have_gone_forward(at, clocks):
    # Halifax, 8 March 2026: 02:00 became 03:00, which is 06:00Z.
    assert clocks("B7H rinsed 0230", at=at) == ["?skipped_time"]


def test_the_answer_about_an_am_time_asks_what_is_not_known(reply):
    assert "FIRST" in reply("B7H rinsed 1 am", at=HALIFAX_AUTUMN)
    assert "00:00" in reply("B7H rinsed 12 am", at="2026-11-25T03:50:00Z")  # 23:50 at the terminals
