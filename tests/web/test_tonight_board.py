"""Tonight's board on played nights: what is late, since when, what is said of it, and who sees it."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from logbook.domain.instants import HOUR, MINUTE, Instant, parse, text
from logbook.web.pages import words as pages_words
from logbook.web.tonight.headline import headline
from logbook.web.tonight.model import Board, Row
from logbook.web.tonight.reading import Boards, version
from logbook.web.tonight.tree import tree
from tests.web import terrible
from tests.web.conftest import Pages
from tests.whole.stage import START, Stage

CALM: dict[str, Any] = {"rinse": False, "squeegee": False, "filter": False, "watering": False, "segments": False}
"""Only the charge is asked for, so that a test sees what it does."""
Make = Callable[..., Pages]


def look(one: Pages, *sites: str, language: str = "en") -> Board:
    return Boards(one.house).look(frozenset(sites) if sites else None, language)


def uncharged(pages: Make, until: Instant = START + 8 * HOUR, **changes: Any) -> tuple[Pages, Stage]:
    """B7H was started at noon UTC, put away at 17:30, and nobody charged it; 20:00 is 16:00 in Halifax."""
    one = pages(policy=CALM, **changes)
    stage = one.stage
    stage.tell("B7H", "start", at=START)
    stage.until(START + 5 * HOUR + 30 * MINUTE)
    stage.tell("B7H", "put_away", charge_pct=20)
    stage.until(until)
    return one, stage


def only(board: Board) -> Row:
    [row] = board.late
    return row


def test_put_away_without_charge_is_late_since_its_due_instant(pages: Make) -> None:
    one, _stage = uncharged(pages)
    row = only(look(one))
    # put away 17:30 UTC + PT30M (charge.grace, rules.md): due 18:00 UTC, 14:00 in Halifax; two hours ago
    assert row.since == START + 6 * HOUR
    assert (row.code, row.site, row.span, row.since_words) == ("B7H", "North Slip", "2 h", "since 14:00")
    assert row.first.title == "Not reported on charge"
    assert row.first.happened.startswith("Nobody has reported the machine put on charge. Battery at put-away: 20 %.")
    assert row.first.last == "Last: put away 13:30 (cleaner)."
    assert "plugged in" in row.first.doing
    assert "sulphate" in row.first.cost
    assert "face shield" in row.first.care
    assert row.answer == "No answer yet."
    assert look(one).headline == "One machine is late."


def test_the_page_names_roles_and_never_who_reported(pages: Make) -> None:
    one, _stage = uncharged(pages)
    page = one.client("lee").get("/en/tonight").text
    assert "Not reported on charge" in page
    assert "Ana" not in page


def test_the_bar_begins_where_the_duty_was_due(pages: Make) -> None:
    one, _stage = uncharged(pages)
    board = look(one)
    bar = only(board).bar
    assert bar is not None
    # twelve hours from eight before the hour: two hours are a sixth of it
    assert bar.end - bar.start == pytest.approx(100 / 6, abs=0.05)
    assert (bar.end, bar.cut) == (board.axis.now, False)


def test_a_bar_that_began_before_the_axis_is_cut(pages: Make) -> None:
    one, stage = uncharged(pages)
    stage.until(START + 30 * HOUR)
    bar = only(look(one)).bar
    assert bar is not None
    assert (bar.start, bar.cut) == (0.0, True)


def test_what_is_charged_late_is_gone(pages: Make) -> None:
    one, stage = uncharged(pages)
    stage.tell("B7H", "charge")
    board = look(one)
    assert board.late == ()
    assert board.headline.startswith("Nothing is late")
    states = {each.code: (each.mark, each.state) for _site, machines in board.sites for each in machines}
    assert states == {"B7H": ("clear", "on charge since 16:00"), "B8F": ("clear", "nothing heard of it yet")}


def test_what_is_told_late_but_was_done_in_time_is_gone_before_the_clock_says_so(pages: Make) -> None:
    one, stage = uncharged(pages)
    stage.tell("B7H", "charge", at=START + 5 * HOUR + 40 * MINUTE)
    assert stage.alert("B7H", "charge").cleared_at is None  # the clock has not come by yet
    assert look(one).late == ()
    stage.step()
    assert stage.alert("B7H", "charge").outcome == "told_late"
    assert look(one).late == ()


def test_what_is_found_overdue_stands_there_before_an_alert_is_raised(pages: Make) -> None:
    one = pages(policy=CALM)
    stage = one.stage
    stage.now = START + 8 * HOUR
    stage.tell("B7H", "put_away", at=START + 5 * HOUR)
    stage.step()
    row = only(look(one))
    assert row.serials == ()
    assert "No alert is raised yet" in row.told[0]


def test_an_alert_in_hand_stands_apart_until_its_time_is_over(pages: Make) -> None:
    one, stage = uncharged(pages)
    alert = stage.alert("B7H", "charge")
    stage.tell("B7H", "acknowledged", who="lee", duty="charge", opened_by=alert.opened_by, number=1,
               until=text(START + 10 * HOUR))  # fmt: skip
    board = look(one)
    assert board.late == ()
    [row] = board.hands
    assert row.answer == "In hand since 16:00 (supervisor), until 18:00."
    assert board.headline.startswith("All that is late is in somebody's hands")
    stage.until(START + 10 * HOUR)
    board = look(one)
    assert board.hands == ()
    assert only(board).answer == "It was in hand from 16:00 (supervisor); that ended at 18:00."


def test_an_excused_duty_is_gone(pages: Make) -> None:
    one, stage = uncharged(pages)
    alert = stage.alert("B7H", "charge")
    stage.tell("B7H", "excused", who="lee", duty="charge", opened_by=alert.opened_by, why="no power at the quay")
    assert look(one).late == ()


def test_a_machine_that_must_not_run_has_its_own_mark_and_its_reason(pages: Make) -> None:
    one, stage = uncharged(pages)
    stage.tell("B7H", "held", who="own", why="until the head was looked at")
    board = look(one)
    [stop] = board.stops
    assert (stop.code, stop.mark, stop.why) == ("B7H", "stop", "until the head was looked at")
    assert only(board).mark == "stop"


def test_what_falls_due_soon_is_said_and_counted(pages: Make) -> None:
    one = pages(policy=CALM)
    stage = one.stage
    stage.tell("B7H", "put_away")
    board = look(one)
    [due] = board.due
    assert (due.code, due.span, due.by_words) == ("B7H", "30 min", "08:30")
    assert board.headline == "Nothing is late; one machine falls due before 12:00."
    assert board.late == ()


def test_a_supervisor_sees_their_site_and_nothing_of_another(pages: Make) -> None:
    one, _stage = uncharged(pages)
    assert look(one, "SJ").late == ()
    assert look(one, "SJ").machines == 1
    page = one.client("kim").get("/en/tonight").text
    assert "B7H" not in page
    assert "B8F" in page


def test_an_old_clock_is_a_band_that_says_what_to_do(pages: Make) -> None:
    one, stage = uncharged(pages)
    assert not look(one).stopped
    stage.now += 10 * MINUTE
    assert look(one).stopped
    page = one.client("lee").get("/en/tonight").text
    assert "No alert is being raised now." in page
    assert "call the sites yourself" in page


def test_who_was_told_by_which_way_and_whether_it_went(pages: Make) -> None:
    from logbook.store import outbox

    one, stage = uncharged(pages)
    told = only(look(one)).told
    assert any(re.fullmatch(r"Supervisor: by mail 14:0\d, waits to be sent\.", each) for each in told), told
    [message] = stage.messages("alert", "lee")
    stage.program.store.write(lambda c: outbox.sent(c, message, stage.now))
    assert any("by mail 16:00, sent." in each for each in only(look(one)).told)


def test_what_went_by_another_way_is_said_and_whether_it_arrived(pages: Make) -> None:
    from dataclasses import replace

    from logbook.store import confirmations, outbox, tables

    one, stage = uncharged(pages)
    [message] = stage.messages("alert", "lee")
    other = replace(message, id=stage.ids(), message_id="<other@ferry.example>", route="text", address="+19025550119",
                    follows=message.id)  # fmt: skip
    write = stage.program.store.write
    write(lambda c: c.execute(tables.message.update().where(tables.message.c.id == message.id).values(state="failed")))
    write(lambda c: outbox.queue(c, other))
    told = " ".join(only(look(one)).told)
    assert "by mail 14:00, could not be sent." in told
    assert "by text 14:00, waits to be sent." in told
    write(lambda c: outbox.sent(c, other, stage.now))
    write(lambda c: confirmations.expect(c, other.id, "text", "ref-1", stage.now + HOUR))
    assert "by text 16:00, sent, no word yet that it arrived." in " ".join(only(look(one)).told)
    write(lambda c: confirmations.said(c, "text", "ref-1", arrived=False, at=stage.now, detail="switched off"))
    assert "by text 16:00, it did not arrive." in " ".join(only(look(one)).told)


def test_a_way_that_is_held_and_a_sender_that_stopped_are_said(pages: Make) -> None:
    from logbook.store import clock, outbox

    one, stage = uncharged(pages)
    assert look(one).troubles == ()
    stage.program.store.write(lambda c: outbox.hold(c, "mail", "535 bad login", stage.now))
    [held] = look(one).troubles
    assert held.startswith("Mail cannot be sent now")
    assert "535" not in held  # what a server said is the owner's to mend, on the command line
    stage.program.store.write(lambda c: clock.put(c, "delivery", stage.now - HOUR))
    assert "Nothing is being sent" in look(one).troubles[-1]


def test_words_of_the_reporter_are_shown_and_never_obeyed(pages: Make) -> None:
    one = pages(policy={**CALM, "fault.answer_within": "PT1H"})
    stage = one.stage
    stage.tell("B7H", "fault", note="<img src=x onerror=alert(1)> smoke & noise")
    stage.until(START + 2 * HOUR)
    browser = one.client("lee")
    page = browser.get("/en/tonight").text
    assert "&lt;img src=x onerror=alert(1)&gt; smoke &amp; noise" in page
    assert "<img" not in page
    assert "<img src=x onerror=alert(1)> smoke & noise" in str(browser.get("/en/tonight/rows.json").json()["tree"])


def test_the_version_is_the_same_while_only_time_goes_by(pages: Make) -> None:
    one, stage = uncharged(pages)
    before = version(look(one))
    stage.now += 2 * MINUTE
    assert version(look(one)) == before
    stage.tell("B7H", "charge")
    assert version(look(one)) != before


def test_however_many_ask_the_fleet_is_read_once_for_a_piece_of_news(pages: Make) -> None:
    one, stage = uncharged(pages)
    boards = Boards(one.house)
    shown = {id(boards.look(frozenset({"HX"}), "en")) for _each in range(50)}
    boards.look(None, "es")
    assert (len(shown), boards.looked) == (1, 1)
    stage.tell("B7H", "charge")
    assert boards.look(frozenset({"HX"}), "en").late == ()
    assert boards.looked == 2


def test_what_is_kept_of_a_machine_gives_way_when_time_alone_changes_it(pages: Make) -> None:
    one = pages(policy=CALM)
    stage = one.stage
    stage.tell("B7H", "put_away")
    boards = Boards(one.house)
    assert boards.look(None, "en").late == ()
    stage.now = START + 29 * MINUTE
    assert boards.look(None, "en").late == ()
    stage.now = START + 30 * MINUTE
    assert only(boards.look(None, "en")).since == START + 30 * MINUTE


def test_a_terrible_night_is_painted_and_built_alike(pages: Make) -> None:
    one = pages(**terrible.fleet())
    terrible.play(one.stage)
    browser = one.client("lee")
    for language in ("en", "es"):
        page = browser.get(f"/{language}/tonight").text
        news = browser.get(f"/{language}/tonight/rows.json").json()
        painted = page.partition('<div id="board"')[2].partition(">")[2].rpartition("</div>\n</main>")[0]
        assert _same(tree(painted)) == _same(news["tree"])
        assert news["headline"] in page
        # every machine is there once in the list of all; the strangers' texts whole, their numbers by the last digits
        assert all(page.count(f'id="all-{code}"') == 1 for code in one.stage.register.by_code)
        assert "machine by the gate makes smoke call me please" in page
        assert "…0160" in page


def test_of_a_great_many_late_machines_none_is_left_out(pages: Make) -> None:
    from itertools import islice

    from logbook.domain.codes import every

    codes = list(islice(every(3), 44))
    machines = [
        {"code": c, "site": "HX", "battery": "flooded", "commissioned_at": "2026-03-01T12:00:00Z"} for c in codes
    ]
    one = pages(policy=CALM, machine=machines)
    for code in codes:
        one.stage.tell(code, "put_away")
    one.stage.until(START + HOUR)
    browser = one.client("lee")
    page = browser.get("/en/tonight").text
    assert "44 machines are late." in page
    assert all(page.count(f'id="late-{code}"') == 1 for code in codes)
    assert page.count("I see to it</button>") == 44
    assert page.count('class="row brief late"') == 4
    assert tree(page.partition('<div id="board"')[2].partition(">")[2].rpartition("</div>\n</main>")[0])


def _same(nodes: Any) -> str:
    """Without what is drawn anew for each form."""
    return re.sub(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}|'value': '[\w=-]{40,}'", "*", str(nodes))


def test_the_tree_refuses_what_could_act() -> None:
    for markup in (
        "<script>x</script>",
        '<p onclick="x">a</p>',
        '<p style="color:red">a</p>',
        "<p>never closed",
        "<p></div>",
    ):
        with pytest.raises(ValueError, match=r"must not hold|closed|closes"):
            tree(markup)


def test_instants_are_those_of_the_site_in_either_zone(pages: Make) -> None:
    """St. John's is half an hour ahead of Halifax (IANA tzdata: UTC-3:30 and UTC-4 in winter)."""
    one = pages(policy=CALM)
    stage = one.stage
    for code, who in (("B7H", "ana"), ("B8F", "kim")):
        stage.tell(code, "put_away", who=who)
    at: Instant = parse("2026-03-02T13:00:00Z")
    stage.until(at)
    shown = {row.code: (row.since_words, row.hours_of) for row in look(one).late}
    assert shown["B7H"] == ("since 08:30", "hours of Halifax")
    assert shown["B8F"] == ("since 09:00", "hours of St. John’s")
    assert look(one).axis.zone
    assert look(one, "HX").axis.zone == ""


