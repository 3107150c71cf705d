"""The phone's page without a script: every act says what its button says, once, and can be taken back."""

from __future__ import annotations

import gzip
import re
from collections.abc import Callable
from typing import Any

import pytest

from logbook.channels.desk import Message
from logbook.domain.instants import DAY, HOUR, MINUTE, parse
from logbook.store import log
from logbook.web import assets
from logbook.web.phone.acts import BUTTONS
from tests.web.conftest import Pages
from tests.web.phone_forms import Screen, look, press, tap

EVENING = parse("2026-03-03T02:00:00Z")  # 22:00 at the terminals in Halifax
NIGHTS = [{"code": "HX", "name": "North Slip", "zone": "America/Halifax",
           "nights": [{"rule": "FREQ=DAILY", "from": "22:00", "to": "06:00"}]},
          {"code": "SJ", "name": "Harbour Hall", "zone": "America/St_Johns"}]  # fmt: skip
HEADS = [{"code": "B7H", "site": "HX", "battery": "flooded", "commissioned_at": "2026-03-01T12:00:00Z",
          "segments": {"part": "D-30", "heads": 3, "new_um": 12_000}}]  # fmt: skip
AT = "/en/m/B7H"


def acts(one: Pages, code: str = "B7H") -> list[tuple[str, dict[str, Any]]]:
    return [(kind, data) for kind, _at, data in one.stage.entries(code) if kind != "commissioned"]


# -- who may open it ----------------------------------------------------------------------------------------------


def test_the_plate_opens_the_page_in_the_readers_language(pages: Callable[..., Pages]) -> None:
    one = pages()
    assert one.client().get("/m/B7H", headers={"accept-language": "es"}).headers["location"] == "/es/m/B7H"
    assert one.client("ana").get("/m/B7H").headers["location"] == "/en/m/B7H"


def test_who_is_not_signed_in_is_asked_who_they_are(pages: Callable[..., Pages]) -> None:
    answer = pages().client().get(AT)
    assert (answer.status_code, answer.headers["location"]) == (303, "/en/join/B7H")


@pytest.mark.parametrize("code", ["B8F", "Z9Q", "..%2f..", "B7H%00", "x" * 300])
def test_a_machine_of_another_site_is_not_there(pages: Callable[..., Pages], code: str) -> None:
    one = pages()
    browser = one.client("ana")
    assert browser.get(f"/en/m/{code}").status_code == 404
    assert one.post(browser, f"/en/m/{code}", act="rinse:23456789AB").status_code == 404
    assert acts(one, "B8F") == []


def test_the_page_says_who_where_and_what_is_known(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING, site=NIGHTS)
    one.stage.tell("B7H", "start", who="ana")
    one.stage.now += 10 * HOUR  # 08:00: past the night, and still out
    screen = look(one.client("ana"), "/en/m/b7h")
    for words in ("B7H", "North Slip", "You are Ana Silva", "started, Mon 2 Mar 22:00 (you)", "battery charge"):
        assert words in screen.text, words
    assert screen.form["data-code"] == "B7H"
    assert screen.form["data-line"] == "+19025550100"
    other = look(one.client("own"), AT).text
    assert "started, Mon 2 Mar 22:00 (cleaner)" in other
    assert "Ana" not in other


def test_a_form_of_another_session_saves_nothing(pages: Callable[..., Pages]) -> None:
    one = pages()
    ana, jo = one.client("ana"), one.client("own")
    screen = look(jo, AT)
    assert press(ana, screen, "rinse").status_code == 403
    assert acts(one) == []


# -- acts ---------------------------------------------------------------------------------------------------------

PLAIN = [kind for kind in BUTTONS if kind not in ("gravity", "hours", "segments", "fault", "note")]


@pytest.mark.parametrize("kind", PLAIN)
def test_a_button_tells_what_it_says_and_nothing_else(pages: Callable[..., Pages], kind: str) -> None:
    one = pages(at=EVENING)
    screen = tap(one.client("ana"), AT, kind)
    assert acts(one) == [(kind, {})]
    assert "Saved: " in screen.text
    row = one.stage.read(lambda c: list(log.by_seq(c, one.stage.machine("B7H"))))[-1]
    assert row.occurred_at == row.recorded_at == EVENING
    assert b'"channel":"form"' in row.bytes
    assert b'"role":"cleaner"' in row.bytes


