"""The keeper's page: own site alone, nobody's name, each form one entry however often it is sent."""

from __future__ import annotations

import re

import pytest

from tests.whole.stage import FLEET

KEEPER = {"key": "kay", "name": "Kay Bright", "role": "keeper", "email": "kay@ferry.example", "sites": ["HX"]}
NIGHTS = [{"rule": "FREQ=DAILY", "from": "22:00", "to": "06:00"}]


@pytest.fixture
def made(pages):
    sites = [{**site, "nights": NIGHTS} for site in FLEET["site"]]
    machines = [
        {**each, "segments": {"part": "metal 30/40", "heads": 3, "new_um": 12_000}} for each in FLEET["machine"]
    ]
    return pages(person=[*FLEET["person"], KEEPER], site=sites, machine=machines)


def _send(made, browser, code="B7H", **fields):
    return made.post(browser, f"/en/keeper/{code}", **{"id": made.stage.ids(), **fields})


def test_a_keeper_sees_the_own_site_and_nobody_s_name(made):
    made.stage.tell("B7H", "start")
    made.stage.tell("B7H", "note", note="Ana was here")
    shown = made.client("kay").get("/en/keeper")
    assert shown.status_code == 200
    assert "B7H" in shown.text
    assert "B8F" not in shown.text
    assert "In use now." in shown.text
    for name in ("Ana", "Lee", "Jo Marsh", "cleaner"):
        assert name not in shown.text
    assert made.client("ana").get("/en/keeper").status_code == 404
    assert made.client().get("/en/keeper").status_code == 303
    assert "B8F" in made.client("own").get("/es/keeper").text


def test_keys_go_out_and_come_back(made):
    browser, stage = made.client("kay"), made.stage
    assert "Nothing was said of the key" in browser.get("/en/keeper").text
    id_ = stage.ids()
    for _ in range(2):
        sent = _send(made, browser, act="key_out", id=id_)
        assert (sent.status_code, sent.headers["location"]) == (303, "/en/keeper?done=key_out&of=B7H#B7H")
    assert len(stage.entries("B7H", "key_out")) == 1
    assert stage.entries("B7H", "key_out")[0][2] == {}, "never to whom"
    shown = browser.get("/en/keeper?done=key_out&of=B7H").text
    assert "The key is out since" in shown
    assert "key handed out" in shown
    assert 'value="key_back"' in shown
    stage.now += 60_000_000
    _send(made, browser, act="key_back")
    assert "The key is here since" in browser.get("/en/keeper").text


def test_an_order_is_waited_for_until_it_comes(made):
    browser, stage = made.client("kay"), made.stage
    assert _send(made, browser, act="counted", part="segments", qty="2").status_code == 303
    assert _send(made, browser, act="ordered", part="metal 30/40", qty="6").status_code == 303
    shown = browser.get("/en/keeper").text
    assert "Deliveries that are expected" in shown
    assert "Expected by" in shown
    assert re.search(r"2\s*× metal 30/40", shown), "segments are the part that this machine takes"
    stage.until("2026-03-20T12:00:00Z")
    assert "It should have come by" in browser.get("/en/keeper").text
    order = re.search(r'name="order" value="([0-9a-f-]+)"', shown).group(1)
    assert _send(made, browser, act="received", order=stage.ids(), qty="6").status_code == 404
    assert _send(made, browser, act="received", order=order, qty="6").status_code == 303
    shown = browser.get("/en/keeper").text
    assert "Deliveries that are expected" not in shown
    assert re.search(r"2 \+ 6 × metal 30/40", shown)


@pytest.mark.parametrize("qty", ["", "six", "-1", "1e3", "٣", "9999999", "2.5"])
def test_what_is_no_number_of_pieces_is_not_saved(made, qty):
    browser = made.client("kay")
    refused = _send(made, browser, act="counted", part="segments", qty=qty)
    assert refused.status_code == 422
    assert "Write how many pieces" in refused.text
    assert made.stage.entries("B7H", "counted") == []


def test_no_other_site_and_no_other_kind_is_written(made):
    browser, stage = made.client("kay"), made.stage
    assert _send(made, browser, "B8F", act="key_out").status_code == 404
    assert _send(made, browser, "Z9Z", act="key_out").status_code == 404
    for act in ("held", "charge", "retired", ""):
        assert _send(made, browser, act=act).status_code == 404
    assert browser.post("/en/keeper/B7H", data={"act": "key_out", "id": stage.ids()}).status_code == 403
    assert _send(made, browser, act="key_out", id="no uuid").status_code == 422
    assert stage.entries("B8F", "key_out") == []
    assert [kind for kind, _at, _data in stage.entries("B7H")] == ["commissioned"]


def test_a_machine_that_must_not_run_keeps_its_key(made):
    stage, browser = made.stage, made.client("kay")
    stage.until("2026-03-02T18:00:00Z")
    assert "Stands ready for tonight." in browser.get("/en/keeper").text
    stage.tell("B7H", "put_away")
    assert "Not ready yet: " in browser.get("/en/keeper").text
    stage.tell("B7H", "rinse")
    stage.tell("B7H", "charge")
    assert "Stands ready for tonight." in browser.get("/en/keeper").text
    stage.tell("B7H", "segments", left_um=[9_000, 0, 9_000])
    assert "A head has no segment left" in browser.get("/en/keeper").text
    stage.tell("B7H", "held", who="lee", why="until looked at")
    held = browser.get("/en/keeper").text
    assert "Held: it is not to be run" in held
    assert "until looked at" not in held
    stage.tell("B7H", "out_of_service", who="lee", why="workshop")
    assert "Out of service" in browser.get("/es/keeper").text or "Fuera de servicio" in browser.get("/es/keeper").text


def test_what_is_typed_is_shown_as_text(made):
    browser = made.client("kay")
    _send(made, browser, act="counted", part="<b>nut</b> & {{ 7*7 }}", qty="1")
    shown = browser.get("/en/keeper").text
    assert "&lt;b&gt;nut&lt;/b&gt; &amp; {{ 7*7 }}" in shown
