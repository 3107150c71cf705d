"""The preview by replay: its numbers are those of `logbook.replay` run by hand, and of a planted scenario."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from logbook.domain.instants import DAY, parse, text
from logbook.domain.register import Register
from logbook.intake import By, Draft
from logbook.replay import replay
from logbook.store import folds
from logbook.web.register import preview
from logbook.web.register.ground import Known
from tests.web.conftest import Pages
from tests.web.test_register_forms import fleet_entries, hidden

WATERED = ("2026-03-03T12:00:00Z", "2026-03-09T12:00:00Z", "2026-03-15T12:00:00Z")


def planted(pages: Callable[..., Pages]) -> Pages:
    """A machine watered every six days: late for five days' policy, in time for seven."""
    one = pages(policy={"filter": False, "segments": False})
    uuid = one.stage.register.by_code["B7H"].uuid
    for when in WATERED:
        one.stage.now = parse(when)
        one.house.intake.record([Draft(one.house.intake.new_id(), uuid, "watering")], By(None, "program", "form"))
    return one


def by_hand(one: Pages, policy: dict[str, Any]) -> list[dict[str, Any]]:
    register: Register = one.stage.register
    uuid = register.by_code["B7H"].uuid
    told = one.stage.read(lambda c: list(folds.recorded(c, uuid)))
    entries = [
        {"id": e.id, "machine": "B7H", "kind": e.kind, "occurred_at": text(e.occurred_at),
         "recorded_at": text(e.recorded_at), "data": e.data} for e in told if not e.kind.startswith("alert_")
    ]  # fmt: skip
    fleet = {
        "policy": {**register.settings(), **policy},
        "site": [{"code": "HX", "zone": "America/Halifax"}],
        "machine": [{"code": "B7H", "site": "HX"}],
    }
    since = one.house.now() - 30 * DAY
    said = replay(fleet, entries, text(one.house.now()))
    return [each for each in said if each["kind"] == "alert_raised" and parse(each["at"]) >= since]


def known(one: Pages) -> Known:
    record = one.stage.register.by_code["B7H"]
    book = one.house.intake.book(one.stage.register, record.uuid)
    return Known(record, one.stage.read(lambda c: folds.load(c, record.uuid, book).machine))


def test_the_preview_says_what_a_replay_by_hand_says(pages: Callable[..., Pages]) -> None:
    one = planted(pages)
    found = preview.difference(one.house, [known(one)], "settings", {"values": {"watering.every": "P5D"}})
    now, then = by_hand(one, {}), by_hand(one, {"watering.every": "P5D"})
    assert (found.before, found.after) == (len(now), len(then))
    before = {each["opened_by"] for each in now}
    assert [(s.duty, text(s.at)) for s in found.more] == [
        (each["duty"], each["at"]) for each in then if each["opened_by"] not in before
    ]
    # From the scenario: watered on the 3rd, 9th and 15th at noon UTC, five days apart each time runs out before.
    assert [s.duty for s in found.more] == ["watering", "watering"]
    assert found.fewer == ()


def test_the_page_asks_before_it_saves(pages: Callable[..., Pages]) -> None:
    one = planted(pages)
    own, path = one.client("own"), "/en/register/policy/watering.every"
    fields = hidden(own.get(path).text, f"{path}/preview")
    before = len(fleet_entries(one))
    answer = one.post(own, f"{path}/preview", **fields, typed="P5D")
    assert answer.status_code == 200
    assert "would have raised 2 alerts more" in answer.text
    assert re.search(r'class="plate">B7H</span> <span>[^<]*water', answer.text)
    assert len(fleet_entries(one)) == before
    assert one.post(own, path, **hidden(answer.text, path)).status_code == 303
    assert one.stage.register.settings()["watering.every"] == "P5D"


def test_nights_are_previewed_and_saved_as_they_were_shown(pages: Callable[..., Pages]) -> None:
    one = planted(pages)
    lee, path = one.client("lee"), "/en/register/sites/HX"
    fields = {**hidden(lee.get(path).text, path), "name": "North Slip", "zone": "America/Halifax",
              "n0_day": ["MO", "WE"], "n0_from": "22:00", "n0_to": "06:00"}  # fmt: skip
    answer = one.post(lee, f"{path}/preview", **fields)
    assert answer.status_code == 200
    assert re.search(r"would have raised [1-9]\d* alerts more", answer.text)
    names = re.findall(r'name="(n0_day)" value="(\w\w)"', answer.text)
    assert names == [("n0_day", "MO"), ("n0_day", "WE")]
    again = {**hidden(answer.text, path), "n0_day": [day for _name, day in names]}
    assert one.post(lee, path, **again).status_code == 303
    assert one.stage.register.sites["HX"].nights == (("FREQ=WEEKLY;BYDAY=MO,WE", "22:00", "06:00", ()),)


def test_too_many_machines_are_cut_and_said(pages: Callable[..., Pages]) -> None:
    one = planted(pages)
    found = preview.difference(one.house, [known(one)] * 41, "settings", {"values": {"filter": True}})
    assert (found.done, found.of) == (40, 41)


def test_a_machine_s_own_nights_are_previewed_and_saved_as_they_were_shown(pages: Callable[..., Pages]) -> None:
    one = planted(pages)
    lee, path = one.client("lee"), "/en/register/machines/B7H/fit"
    fields = {**hidden(lee.get(path).text, path), "code": "B7H", "own_nights": "own",
              "n0_day": ["MO", "WE"], "n0_from": "22:00", "n0_to": "06:00"}  # fmt: skip
    before = len(fleet_entries(one))
    answer = one.post(lee, f"{path}/preview", **fields)
    assert answer.status_code == 200
    assert re.search(r"would have raised [1-9]\d* alerts more", answer.text)
    assert len(fleet_entries(one)) == before
    days = [day for _name, day in re.findall(r'name="(n0_day)" value="(\w\w)"', answer.text)]
    assert one.post(lee, path, **{**hidden(answer.text, path), "n0_day": days}).status_code == 303
    assert one.stage.register.by_code["B7H"].nights == (("FREQ=WEEKLY;BYDAY=MO,WE", "22:00", "06:00", ()),)
    wrong = one.post(lee, f"{path}/preview", **{**fields, "n0_to": ""})
    assert wrong.status_code == 422
    assert "A night needs a beginning and an end" in wrong.text
    assert one.post(lee, "/en/register/machines/B8F/fit/preview", **fields).status_code == 404


def test_a_row_is_told_by_the_clock_of_its_own_site(pages: Callable[..., Pages]) -> None:
    one = pages(policy={"filter": False, "segments": False})
    for when in WATERED:
        one.stage.now = parse(when)
        for code in ("B7H", "B8F"):
            one.stage.tell(code, "watering", who="own")
    own, path = one.client("own"), "/en/register/policy/watering.every"
    answer = one.post(own, f"{path}/preview", **hidden(own.get(path).text, f"{path}/preview"), typed="P5D")
    told = re.findall(r'plate">(B\w\w)</span> <span>[^<]*<span class="soft">([^<]+)<', answer.text)
    # A working day turns at 12:00 by the clock of either site, half an hour apart.
    assert sorted(told) == [(code, when) for code in ("B7H", "B8F") for when in ("Sat 14 Mar 12:00", "Sun 8 Mar 12:00")]