def test_the_headline_is_a_sentence_for_none_one_and_many_in_both_languages() -> None:
    said = {
        language: [headline(late, hands, due, "06:00", pages_words(language, "tonight"))
                   for late, hands, due in ((0, 0, 0), (0, 0, 1), (0, 0, 5), (0, 2, 0), (1, 0, 0), (1, 0, 1), (4, 1, 13))]
        for language in ("en", "es")
    }  # fmt: skip
    assert said["en"] == [
        "Nothing is late, and nothing falls due before 06:00.",
        "Nothing is late; one machine falls due before 06:00.",
        "Nothing is late; five machines fall due before 06:00.",
        "All that is late is in somebody's hands, and nothing falls due before 06:00.",
        "One machine is late.",
        "One machine is late, and one falls due before 06:00.",
        "Four machines are late, and 13 fall due before 06:00.",
    ]
    assert said["es"] == [
        "Nada va con retraso, y nada vence antes de las 06:00.",
        "Nada va con retraso; a una máquina le vence algo antes de las 06:00.",
        "Nada va con retraso; a cinco máquinas les vence algo antes de las 06:00.",
        "Todo lo que va con retraso está en manos de alguien, y nada vence antes de las 06:00.",
        "Una máquina va con retraso.",
        "Una máquina va con retraso, y a una le vence algo antes de las 06:00.",
        "Cuatro máquinas van con retraso, y a 13 les vence algo antes de las 06:00.",
    ]


def test_machines_in_ordinary_use_are_said_in_one_sentence_and_each_stays_at_hand(pages: Make) -> None:
    one = pages(**terrible.fleet())
    codes = terrible.play(one.stage)
    board = look(one)
    together = [tuple(each.code for each in these) for these in board.due_together]
    # of three machines at each of two zones nothing more is owed than by any machine that is out
    assert sorted(len(each) for each in together) == [1, 1, 3, 3]
    assert sorted(code for each in together for code in each) == sorted(each.code for each in board.due)
    page = one.client("own").get("/en/tonight").text
    assert page.count("In use; due after they are put away, at") == 2
    for each in board.due:
        assert f'id="due-{each.code}"' in page
        assert f'id="due-{each.code}-excuse"' in page
    for these in board.due_together:
        assert len({each.by for each in these}) == 1
    # and what owes something else is not said with the others
    [alone] = [these for these in board.due_together if these[0].code == codes[2]]
    assert len(alone) == 1  # a fault waits for an answer there, and it is held
    assert alone[0].duties.startswith("answer to what is wrong")
