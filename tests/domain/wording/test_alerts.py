"""What alerts, reminders and the trial say: complete, cautious, short, nameless, and harmless when quoted."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.domain.duties import DUTIES
from logbook.domain.entries import catalogue
from logbook.domain.instants import parse
from logbook.domain.telling.items import Act
from logbook.domain.wording import LANGUAGES, cautions, speech
from logbook.domain.wording.duties import WORDS
from logbook.domain.wording.gsm7 import septets
from logbook.domain.wording.messages import TYPED, alert_message, fit, reminder_message, trial_message
from logbook.domain.wording.unquotable import bare, harmless
from tests.domain.wording.facts import NOW, STARTED, item, reminder, worst

ANSWER = {"en": "SEEN", "es": "VISTO"}
DEFERS = {
    "en": "Local code, site rules and qualified people come before",
    "es": "Las normas locales, las reglas del sitio",
}
LONG_SITE = "Señor de los Ríos, muelle número 12, «Terminal Ñandú» {norte} €"


def flat(body: str) -> str:
    return " ".join(body.split())


def paragraphs(body: str) -> list[str]:
    return body.strip().split("\n\n")


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("duty", DUTIES)
def test_an_alert_says_everything(duty: str, language: str) -> None:
    say = speech(language, "alerts")
    text = alert_message([worst(duty)], language, NOW)
    for part in (say(WORDS[duty].do), say(WORDS[duty].cost), "B7H, North Slip", f"{ANSWER[language]} 41"):
        assert part in flat(text.body)
    assert text.subject.endswith(
        ("B7H, North Slip: ", *[say(WORDS[duty].title), say("dirty-water tank emptied but not rinsed")])
    )


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("duty", DUTIES)
def test_cautions_stand_where_the_work_can_hurt(duty: str, language: str) -> None:
    say, body = speech(language, "alerts"), flat(alert_message([worst(duty)], language, NOW).body)
    for caution in WORDS[duty].cautions:
        assert say(caution) in body
    assert (DEFERS[language] in body) == bool(WORDS[duty].cautions)


@pytest.mark.parametrize(
    ("duty", "needed"),
    [
        ("charge", {cautions.BATTERY}),
        ("watering", {cautions.BATTERY, cautions.ACID}),
        ("rinse", {cautions.DRAIN, cautions.FLOOR}),
        ("squeegee", {cautions.HEADS, cautions.FLOOR}),
        ("filter", {cautions.HEADS, cautions.FLOOR}),
        ("segments", {cautions.HEADS}),
        ("segments_low", {cautions.BARE}),
        ("segments_gone", {cautions.BARE, cautions.HEADS}),
        ("held_start", {cautions.HEADS}),
        ("prepared", {cautions.HEADS}),
        ("fault", {cautions.HEADS, cautions.BATTERY}),
        ("repair", {cautions.HEADS, cautions.BATTERY}),
        ("night", {cautions.BATTERY, cautions.DRAIN}),
    ],
)
def test_which_caution_is_due(duty: str, needed: set[str]) -> None:
    assert needed <= set(WORDS[duty].cautions)


def test_the_battery_caution_names_what_protects() -> None:
    for word in ("ventilated", "flame", "spark", "face shield", "gloves", "apron", "water"):
        assert word in cautions.BATTERY


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("duty", DUTIES)
def test_a_text_message_is_one_segment_at_its_worst(duty: str, language: str) -> None:
    facts = {"site_name": LONG_SITE, "code": "B2345H", "serial": 9_999_999, "step": 2, "tell": "urgent"}
    long_ago = {"due_at": parse("2025-09-03T22:59:00Z"), "opened_at": parse("2025-09-03T22:59:00Z")}
    alone = alert_message([worst(duty, **facts, **long_ago)], language, NOW).short
    crowd = [worst(duty, **{**facts, **long_ago, "code": f"B{n}H{n}HX"}) for n in range(2, 9)]
    for short in (alone, alert_message(crowd, language, NOW).short):
        assert septets(short) <= 160
        assert short.endswith(f" {ANSWER[language]} 9999999")
        assert harmless(short)
    assert "B2345H" in alone


@given(st.text(max_size=200), st.text(max_size=200), st.sampled_from(DUTIES), st.sampled_from(LANGUAGES))
def test_no_site_and_no_note_makes_a_message_that_is_obeyed(site: str, note: str, duty: str, language: str) -> None:
    text = alert_message(
        [worst(duty, site_name=site, note=note)], language, NOW, seal="112 3f9a01bc", url="https://log.example"
    )
    assert septets(text.short) <= 160
    assert len(text.subject.splitlines()) == 1
    for line in (*text.body.splitlines(), text.subject, text.short):
        assert harmless(line), line


def test_a_site_with_an_unlucky_name_makes_no_report_of_the_line() -> None:
    text = alert_message([item("rinse", site_name="Problem Point")], "en", NOW)
    assert text.body.startswith("About machine B7H, Problem Point: nobody has reported the\n")


WORD = st.sampled_from(
    sorted({w for k in catalogue if k.words for w in (*k.words.en, *k.words.es)} | {"SEEN 41", "B7H"})
)


@given(st.lists(WORD, min_size=1).map(" ".join), st.sampled_from(DUTIES), st.sampled_from(LANGUAGES))
def test_not_even_words_of_the_log_as_a_sites_name(words: str, duty: str, language: str) -> None:
    for text in (
        alert_message([worst(duty, site_name=words, note=words)], language, NOW),
        reminder_message(reminder("rinse", "charge", site_name=words), language, NOW),
    ):
        assert [line for line in (*text.body.splitlines(), text.short) if not harmless(line)] == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_lines_fit_a_narrow_window(language: str) -> None:
    for duty in DUTIES:
        body = alert_message([worst(duty, note=None), worst(duty, note=None, code="C4K")], language, NOW).body
        assert max(map(len, body.splitlines())) <= 72, duty


@pytest.mark.parametrize("language", LANGUAGES)
def test_nobody_is_named(language: str) -> None:
    acts = {kind: Act(STARTED.at, "Jo Marsh") for kind in (k.kind for k in catalogue)}
    for duty in DUTIES:
        text = alert_message([worst(duty, last=acts)], language, NOW)
        assert "Marsh" not in text.subject + text.body + text.short


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("duty", DUTIES)
def test_what_a_subject_says_is_harmless_without_a_site_too(duty: str, language: str) -> None:
    say = speech(language, "alerts")
    for words in (WORDS[duty].title, WORDS[duty].happened, WORDS[duty].cost):
        assert harmless(f"B7H {say(words)}")


def test_since_when_by_whom_and_how_late() -> None:
    body = alert_message([worst("rinse", emptied=False)], "en", NOW).body
    assert "Due 06:12, late by 28 min. Last: put away 05:42 (cleaner)." in body


def test_an_alert_of_this_minute_is_not_late_by_nothing() -> None:
    assert "late" not in alert_message([item("rinse", due_at=NOW)], "en", NOW).body


def test_the_wall_clock_is_the_sites() -> None:
    body = alert_message([worst("rinse", zone="America/St_Johns")], "en", NOW).body
    assert "Due 06:42" in body
    assert "put away 06:12" in body


def test_the_hour_that_comes_twice_says_which() -> None:
    late = item("charge", zone="America/St_Johns", due_at=parse("2026-11-01T04:45:00Z"))
    assert "Due 01:15 (second)" in alert_message([late], "en", parse("2026-11-01T05:00:00Z")).body


def test_rinse_says_which_of_the_two_is_missing() -> None:
    both, one = (alert_message([worst("rinse", emptied=emptied)], "en", NOW) for emptied in (False, True))
    assert "nobody has reported the dirty-water tank emptied and rinsed" in flat(both.body)
    assert "the dirty-water tank was emptied at 05:42, but nobody has reported it rinsed" in flat(one.body)
    assert both.subject != one.subject == "B7H, North Slip: dirty-water tank emptied but not rinsed"


def test_charge_says_how_full_and_until_when() -> None:
    body = flat(alert_message([worst("charge")], "en", NOW).body)
    assert "Battery at put-away: 7 %. Its next night begins 22:00." in body
    assert "It has not been reported put away either." in body
    bare_item = flat(alert_message([item("charge")], "en", NOW).body)
    assert "Battery at" not in bare_item
    assert "next night begins" not in bare_item


def test_segments_in_both_units_and_which_head() -> None:
    # 25.4 mm to the inch exactly: 5.3 mm are 0.2087 in, 6.35 mm are 1/4 in.
    assert "head 2 has only 5.3 mm (0.209 in)" in alert_message([worst("segments_low")], "en", NOW).body
    every = alert_message([item("segments_low", least_um=6_350)], "es", NOW).body
    assert "a los segmentos solo les quedan 6.35 mm (0.25 pulg)" in every


def test_a_bare_head_that_was_started_all_the_same() -> None:
    assert "It was started all the same." in flat(alert_message([worst("segments_gone")], "en", NOW).body)
    earlier = {"last": {"start": Act(STARTED.at - 1, "cleaner")}}
    assert "all the same" not in flat(alert_message([worst("segments_gone", **earlier)], "en", NOW).body)


def test_a_night_speaks_for_what_belongs_to_it() -> None:
    body = flat(alert_message([worst("night")], "en", NOW).body)
    assert "used in the night of Mon 9 Mar. That makes 3 nights running without a word." in body
    assert "Not known to be done either: tank rinse, squeegee check, battery charge." in body
    assert "running" not in alert_message([worst("night", nights=1)], "en", NOW).body


def test_passed_on_because_nobody_answered() -> None:
    first, second = (alert_message([worst("rinse", step=step)], "en", NOW) for step in (1, 2))
    assert "Passed on" not in first.subject + first.body
    assert second.subject.startswith("Passed on: B7H")
    assert "Passed on to you, for nobody has answered so far." in flat(second.body)


def test_several_stand_worst_first_and_the_subject_counts_and_names_them() -> None:
    items = [
        item("filter", code="A3K", tell="letter", due_at=1, serial=1),
        item("charge", code="C4K", due_at=NOW - 1, serial=2),
        item("rinse", code="B7H", due_at=NOW - 2, serial=3),
        worst("segments_gone", code="D2M", due_at=NOW, serial=4),
    ]
    text = alert_message(items, "en", NOW)
    assert text.subject == "URGENT: 4 alerts: D2M, B7H, C4K, A3K"
    assert [p[:12] for p in paragraphs(text.body)[:4]] == [
        "1. URGENT: D",
        "2. B7H, Nort",
        "3. C4K, Nort",
        "4. A3K, Nort",
    ]
    assert text.short.startswith("URGENT: D2M North Slip: bare head, do not run, since")
    assert text.short.endswith("Answer SEEN 4")


def test_many_plates_are_counted_and_not_all_named() -> None:
    items = [item("rinse", code=f"{letter}2H", due_at=n) for n, letter in enumerate("ABCDEFGH")]
    assert alert_message(items, "en", NOW).subject == "8 alerts: A2H, B2H, C2H, D2H, E2H, F2H and 2 more"
    two = [item("rinse"), item("charge")]
    assert alert_message(two, "es", NOW).subject == "2 alertas: B7H"


def test_an_alert_without_a_number_asks_for_no_answer() -> None:
    text = alert_message([item("rinse", serial=None)], "en", NOW)
    assert "SEEN" not in text.body + text.short


def test_an_alert_that_is_over_asks_for_nothing() -> None:
    body = alert_message([item("rinse", outcome="told_late")], "en", NOW).body
    assert body == "B7H, North Slip: tank rinse, due 06:12: in time, but told late.\n"


def test_the_foot_holds_page_and_seal() -> None:
    body = alert_message([item("rinse")], "en", NOW, seal="112 3f9a01bc", url="https://log.ferry.example/m/B7H").body
    assert body.endswith("\nThe machine's page: https://log.ferry.example/m/B7H\nDaily seal: 112 3f9a01bc\n")


def test_the_reporters_words_stay_on_one_line_and_are_cut() -> None:
    body = alert_message([worst("fault", note="hose\nSEEN 41\n" + "x" * 500)], "en", NOW).body
    [line] = [line for line in body.splitlines() if "“hose" in line]
    assert line.startswith("As the reporter wrote, “hose SEEN 41 xxx")
    assert line.endswith("x…”")
    assert len(line) < 200


def test_no_item_is_no_message() -> None:
    with pytest.raises(ValueError, match="at least one"):
        alert_message([], "en", NOW)


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_reminder_is_one_segment_and_cautions(language: str) -> None:
    for facts in ({}, {"site_name": LONG_SITE, "code": "B2345H"}):
        for night in (None, "2026-03-09"):
            text = reminder_message(reminder("rinse", "squeegee", "charge", night_date=night, **facts), language, NOW)
            assert septets(text.short) <= 160
            assert DEFERS[language] in flat(text.body)
            assert all(harmless(line) for line in text.body.splitlines())
            assert ANSWER[language] not in text.body


def test_a_reminder_says_what_is_owed_by_when_and_what_to_type() -> None:
    body = flat(reminder_message(reminder("rinse", "charge"), "en", NOW).body)
    assert "B7H, North Slip: still owed by 07:12: tank rinse, battery charge." in body
    assert "text for example B7H RINSED CHARGED, please" in body


def test_a_reminder_of_a_night_that_nobody_spoke_of() -> None:
    body = flat(reminder_message(reminder("night", night_date="2026-03-09"), "es", NOW).body)
    assert "B7H, North Slip: aún no hay aviso de esta noche (plazo: 07:12)." in body
    assert "Escriba B7H NO USADA" in body


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("duty", TYPED)
def test_the_words_to_type_are_words_that_texts_are_read_by(duty: str, language: str) -> None:
    kind = catalogue.newest(duty)
    assert kind is not None
    assert kind.words is not None
    assert bare(speech(language, "alerts")(TYPED[duty])) in (kind.words.en if language == "en" else kind.words.es)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_trial_says_that_there_is_nothing_to_do(language: str) -> None:
    text = trial_message(language, NOW)
    assert "2026-03-10 09:40 UTC" in text.body
    assert septets(text.short) <= 160
    assert all(harmless(line) for line in text.body.splitlines())
    assert ANSWER[language] not in text.body


def test_a_night_without_a_date_in_its_identity_is_told_by_its_beginning() -> None:
    body = flat(alert_message([worst("night", opened_by="0192d5c8")], "en", NOW).body)
    assert "in the night of Mon 9 Mar." in body


def test_an_emptied_tank_of_which_the_time_is_not_known() -> None:
    body = flat(alert_message([item("rinse", emptied=True)], "en", NOW).body)
    assert "the dirty-water tank was emptied, but nobody has reported it rinsed." in body


def test_what_fits_nowhere_is_cut_but_its_answer_word_stays() -> None:
    short = fit(["x" * 300], " Answer SEEN 41")
    assert short == "x" * 145 + " Answer SEEN 41"


def test_a_reminder_of_what_no_single_word_reports_gives_no_example() -> None:
    body = reminder_message(reminder("fault"), "en", NOW).body
    assert "text for example" not in body
