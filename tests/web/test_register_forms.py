"""The Register's forms: each writes exactly its entries, says what is wrong, and is there for whoever it is for."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from html import unescape
from typing import Any

import pytest

from logbook.store import folds, log
from logbook.web.register.sites import zone_of
from tests.web.conftest import Pages

MACHINE = {"site": "HX", "battery": "sealed", "serial": "SN-1", "heads": "3", "new": "12 mm", "part": "D-30"}


def hidden(page: str, action: str) -> dict[str, str]:
    """The hidden fields of the form that goes to an address, less the token."""
    forms = re.findall(r"<form[^>]*>.*?</form>", page, re.DOTALL)
    one = next(each for each in forms if f'action="{action}"' in each)
    found = re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', one)
    return {name: unescape(value) for name, value in found if name != "csrf"}


def fleet_entries(one: Pages) -> list[Any]:
    name = one.stage.read(one.house.intake.registry.fleet)
    return list(one.stage.read(lambda c: list(log.by_seq(c, name))))


def data(row: Any) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(row.bytes)["data"]
    return found


def test_a_new_machine_is_a_plate_and_a_first_entry_once(pages: Callable[..., Pages]) -> None:
    one = pages()
    lee = one.client("lee")
    page = lee.get("/en/register/machines/new").text
    code = re.search(r'name="code"[^>]*value="(\w+)"', page)
    assert code is not None
    fields = {**hidden(page, "/en/register/machines/new"), **MACHINE, "code": code[1]}
    before = len(fleet_entries(one))
    for _time in range(2):
        answer = one.post(lee, "/en/register/machines/new", **fields)
        assert (answer.status_code, answer.headers["location"]) == (303, f"/en/register/machines/{code[1]}?done=saved")
    entries = fleet_entries(one)
    assert len(entries) == before + 1
    said = data(entries[-1])
    assert (entries[-1].kind, said["code"]) == ("machine_set", code[1])
    assert said["segments"] == {"part": "D-30", "heads": 3, "new_um": 12_000}
    rows = one.stage.read(lambda c: list(log.by_seq(c, said["machine"])))
    assert [(r.kind, data(r)) for r in rows] == [
        ("commissioned", {"site": "HX", "battery": "sealed", "serial": "SN-1", "code": code[1]})
    ]
    assert lee.get(answer.headers["location"]).status_code == 200


@pytest.mark.parametrize(
    ("changes", "said"), [({"new": "thick"}, "Heads is a whole number"), ({"code": "B7X"}, "wrong check character")]
)
def test_a_machine_that_cannot_be_is_shown_again(pages: Callable[..., Pages], changes: Any, said: str) -> None:
    one = pages()
    lee = one.client("lee")
    fields = hidden(lee.get("/en/register/machines/new").text, "/en/register/machines/new")
    before = len(fleet_entries(one))
    answer = one.post(lee, "/en/register/machines/new", **{**fields, **MACHINE, "code": "C2", **changes})
    assert answer.status_code == 422
    assert said in unescape(answer.text)
    assert 'value="SN-1"' in answer.text
    assert len(fleet_entries(one)) == before


@pytest.mark.parametrize(
    ("path", "fields"),
    [
        ("/en/register/sites/new", {"code": "ZZ", "name": "Z", "zone": "America/Halifax"}),
        ("/en/register/sites/SJ", {"name": "mine", "zone": "America/Halifax"}),
        ("/en/register/machines/new", {**MACHINE, "code": "C2", "site": "SJ"}),
        ("/en/register/machines/B8F/act", {"act": "held"}),
        ("/en/register/machines/B8F/fit", {"code": "B8F"}),
        ("/en/register/machines/B7H/act", {"act": "moved", "to": "SJ"}),
        ("/en/register/people/new", {"name": "X", "role": "owner", "site": "HX"}),
        ("/en/register/people/new", {"name": "X", "role": "cleaner", "site": "SJ"}),
        ("/en/register/policy/filter", {"chosen": "false"}),
        ("/en/register/policy/filter", {"chosen": "false", "site": "SJ"}),
        ("/en/register/policy/filter/preview", {"chosen": "false", "machine": "B8F"}),
        ("/en/register/import/now", {"rows": "[]"}),
    ],
)
def test_what_is_not_theirs_is_not_there(pages: Callable[..., Pages], path: str, fields: dict[str, str]) -> None:
    one = pages()
    before = len(fleet_entries(one))
    for key in ("lee", "ana"):
        answer = one.post(one.client(key), path, id=one.house.intake.new_id(), **fields)
        assert answer.status_code == 404, key
    assert len(fleet_entries(one)) == before


@pytest.mark.parametrize("key", ["kim", "own"])
def test_a_person_of_other_sites_or_an_owner_is_not_a_supervisors(pages: Callable[..., Pages], key: str) -> None:
    one = pages()
    lee, id_ = one.client("lee"), one.stage.person(key)
    assert lee.get(f"/en/register/people/{id_}").status_code == 404
    for what in ("change", "left", "link"):
        answer = one.post(
            lee, f"/en/register/people/{id_}/{what}", id=one.house.intake.new_id(), name="x", role="cleaner"
        )
        assert answer.status_code == 404


def test_a_person_is_added_with_a_number_as_it_was_typed(pages: Callable[..., Pages]) -> None:
    one = pages()
    lee = one.client("lee")
    fields = hidden(lee.get("/en/register/people/new").text, "/en/register/people/new")
    typed = {"name": "<b>Eva</b>", "role": "cleaner", "site": "HX", "language": "es", "phone": "902 555 0150"}
    answer = one.post(lee, "/en/register/people/new", **fields, **typed)
    assert answer.status_code == 303
    known = one.stage.register.person_by_phone("+19025550150")
    assert known is not None
    assert (known.name, known.role, known.sites, known.language) == ("<b>Eva</b>", "cleaner", ("HX",), "es")
    page = lee.get(answer.headers["location"]).text
    assert "&lt;b&gt;Eva&lt;/b&gt;" in page
    assert "<b>Eva" not in page
    shown = one.post(lee, f"/en/register/people/{known.uuid}/link")
    assert re.search(r"https://log\.ferry\.example/es/enter/[\w-]{40,}", shown.text)
    twice = one.post(lee, "/en/register/people/new", id=one.house.intake.new_id(), **typed)
    assert twice.status_code == 422
    assert "Somebody else has this number" in twice.text


def test_nights_are_kept_as_rules_and_foreign_ones_stay(pages: Callable[..., Pages]) -> None:
    odd = {"rule": "FREQ=MONTHLY;BYMONTHDAY=1", "from": "20:00", "to": "23:00", "except": []}
    one = pages(site=[{"code": "HX", "name": "North Slip", "zone": "America/Halifax", "nights": [odd]},
                      {"code": "SJ", "name": "Harbour Hall", "zone": "America/St_Johns"}])  # fmt: skip
    lee, path = one.client("lee"), "/en/register/sites/HX"
    page = lee.get(path).text
    assert "FREQ=MONTHLY;BYMONTHDAY=1" in page
    fields = {**hidden(page, path), "name": "North Slip", "zone": "America/Halifax", "n0_day": ["MO", "TU"],
              "n0_from": "22:00", "n0_to": "06:00", "n0_except": "2026-12-25"}  # fmt: skip
    assert one.post(lee, path, **fields).status_code == 303
    assert one.stage.register.sites["HX"].nights == (
        ("FREQ=MONTHLY;BYMONTHDAY=1", "20:00", "23:00", ()),
        ("FREQ=WEEKLY;BYDAY=MO,TU", "22:00", "06:00", ("2026-12-25",)),
    )
    late = one.post(lee, path, **{**fields, "id": one.house.intake.new_id(), "name": "Other"})
    assert late.status_code == 409
    assert "Somebody changed this meanwhile" in late.text
    assert one.stage.register.sites["HX"].name == "North Slip"


def test_a_machine_is_held_and_retired_only_when_asked_twice(pages: Callable[..., Pages]) -> None:
    one = pages()
    lee, path = one.client("lee"), "/en/register/machines/B7H"

    def act(**fields: str) -> Any:
        found = hidden(lee.get(path).text, f"{path}/act")
        return one.post(lee, f"{path}/act", **{**found, **fields})

    def kinds() -> list[str]:
        uuid = one.stage.register.by_code["B7H"].uuid
        return [e.kind for e in one.stage.read(lambda c: list(folds.recorded(c, uuid)))]

    assert act(act="held", why="smell").status_code == 303
    assert "must not be run" in lee.get(path).text
    assert act(act="retired").status_code == 200
    assert act(act="retired", typed="B8F").status_code == 422
    assert kinds() == ["commissioned", "held"]
    assert act(act="retired", typed="b7h").status_code == 303
    assert kinds() == ["commissioned", "held", "retired"]


def test_policy_is_set_at_its_level_and_put_back(pages: Callable[..., Pages]) -> None:
    one = pages()
    lee, path = one.client("lee"), "/en/register/policy/watering.every"
    fields = hidden(lee.get(f"{path}?site=HX").text, f"{path}/preview")
    assert one.post(lee, path, **fields, typed="P1M").status_code == 422
    assert one.post(lee, path, **fields, typed="P5D").status_code == 303
    assert one.stage.register.settings(site="HX") == {"watering.every": "P5D"}
    assert "5 days" in lee.get("/en/register/policy?site=HX").text
    assert one.post(lee, path, **{**fields, "id": one.house.intake.new_id()}, typed="P3D").status_code == 409
    fields = hidden(lee.get(f"{path}?site=HX").text, f"{path}/preview")
    assert one.post(lee, path, **fields, back="yes").status_code == 303
    assert one.stage.register.settings(site="HX") == {}


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("America/Halifax", "America/Halifax"),
        ("Halifax", "America/Halifax"),
        ("st johns", "America/St_Johns"),
        ("america/halifax", "America/Halifax"),
        ("Louisville", "Louisville"),  # two zones end so: nobody guesses which
        ("Nowhere", "Nowhere"),
    ],
)
def test_a_town_will_do_where_only_one_zone_has_it(said: str, meant: str) -> None:
    assert zone_of(said) == meant
