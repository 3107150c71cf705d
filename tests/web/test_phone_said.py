"""What the phone's page says: nothing twice, nothing that scolds a beginner, and what the next one has to know."""

from __future__ import annotations

from collections.abc import Callable

from logbook.domain.instants import HOUR, MINUTE, parse
from tests.web.conftest import Pages
from tests.web.phone_forms import look, press, tap
from tests.web.test_phone import AT, EVENING, NIGHTS, acts


def test_a_start_is_not_told_what_it_still_owes(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    said = tap(one.client("ana"), AT, "start").text
    assert "Saved: started 22:00. When it is put away: tank rinse" in said
    assert "Still owed" not in said


def test_what_is_late_already_is_owed_and_the_rest_comes_with_the_put_away(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    one.stage.now += 10 * 24 * HOUR  # the battery was never watered
    said = tap(one.client("ana"), AT, "start").text
    assert "Still owed: battery watering, clean-water filter. When it is put away: tank rinse" in said


def test_a_night_asks_whether_it_was_used_in_words_of_its_own(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING - HOUR, site=NIGHTS)
    one.stage.now = EVENING + MINUTE
    ana = one.client("ana")
    assert "Due by Tue 3 Mar 07:00: say whether it was used" in look(ana, AT).text
    one.stage.now += MINUTE
    assert "word of the night" not in tap(ana, AT, "watering").text


def test_what_was_reported_wrong_is_known_to_the_next_cleaner(pages: Callable[..., Pages]) -> None:
    """Who does not see it reports it again, or rides a machine that somebody else found unsafe."""
    one = pages(at=EVENING)
    ana = one.client("ana")
    assert "Something is wrong with it" not in look(ana, AT).text
    one.stage.tell("B7H", "fault", note="It leaks")
    one.stage.now += HOUR
    said = "Something is wrong with it: reported 22:00, not answered yet."
    assert said in look(ana, AT).text
    assert said not in look(one.client("own"), AT).text  # who has to answer sees the duty itself
    assert "answer to what is wrong" in look(one.client("own"), AT).text
    one.stage.tell("B7H", "repair_requested", who="lee")
    found = look(ana, AT).text
    assert said not in found
    assert "A repair was asked for 23:00." in found
    one.stage.tell("B7H", "repaired", who="lee", note="new hose")
    found = look(ana, AT).text
    assert "A repair was asked for" not in found
    assert "not answered yet" not in found


def test_a_taking_back_says_what_is_owed_again(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    ana = one.client("ana")
    tap(ana, AT, "start")
    one.stage.now += MINUTE
    tap(ana, AT, "charge")
    assert "Taken back: put on charge. When it is put away: tank rinse, battery charge" in tap(ana, AT, "undo").text


def test_the_answer_to_a_form_has_the_focus(pages: Callable[..., Pages]) -> None:
    """Without a script a screen reader begins to read at the top: the answer must not have to be looked for."""
    one = pages(at=EVENING)
    ana = one.client("ana")
    assert "autofocus" not in look(ana, AT).html
    assert '<div class="done" role="status" tabindex="-1" autofocus>' in tap(ana, AT, "charge").html
    assert '<p class="wrong" role="alert" tabindex="-1" autofocus>' in tap(ana, AT, "segments").html


def test_of_a_time_that_came_twice_the_page_asks_which(pages: Callable[..., Pages]) -> None:
    one = pages(at=parse("2026-11-01T09:00:00Z"))  # 05:00, the clocks went back at 02:00
    ana = one.client("ana")
    screen = tap(ana, AT, "fill", ("at", "01:30"))
    assert screen.status == 422
    assert "Choose the first or the second." in screen.text
    assert acts(one) == []
    answer = press(ana, screen, "fill", ("at", "01:30"), ("which", "1"))
    assert answer.status_code == 303
    assert "clean water filled 01:30 (first)" in look(ana, answer.headers["location"]).text
    one.stage.now += 48 * HOUR
    assert ("which", "1") not in look(ana, AT).choices


def test_the_list_tells_tonight_from_another_night_and_what_must_stand(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING - HOUR, site=NIGHTS)
    ana = one.client("ana")
    one.stage.now = EVENING + MINUTE
    assert "Owed: say whether it was used" in look(ana, "/en/machines").text
    for kind in ("start", "rinse", "squeegee", "charge", "put_away"):
        one.stage.tell("B7H", kind)
        one.stage.now += MINUTE
    one.stage.now += 23 * HOUR
    one.stage.tell("B7H", "fill")
    said = look(ana, "/en/machines").text
    assert "Out since" not in said
    assert " Out " in said
    one.stage.tell("B7H", "start")
    assert "Out since" in look(ana, "/en/machines").text
    one.stage.tell("B7H", "held", who="lee")
    found = look(ana, "/en/machines").html
    # The octagon stands beside the words that it is about, and what is owed keeps its own mark.
    assert found.index("mk stop") < found.index("Do not run it") < found.index("mk due") < found.index("Owed: ")