@pytest.mark.parametrize(
    ("kind", "chosen", "data"),
    [
        ("watering", [("watering.water_ml", "2500")], {"water_ml": 2_500}),
        ("watering", [("watering.water_ml:1000", "2,1")], {"water_ml": 2_100}),
        ("watering", [("watering.water_ml", "2500"), ("watering.water_ml:1000", "2.1")], {"water_ml": 2_100}),
        ("segments", [("segments.left_um:1000", "9.5")], {"left_um": [9_500]}),
        ("segments", [("segments.left_um", "9500"), ("segments.left_um", "9000"), ("segments.left_um", "0")],
         {"left_um": [9_500, 9_000, 0]}),
        ("segments", [("segments.left_um:1000", "6.35")], {"left_um": [6_350]}),
        ("hours", [("hours.meter_s:3600", "1233.6")], {"meter_s": 4_440_960}),
        ("gravity", [("gravity.gravity_milli:1000", "1,265")], {"gravity_milli": 1_265}),
        ("put_away", [("put_away.charge_pct", "40")], {"charge_pct": 40}),
        ("fault", [("fault.note", "It leaks"), ("fault.note", "hose at the back.")], {}),
        ("note", [("note.note", "new mats at the gate")], {}),
    ],
)  # fmt: skip
def test_each_quantity_arrives_in_its_own_unit(
    pages: Callable[..., Pages], kind: str, chosen: list[tuple[str, str]], data: dict[str, Any]
) -> None:
    one = pages(at=EVENING, machine=HEADS)
    one.stage.tell("B7H", "start")
    one.stage.now += 6 * HOUR
    assert tap(one.client("ana"), AT, kind, *chosen).status == 200
    assert acts(one)[-1] == (kind, data)


