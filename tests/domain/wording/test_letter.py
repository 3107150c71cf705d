"""The morning's letter: exceptions only, worst first, and on Mondays the week."""

from __future__ import annotations

import pytest

from logbook.domain.duties import DUTIES
from logbook.domain.telling.items import Week
from logbook.domain.wording import LANGUAGES, speech
from logbook.domain.wording.duties import WORDS
from logbook.domain.wording.gsm7 import septets
from logbook.domain.wording.letter import letter_message
from logbook.domain.wording.unquotable import harmless
from tests.domain.wording.facts import NOW, item, letter, week, worst


def flat(body: str) -> str:
    return " ".join(body.split())


@pytest.mark.parametrize(
    ("expected", "language", "sentence"),
    [
        (12, "en", "Nothing to tell this morning: all 12 machines expected out last night were accounted for."),
        (1, "en", "Nothing to tell this morning: the one machine expected out last night was accounted for."),
        (0, "en", "Nothing to tell this morning: no machine was expected out last night."),
        (12, "es", "Esta mañana no hay novedades: se tuvo aviso de las 12 máquinas que debían trabajar anoche."),
        (1, "es", "Esta mañana no hay novedades: se tuvo aviso de la única máquina que debía trabajar anoche."),
    ],
)
def test_nothing_at_all_is_one_sentence(expected: int, language: str, sentence: str) -> None:
    for empty in (None, Week(0, 0, 0, 0)):
        quiet = letter(nights_expected=expected, nights_told=expected, week=empty)
        assert flat(letter_message(quiet, language, NOW).body) == sentence


def test_nights_untold_are_something() -> None:
    text = letter_message(letter(nights_told=9), "en", NOW)
    assert text.subject == "Tue 10 Mar: 3 nights untold"
    assert text.body.startswith("9 of 12 machines expected out last night were accounted for.\n")
    assert letter_message(letter(nights_told=11), "es", NOW).subject == "mar 10 mar: 1 noche sin aviso"


def test_a_quiet_monday_still_compares_the_weeks() -> None:
    body = flat(letter_message(letter(week=Week(0, 2, 0, 5)), "en", NOW).body)
    assert "nights untold 0 (before: 2), duties late or missed 0 (before: 5)." in body
    assert "Nothing to tell this morning" not in body


def test_worst_first_and_what_is_over_apart() -> None:
    items = [
        item("filter", code="A3K", tell="letter", due_at=1),
        item("rinse", code="B7H", outcome="told_late"),
        item("charge", code="C4K"),
        worst("segments_gone", code="D2M"),
        item("squeegee", code="E5N", outcome="overtaken"),
    ]
    text = letter_message(letter(*items), "en", NOW)
    assert text.subject == "URGENT: Tue 10 Mar: 3 open, worst first: D2M, C4K, A3K"
    order = [text.body.index(code) for code in ("D2M", "C4K", "A3K", "Over already:", "- B7H", "Nothing to tell from")]
    assert order == sorted(order)
    assert "- B7H, North Slip: tank rinse, due 06:12: in time, but told late.\n" in text.body
    assert "- E5N, North Slip: squeegee check, due 06:12: missed.\n" in text.body


def test_quiet_sites_are_one_line() -> None:
    body = letter_message(letter(item("rinse")), "en", NOW).body
    assert "\nNothing to tell from: Harbour Hall, West Pier.\n" in body
    assert "Nothing to tell" not in letter_message(letter(item("rinse"), quiet_sites=[]), "en", NOW).body


def test_what_a_duty_is_about_stands_once() -> None:
    body = flat(letter_message(letter(item("rinse"), item("rinse", code="C4K")), "en", NOW).body)
    assert body.count(WORDS["rinse"].cost) == body.count(WORDS["rinse"].do) == 1
    assert "2. C4K, North Slip: nobody has reported" in body


def test_how_to_take_one_in_hand() -> None:
    told = flat(
        letter_message(letter(item("filter", serial=None), item("rinse", serial=7, due_at=NOW)), "en", NOW).body
    )
    assert "(Alert 7.)" in told
    assert "such as SEEN 7, alone." in told
    assert "SEEN" not in letter_message(letter(item("filter", serial=None)), "en", NOW).body


def test_all_is_over() -> None:
    one, two = item("rinse", outcome="late"), item("charge", outcome="excused")
    assert letter_message(letter(one), "en", NOW).subject == "Tue 10 Mar: 1 is over already"
    text = letter_message(letter(one, two), "es", NOW)
    assert text.subject == "mar 10 mar: 2 ya terminaron"
    assert "Cuidado" not in text.body


def test_mondays_week_says_every_matter() -> None:
    body = flat(letter_message(letter(week=week()), "en", NOW).body)
    for part in (
        "nights untold 3 (before: 1), duties late or missed 8 (before: 12).",
        "- B7H: tank rinse late 3 times",
        "- B7H drank 3.2 l, against 1.1 l the week before",
        "can mean overcharging or an old set; have charger and battery looked at by qualified people.",
        "- Please send 3 × DS-40 for machine B7H, North Slip, on account 4471; to: orders@parts.example",
        "- Please send one set of segments for machine C4K, North Slip",
        "- B7H has waited 6 days. As the reporter wrote, “squeegee hose leaks” - C4K has waited since today.",
        "- North Slip: 5 times late there, in tank rinse, battery charge",
        "Battery: only where it is ventilated",
    ):
        assert part in body
    assert (
        "has waited 1 day." in letter_message(letter(week=Week(0, 0, 0, 0, faults=[("B7H", 1, None)])), "en", NOW).body
    )


def test_mondays_week_leaves_out_what_is_not() -> None:
    body = letter_message(letter(week=Week(1, 0, 0, 0)), "en", NOW).body
    for heading in ("Again and again", "Batteries that drank", "Segments to order", "Something is wrong", "Visits"):
        assert heading not in body


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_whole_letter_is_narrow_harmless_and_cautious(language: str) -> None:
    items = [worst(duty, note=None) for duty in DUTIES] + [worst(duty, outcome="late") for duty in DUTIES]
    text = letter_message(letter(*items, week=week()), language, NOW, seal="112 3f9a01bc")
    for line in text.body.splitlines():
        assert harmless(line), line
        assert len(line) <= 72 or "“" in line
    assert septets(text.short) <= 160
    say = speech(language, "alerts")
    for duty in DUTIES:
        for caution in WORDS[duty].cautions:
            assert flat(text.body).count(say(caution)) == 1
    assert text.body.rstrip().endswith("112 3f9a01bc")


def test_a_site_of_many_words_still_fits_a_text_message() -> None:
    text = letter_message(
        letter(*[worst(duty, site_name="Ñ" * 200, code=f"{n}") for n, duty in enumerate(DUTIES)]), "es", NOW
    )
    assert septets(text.short) <= 160
