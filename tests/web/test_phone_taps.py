"""What a phone's queue sends: each answer tells it what to do with what it keeps."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from starlette.testclient import TestClient

from logbook.domain.instants import DAY, HOUR, MINUTE, parse
from logbook.domain.tapcode import entry_id
from logbook.intake import Draft
from logbook.store import StoreError, log, sessions
from logbook.web.phone.taking import RETIRED
from tests.web.conftest import Pages
from tests.web.phone_forms import look

EVENING = parse("2026-03-03T02:00:00Z")
AT = "/en/m/B7H"
TAP, SECOND = "23456789AB", "CDEFGHJKMN"


def acts(one: Pages, code: str = "B7H") -> list[tuple[str, dict[str, Any]]]:
    return [(kind, data) for kind, _at, data in one.stage.entries(code) if kind != "commissioned"]


def writer(browser: TestClient) -> str:
    return str(look(browser, AT).form["data-writer"])


def send(browser: TestClient, proof: str, *kinds: str, path: str = f"{AT}/taps", **more: Any) -> Any:
    told = [{"kind": kind, "data": {}} for kind in kinds]
    return browser.post(path, json={"writer": proof, "tap": TAP, "age_ms": 0, "acts": told, **more})


@pytest.fixture
def one(pages: Callable[..., Pages]) -> Pages:
    return pages(at=EVENING)


def test_a_tap_is_saved_once_and_answered_the_same_again(one: Pages) -> None:
    browser = one.client("ana")
    proof = writer(browser)
    one.stage.tell("B7H", "start")
    first = send(browser, proof, "rinse")
    assert first.status_code == 201
    said = first.json()
    assert said["saved"] == [{"kind": "rinse", "label": "rinsed", "at": "22:00", "id": entry_id(TAP, "rinse")}]
    left = ", ".join(each["label"] for each in said["owed"])
    assert said["say"] == f"Saved: rinsed 22:00. When it is put away: {left}."
    assert {each["duty"] for each in first.json()["owed"]} == {"squeegee", "charge"}
    one.stage.now += 7 * MINUTE
    again = send(browser, proof, "rinse", age_ms=7 * 60_000 + 813)  # sent again, and counted a little otherwise
    assert again.status_code == 200
    assert again.json()["saved"] == first.json()["saved"]
    assert acts(one) == [("start", {}), ("rinse", {})]


def test_a_form_and_the_queue_make_one_entry_of_one_tap(one: Pages) -> None:
    browser = one.client("ana")
    assert one.post(browser, AT, act=f"rinse:{TAP}").status_code == 303
    assert send(browser, writer(browser), "rinse", age_ms=4_000).status_code == 200
    assert acts(one) == [("rinse", {})]


def test_its_age_says_when_it_happened(one: Pages) -> None:
    browser = one.client("ana")
    proof = writer(browser)
    one.stage.now += 3 * DAY
    assert send(browser, proof, "rinse", age_ms=3 * 86_400_000 - 1_000).status_code == 201
    assert send(browser, proof, "fill", age_ms=-50_000).status_code == 201
    rows = one.stage.read(lambda c: list(log.by_seq(c, one.stage.machine("B7H"))))
    assert [row.occurred_at for row in rows[1:]] == [EVENING + 1_000_000, one.stage.now]


@pytest.mark.parametrize("age", [30 * 86_400_000 + 1, 10**15])
def test_what_is_too_old_is_refused_for_good_in_a_sentence(one: Pages, age: int) -> None:
    browser = one.client("ana")
    proof = writer(browser)
    one.stage.now += DAY
    answer = send(browser, proof, "rinse", age_ms=age)
    assert answer.status_code == 422
    assert "Nothing was saved" in answer.json()["say"]
    assert acts(one) == []


def test_whole_card_or_acts_of_it(one: Pages) -> None:
    browser = one.client("ana")
    send(browser, writer(browser), "empty", "rinse", told="card")
    assert acts(one) == [("empty", {"told": "card"}), ("rinse", {"told": "card"})]


def test_it_is_the_writers_whoever_is_signed_in_when_it_is_sent(one: Pages) -> None:
    phone = one.client("ana", kind="shared")
    proof = writer(phone)
    one.sign_in(phone, "lee", kind="shared")  # handed on
    assert send(phone, proof, "rinse").status_code == 201
    anybody = one.client()  # and nobody signed in at all
    assert send(anybody, proof, "fill").status_code == 201
    uuid = one.stage.machine("B7H")
    from logbook.evidence.form import read
    from logbook.store import words

    mine = one.stage.read(lambda c: words.reporter_of(c, uuid, one.stage.person("ana")))
    rows = one.stage.read(lambda c: list(log.by_seq(c, uuid)))
    assert [(row.kind, read(row.bytes).reporter == mine) for row in rows[1:]] == [("rinse", True), ("fill", True)]


def test_what_was_written_is_taken_for_two_weeks_after_signing_out(one: Pages) -> None:
    browser = one.client("ana")
    proof = writer(browser)
    one.house.store.write(lambda c: sessions.end(c, proof.partition(".")[0], one.stage.now))
    one.stage.now += 14 * DAY
    assert send(browser, proof, "rinse").status_code == 201
    one.stage.now += 1
    assert send(browser, proof, "fill").status_code == 401
    assert acts(one) == [("rinse", {})]


def test_a_session_that_was_taken_away_writes_nothing(one: Pages) -> None:
    browser = one.client("ana")
    proof = writer(browser)
    one.house.store.write(lambda c: sessions.revoke(c, proof.partition(".")[0], one.stage.now))
    answer = send(browser, proof, "rinse")
    assert answer.status_code == 401
    assert answer.json()["say"]
    assert acts(one) == []


@pytest.mark.parametrize(
    "forged", ["", ".", "x", "{id}.", "{id}.AAAAAAAAAAAAAAAAAAAAAA", "{other}.{proof}", "{id}.{form}"]
)
def test_a_forged_writer_is_nobody(one: Pages, forged: str) -> None:
    browser = one.client("ana")
    id_, _dot, proof = writer(browser).partition(".")
    other = writer(one.client("own")).partition(".")[0]
    said = forged.format(id=id_, proof=proof, other=other, form=one.house.sign("form", id_))
    assert send(browser, said, "rinse").status_code == 401
    assert acts(one) == []


def test_who_has_left_writes_nothing_more(one: Pages) -> None:
    browser = one.client("ana")
    proof = writer(browser)
    fleet = one.stage.read(one.stage.program.registry.fleet)
    left = Draft(one.stage.ids(), fleet, "person_left", {"person": one.stage.person("ana")})
    one.stage.program.intake.record([left], one.stage.by("own"))
    assert send(browser, proof, "rinse").status_code == 401


@pytest.mark.parametrize("code", ["B8F", "Z9Q"])
def test_another_sites_machine_is_not_there(one: Pages, code: str) -> None:
    browser = one.client("ana")
    answer = send(browser, writer(browser), "rinse", path=f"/en/m/{code}/taps")
    assert answer.status_code == 404
    assert answer.json()["say"]
    assert acts(one, "B8F") == []


@pytest.mark.parametrize(
    "wrong",
    [
        {"tap": "23456789A0"}, {"tap": "short"}, {"acts": []}, {"acts": [{"kind": "held"}]}, {"age_ms": "5"}, {"more": 1},
        {"acts": [{"kind": "void", "data": {"entry": "x"}}]}, {"acts": [{"kind": "no_such"}]}, {"told": "cards"},
        {"acts": [{"kind": "rinse", "data": {"told": "card"}}]}, {"acts": [{"kind": "rinse", "data": {"x": 1}}]},
        {"acts": [{"kind": "fill", "data": {"water_ml": -1}}]}, {"acts": [{"kind": "fill", "data": {"water_ml": 1.5}}]},
        {"acts": [{"kind": "photo", "data": {"entry": "x", "image": "/9j/AAAA"}}]},
        {"acts": [{"kind": "rinse", "data": {"corrects": "0192d5c8-0000-7000-8000-000000000001"}}]},
        {"acts": [{"kind": "note", "data": {"note": "x" * 20_001}}]}, {"acts": [{"kind": "rinse"}] * 9},
    ],
)  # fmt: skip
def test_what_no_page_sends_is_refused_for_good(one: Pages, wrong: dict[str, Any]) -> None:
    browser = one.client("own")
    answer = send(browser, writer(browser), "rinse", **wrong)
    assert answer.status_code == 422
    assert "Nothing was saved" in answer.json()["say"]
    assert acts(one) == []


@pytest.mark.parametrize("raw", [b"", b"{", b"[]", b"null", b'"x"', b"\xff\xfe", b"[" * 19_000])
def test_what_is_no_tap_at_all_is_refused(one: Pages, raw: bytes) -> None:
    answer = one.client("ana").post(f"{AT}/taps", content=raw, headers={"content-type": "application/json"})
    assert answer.status_code == 422
    assert answer.json()["say"]


def test_a_retired_machine_takes_what_was_tapped_before(one: Pages) -> None:
    browser = one.client("ana")
    proof = writer(browser)
    one.stage.now += HOUR
    one.stage.tell("B7H", "retired", who="lee")
    one.stage.now += HOUR
    assert send(browser, proof, "rinse", age_ms=90 * 60_000).status_code == 201
    late = send(browser, proof, "fill", age_ms=30 * 60_000)
    assert (late.status_code, late.json()["say"]) == (422, RETIRED)


def test_a_database_that_fails_is_asked_again(one: Pages, monkeypatch: pytest.MonkeyPatch) -> None:
    browser = one.client("ana")
    proof = writer(browser)

    def fail(*_some: Any, **_more: Any) -> None:
        raise StoreError("the disk is full")

    with monkeypatch.context() as patched:
        patched.setattr(one.house.intake, "record", fail)
        answer = send(browser, proof, "rinse")
        assert answer.status_code == 503
        assert int(answer.headers["retry-after"]) > 0
        assert "kept on this phone" in answer.json()["say"]
    with monkeypatch.context() as patched:
        patched.setattr(one.house.store, "read", fail)
        assert send(browser, proof, "rinse").status_code == 503
    assert send(browser, proof, "rinse").status_code == 201


def test_another_site_of_the_web_sends_nothing(one: Pages) -> None:
    browser = one.client("ana")
    proof = writer(browser)
    answer = browser.post(f"{AT}/taps", json={"writer": proof, "tap": TAP, "acts": [{"kind": "rinse"}]},
                          headers={"sec-fetch-site": "cross-site"})  # fmt: skip
    assert answer.status_code == 403
    assert acts(one) == []


def test_the_answer_is_in_the_readers_language(one: Pages) -> None:
    browser = one.client("ana")
    answer = send(browser, writer(browser), "rinse", path="/es/m/B7H/taps")
    assert answer.json()["say"].startswith("Anotado: tanque enjuagado 22:00.")


# -- back ---------------------------------------------------------------------------------------------------------


def undo(browser: TestClient, proof: str, of: Any, tap: str = SECOND) -> Any:
    return browser.post(f"{AT}/undo", json={"writer": proof, "tap": tap, "undo_of": of})


def test_a_tap_is_taken_back_by_its_code_once(one: Pages) -> None:
    browser = one.client("ana")
    proof = writer(browser)
    send(browser, proof, "rinse", "charge")
    first = undo(browser, proof, TAP)
    assert first.status_code == 201
    assert first.json()["say"].startswith("Taken back: rinsed, put on charge 22:00.")
    assert undo(browser, proof, TAP).status_code == 200
    assert [kind for kind, _data in acts(one)] == ["rinse", "charge", "void", "void"]
    assert undo(browser, proof, TAP, "PQRSTVWXYZ").status_code == 422  # there is nothing more to take back


def test_what_was_kept_on_the_phone_and_sent_late_can_still_be_taken_back(one: Pages) -> None:
    browser = one.client("ana")
    proof = writer(browser)
    one.stage.now += 8 * HOUR
    send(browser, proof, "rinse", age_ms=8 * 3_600_000)
    assert undo(browser, proof, TAP).status_code == 201
    send(browser, proof, "fill", tap="3456789ABC")
    one.stage.now += 30 * MINUTE + 1
    late = undo(browser, proof, "3456789ABC", "PQRSTVWXYZ")
    assert late.status_code == 422
    assert "What was saved stands" in late.json()["say"]


def test_nobody_takes_back_anothers(one: Pages) -> None:
    ana, jo = one.client("ana"), one.client("own")
    send(ana, writer(ana), "rinse")
    assert undo(jo, writer(jo), TAP).status_code == 422
    assert undo(jo, writer(jo), [entry_id(TAP, "rinse")]).status_code == 422
    assert undo(ana, "x.y", TAP).status_code == 401
    assert acts(one) == [("rinse", {})]


# -- state --------------------------------------------------------------------------------------------------------


def test_the_state_is_what_the_page_says(one: Pages) -> None:
    browser = one.client("ana")
    one.stage.tell("B7H", "start", who="ana")
    one.stage.now += 6 * HOUR
    found = browser.get(f"{AT}/state").json()
    screen = look(browser, AT)
    assert found["say"] in screen.text
    assert found["lines"]
    assert all(line["text"] in screen.text for line in found["lines"])
    assert found["likely"] == {"kind": "rinse", "label": "Emptied and rinsed"}
    assert {each["duty"]: each["due"] for each in found["owed"]} == {"rinse": None, "squeegee": None, "charge": None}
    assert found["last"] is None
    one.post(browser, AT, act=f"rinse:{TAP}")
    assert browser.get(f"{AT}/state").json()["last"] == {"say": "rinsed 04:00", "undo_of": [entry_id(TAP, "rinse")]}
    assert browser.get("/en/m/B8F/state").status_code == 404
    assert one.client().get(f"{AT}/state").status_code == 303
    assert json.loads(browser.get("/es/m/B7H/state").text)["likely"]["label"] == "Limpié el escurridor"