def test_the_start_cards_water_is_the_tanks(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    tap(one.client("ana"), AT, "start", ("begin", "fill"), ("fill.water_ml", "60000"))
    assert acts(one) == [("start", {})]  # the button of one act tells that act, whatever is ticked elsewhere
    one = pages(at=EVENING)
    tap(one.client("ana"), AT, "begin", ("begin", "fill"), ("begin", "start"), ("fill.water_ml", "60000"))
    assert acts(one) == [("fill", {"water_ml": 60_000}), ("start", {})]


def test_what_is_wrong_is_kept_in_the_reporters_words(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    tap(one.client("ana"), AT, "fault", ("fault.note", "It leaks"), ("fault.note", "at the <back>."))
    uuid = one.stage.machine("B7H")
    from logbook.store import words

    kept = one.stage.read(lambda c: words.of_machine(c, uuid))
    assert [word.content.decode() for word in kept] == ["It leaks. at the <back>"]


@pytest.mark.parametrize(
    ("kind", "chosen", "says"),
    [
        ("watering", [("watering.water_ml:1000", "much")], "cannot be read"),
        ("watering", [("watering.water_ml:1000", "2500")], "cannot be right"),
        ("watering", [("watering.water_ml:1000", "-1")], "cannot be right"),
        ("watering", [("watering.water_ml:1000", "1e9")], "cannot be right"),
        ("watering", [("watering.water_ml:1000", "NaN")], "cannot be read"),
        ("segments", [], "number is missing"),
        (
            "segments",
            [("segments.left_um", "9500"), ("segments.left_um", "-"), ("segments.left_um", "-")],
            "every head",
        ),
        ("hours", [], "number is missing"),
        ("gravity", [("gravity.gravity_milli:1000", "1265")], "cannot be right"),
        ("fault", [], "Say what is wrong"),
        ("note", [("note.note", "  ")], "Say what is wrong"),
        ("rinse", [("at", "31:10")], "time cannot be read"),
        ("rinse", [("at", "23:10")], "has not come yet"),
        ("end", [], "Nothing was ticked"),
    ],
)
def test_what_cannot_be_taken_is_said_and_nothing_is_saved(
    pages: Callable[..., Pages], kind: str, chosen: list[tuple[str, str]], says: str
) -> None:
    one = pages(at=EVENING, machine=HEADS)
    one.stage.tell("B7H", "start", "2026-03-02T18:00:00Z")
    screen = tap(one.client("ana"), AT, kind, *chosen)
    assert screen.status == 422
    assert says in screen.text
    assert "Nothing was saved" in screen.text
    assert [kind for kind, _data in acts(one)] == ["start"]
    # What was written stands there still, in a part of the page that is open.
    for name, value in chosen:
        if ":" in name:
            assert (name, value) in screen.fields


@pytest.mark.parametrize("act", ["", "held:23456789AB", "alert_raised:23456789AB", "rinse", "rinse:short", "rinse:23456789ab",
                                 "end-all", "void:23456789AB", "photo:23456789AB", "{{7*7}}:23456789AB"])  # fmt: skip
def test_a_form_that_no_page_made_saves_nothing(pages: Callable[..., Pages], act: str) -> None:
    one = pages()
    browser = one.client("own")
    answer = one.post(browser, AT, act=act)
    assert answer.status_code == 422
    assert "49" not in Screen(answer.text).text
    assert acts(one) == []


# -- cards --------------------------------------------------------------------------------------------------------


def test_the_ticked_acts_of_a_card_are_entries_of_their_own(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    one.stage.tell("B7H", "start")
    one.stage.now += 6 * HOUR
    screen = tap(one.client("ana"), AT, "end", ("end", "rinse"), ("end", "put_away"), ("put_away.charge_pct", "30"))
    assert acts(one)[1:] == [("rinse", {}), ("put_away", {"charge_pct": 30})]
    assert "Saved: rinsed, put away 04:00. Still owed: " in screen.text


def test_a_card_confirmed_as_one_is_told_by_the_card(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    one.stage.tell("B7H", "start")
    one.stage.now += 6 * HOUR
    screen = tap(one.client("ana"), AT, "end-all")
    told = {"told": "card"}
    assert acts(one)[1:] == [(kind, told) for kind in ("empty", "rinse", "squeegee", "charge", "put_away")]
    assert "Nothing else is owed" in screen.text


def test_a_card_does_not_tell_of_what_policy_leaves_out(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING, policy={"squeegee": False})
    one.stage.tell("B7H", "start")
    one.stage.now += 6 * HOUR
    screen = look(one.client("ana"), AT)
    assert ("end", "squeegee") not in screen.choices
    press(one.opened[0], screen, "end-all")
    assert [kind for kind, _data in acts(one)][1:] == ["empty", "rinse", "charge", "put_away"]


def test_the_start_card_asks_for_the_look_over_only_where_policy_does(pages: Callable[..., Pages]) -> None:
    assert ("begin", "prepared") not in look(pages(at=EVENING).client("ana"), AT).choices
    one = pages(at=EVENING, policy={"prepared": True})
    screen = look(one.client("ana"), AT)
    assert ("begin", "prepared") in screen.choices
    press(one.opened[0], screen, "begin-all")
    assert [kind for kind, _data in acts(one)] == ["prepared", "fill", "unplug", "start"]


@pytest.mark.parametrize(
    ("words", "language"),
    [(("no flame, spark", "face shield, gloves", "Distilled water only", "deck raised", "key out", "Wet floor", "local agency"), "en"),
     (("Cuidado:",), "es")],
)  # fmt: skip
def test_the_cautions_stand_where_the_work_can_hurt(
    pages: Callable[..., Pages], words: tuple[str, ...], language: str
) -> None:
    one = pages(at=EVENING)
    one.stage.tell("B7H", "start")
    screen = look(one.client("ana"), f"/{language}/m/B7H")
    for each in words:
        assert each in screen.text


# -- once, and back -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("later", [0, 1, 61 * MINUTE // 60])
def test_a_form_sent_twice_is_recorded_once(pages: Callable[..., Pages], later: int) -> None:
    one = pages(at=EVENING)
    browser = one.client("ana")
    screen = look(browser, AT)
    first = press(browser, screen, "rinse", ("when", "15"))
    one.stage.now += later
    again = press(browser, screen, "rinse", ("when", "15"))
    assert first.headers["location"] == again.headers["location"]
    assert acts(one) == [("rinse", {})]


def test_every_button_is_a_tap_of_its_own(pages: Callable[..., Pages]) -> None:
    screen = look(pages(at=EVENING).client("ana"), AT)
    taps = [str(each["value"]).partition(":")[2] for each in screen.buttons if each.get("value")]
    assert len(set(taps)) == len(taps) > 15


def test_it_may_have_happened_earlier(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    browser = one.client("ana")
    assert "21:30" in tap(browser, AT, "rinse", ("when", "30")).text
    assert "20:05" in tap(browser, AT, "fill", ("at", "20:05")).text
    rows = one.stage.read(lambda c: list(log.by_seq(c, one.stage.machine("B7H"))))
    assert [row.occurred_at for row in rows[1:]] == [EVENING - 30 * MINUTE, EVENING - 115 * MINUTE]


def test_the_last_tap_is_taken_back_whole(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    browser = one.client("ana")
    one.stage.tell("B7H", "start")
    one.stage.now += 6 * HOUR
    tap(browser, AT, "end-all")
    one.stage.now += 29 * MINUTE
    screen = look(browser, AT)
    answer = press(browser, screen, "undo")
    assert press(browser, screen, "undo").status_code == 303  # twice is once
    said = look(browser, answer.headers["location"]).text
    assert "Taken back: emptied, rinsed, squeegee wiped, put on charge, put away." in said
    assert [kind for kind, _data in acts(one)].count("void") == 5
    assert "undo" not in look(browser, AT).kinds()


def test_it_is_too_late_to_take_back_what_policy_holds_fast(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING, policy={"undo_within": "PT5M"})
    browser = one.client("ana")
    screen = tap(browser, AT, "rinse")
    one.stage.now += 5 * MINUTE + 1
    assert "undo" not in look(browser, AT).kinds()
    answer = press(browser, screen, "undo")
    assert answer.status_code == 422
    assert "too late" in answer.text
    assert acts(one) == [("rinse", {})]


def test_the_way_back_stands_beside_the_answer(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    screen = tap(one.client("ana"), AT, "rinse")
    assert (
        screen.text.index("Saved: rinsed")
        < screen.text.index("Take back the last one")
        < screen.text.index("Plugged in")
    )
    assert screen.kinds().count("undo") == 1
    assert "Take back the last one rinsed 22:00" in look(one.opened[0], AT).text
    one.stage.now += 2 * MINUTE  # and later at the page's end, out of the thumb's way
    text = look(one.opened[0], AT).text
    assert text.index("It happened earlier") < text.index("Take back the last one rinsed 22:00")


def test_only_ones_own_is_taken_back(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    ana, jo = one.client("ana"), one.client("own")
    screen = tap(ana, AT, "rinse")
    assert "undo" not in look(jo, AT).kinds()
    ids = dict(screen.fields)["undo_of"]
    answer = one.post(jo, f"{AT}/undo", act="undo:23456789AB", undo_of=ids)
    assert answer.status_code == 422
    # Nor what no tap can say: the machine's own beginning, another machine's entry.
    first = one.stage.read(lambda c: next(iter(log.by_seq(c, one.stage.machine("B7H"))))).id
    assert one.post(jo, f"{AT}/undo", act="undo:23456789AB", undo_of=first).status_code == 422
    other = one.stage.tell("B8F", "rinse", who="own").entries[0].id
    assert one.post(jo, f"{AT}/undo", act="undo:23456789AB", undo_of=other).status_code == 422
    assert [kind for kind, _data in acts(one)] == ["rinse"]


# -- states -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["held", "out_of_service"])
def test_a_machine_that_must_stand_says_so_first_and_why(pages: Callable[..., Pages], kind: str) -> None:
    one = pages(at=EVENING)
    one.stage.tell("B7H", kind, who="lee", why="smoke from the <motor>")
    screen = look(one.client("ana"), AT)
    assert 'class="mk stop"' in screen.html
    assert screen.text.index("Do not run this machine") < screen.text.index("Emptied")
    assert "smoke from the <motor>" in screen.text
    assert 'class="big"' not in screen.html
    # That it was started all the same can still be told.
    assert "start" in screen.kinds()


def test_bare_metal_is_not_to_be_run(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    one.stage.tell("B7H", "segments", left_um=[4_000, 0])
    assert "Do not run this machine. A head has no abrasive left." in look(one.client("ana"), AT).text


def test_a_retired_machine_takes_nothing_more(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    one.stage.tell("B7H", "retired", who="lee", why="sold")
    browser = one.client("ana")
    screen = look(browser, AT)
    assert "Retired since" in screen.text
    assert screen.kinds() == []
    answer = one.post(browser, AT, act="rinse:23456789AB")
    assert answer.status_code == 422
    assert "Nothing was saved" in answer.text
    assert [kind for kind, _data in acts(one)] == ["retired"]


def test_a_newcomer_nobody_has_answered_for_counts(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    word = {"site": "HX", "word": "gannet"}
    from logbook.intake import Draft
    from logbook.store import sessions
    from logbook.web.house import digest

    fleet = one.stage.read(one.stage.program.registry.fleet)
    one.stage.program.intake.record([Draft(one.stage.ids(), fleet, "join_word", word)], one.stage.by("own"))
    one.stage.program.desk.take(Message("joins", "text", "+19025550165", "JOIN gannet Marta", one.stage.now))
    person = next(each for each in one.stage.register.people.values() if each.state == "unconfirmed")
    browser, row = one.client(), None
    from logbook.store.sessions import Session
    from logbook.web.who.visitor import cookie_name

    row = Session(one.stage.ids(), digest("t"), person.uuid, "own", None, "", EVENING, EVENING, EVENING + DAY)
    one.house.store.write(lambda c: sessions.begin(c, row))
    browser.cookies.set(cookie_name(one.house), "t")
    screen = tap(browser, AT, "rinse")
    assert "You are Marta" in screen.text
    assert "has not confirmed you yet" in screen.text
    assert "has not confirmed" not in look(one.client("ana"), AT).text
    assert acts(one) == [("rinse", {})]


def test_a_cleaner_is_not_asked_for_what_leaders_do(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    one.stage.tell("B7H", "fault", note="knocks")
    assert "answer to what is wrong" not in look(one.client("ana"), AT).text
    assert "answer to what is wrong" in look(one.client("lee"), AT).text


def test_the_page_is_wholly_in_its_language(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    browser = one.client("ana")
    screen = look(browser, "/es/m/B7H")
    for words in ("Empecé a trabajar", "Algo anda mal", "Cada semana", "Todo está enviado"):
        assert words in screen.text
    assert 'lang="es"' in screen.html[:80]
    assert not re.search(r"\b(the|is|was|tap|save|owed)\b", screen.text, re.IGNORECASE)
    assert "Anotado: tanque enjuagado" in tap(browser, "/es/m/B7H", "rinse").text


# -- a whole night ------------------------------------------------------------------------------------------------


def test_a_whole_night_is_told_by_forms_alone(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING, site=NIGHTS, machine=HEADS)
    browser = one.client("ana")
    screen = look(browser, AT)
    night = [("begin-all", 0, ()), ("empty", 3, ()), ("fill", 3, ()), ("fault", 4, (("fault.note", "It leaks"),)),
             ("rinse", 6, ()), ("squeegee", 6, ()), ("watering", 6, (("watering.water_ml", "1500"),)),
             ("charge", 6, ()), ("put_away", 6, (("put_away.charge_pct", "20"),))]  # fmt: skip
    for number, (kind, hour, chosen) in enumerate(night):
        one.stage.now = EVENING + hour * HOUR + number * MINUTE
        answer = press(browser, screen, kind, *chosen)
        assert answer.status_code == 303, (kind, answer.text)
        screen = look(browser, answer.headers["location"])
    assert [kind for kind, _data in acts(one)] == [
        "fill", "unplug", "start", "empty", "fill", "fault", "rinse", "squeegee", "watering", "charge", "put_away",
    ]  # fmt: skip
    one.stage.step(EVENING + 10 * HOUR)
    # Of all that the night owed, only the supervisor's answer to the leak is overdue.
    assert [data["duty"] for kind, data in acts(one) if kind == "alert_raised"] == ["fault"]


def test_the_machines_of_ones_sites_are_listed_with_what_they_owe(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    one.stage.tell("B7H", "start")
    one.stage.tell("B7H", "put_away")
    one.stage.now += HOUR
    text = look(one.client("ana"), "/en/machines").text
    assert "B7H" in text
    assert "Put away 22:00" in text
    assert all(duty in text.partition("Late: ")[2] for duty in ("tank rinse", "squeegee check", "battery charge"))
    assert "B8F" not in text
    assert "B8F" in look(one.client("own"), "/en/machines").text
    one.stage.tell("B7H", "held", who="lee")
    assert "Do not run it" in look(one.client("ana"), "/en/machines").text
    one.stage.tell("B7H", "retired", who="lee")
    assert "There is no machine" in look(one.client("ana"), "/en/machines").text


def test_the_whole_page_is_small(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING, machine=HEADS)
    one.stage.tell("B7H", "start")
    one.stage.now += 6 * HOUR
    for language in ("en", "es"):
        html = one.client("ana").get(f"/{language}/m/B7H").text
        files = {name for name in assets.files() if name.startswith("phone") or name == "base.css"}
        # Each as it is sent; what is kept by the browser afterwards is not counted off.
        sizes = {name: len(gzip.compress(assets.files()[name], 9)) for name in files}
        sizes["the page"] = len(gzip.compress(html.encode(), 9))
        assert sum(sizes.values()) <= 20_000, sizes
        assert len(assets.files()["phone.css"]) <= 9_000
        assert re.search(r"<script(?![^>]*\b(type=.module|defer|async))", html) is None  # nothing waits for a script
