"""The page on training: by site and duty, never by person, and not at all where a count would be one person's."""

from __future__ import annotations

import pytest

from logbook.domain.instants import DAY, HOUR, parse
from logbook.domain.machine import Duty
from logbook.domain.reporting import Judged
from logbook.web.register import retraining_fold
from logbook.web.register.retraining_view import counts
from tests.whole.stage import FLEET

NOW = parse("2026-03-30T12:00:00Z")
MORE = [
    {"key": f"c{n}", "name": f"Cleaner {n}", "role": "cleaner", "phone": f"+1902555016{n}", "sites": ["HX"]}
    for n in range(2)
]


def _judged(duty: str, word: str, days: int, site: str = "HX") -> Judged:
    due = NOW - days * DAY
    return Judged(Duty(duty, f"{duty}{days}{word}", due - HOUR, due, site), word, due, False, ())


def test_duties_are_counted_by_site_the_worst_first():
    found = [_judged("rinse", word, day) for day, word in enumerate(("kept", "kept", "late", "missed", "excused"), 1)]
    found += [_judged("charge", "kept", day) for day in range(1, 5)] + [_judged("charge", "told_late", 6)]
    found += [_judged("rinse", "missed", 40), _judged("rinse", "missed", 2, "SJ"), _judged("delivery", "missed", 3)]
    (site,) = counts(found, {"HX": "Slip"}, {"HX": 3}, 4, NOW)
    rinse, charge = site.rows
    assert (rinse.duty, rinse.owed, rinse.kept, rinse.late, rinse.missed, rinse.excused) == ("rinse", 4, 2, 1, 1, 1)
    assert rinse.share == 50
    assert (charge.owed, charge.kept, charge.told_late, charge.undone) == (5, 4, 1, 0)


@pytest.mark.parametrize(("cleaners", "weeks", "hidden"), [(1, 1, True), (2, 1, True), (3, 1, False), (1, 4, False)])
def test_where_a_count_would_be_one_person_s_no_week_is_counted(cleaners, weeks, hidden):
    found = [_judged("rinse", "missed", 2)]
    (site,) = counts(found, {"HX": "Slip"}, {"HX": cleaners}, weeks, NOW)
    assert site.hidden is hidden
    assert bool(site.rows) is not hidden
    assert site.few is (cleaners < 3)


def _nights(made):
    stage = made.stage
    for day in range(3, 9):
        stage.until(f"2026-03-0{day}T06:00:00Z")
        stage.tell("B7H", "start", f"2026-03-0{day}T02:00:00Z")
        if day % 2:
            stage.tell("B7H", "rinse")
        stage.tell("B7H", "charge")
        stage.tell("B7H", "put_away")
    stage.until("2026-03-09T06:00:00Z")


def test_the_page_counts_what_the_log_tells_and_names_nobody(pages):
    made = pages(person=[*FLEET["person"], *MORE])
    _nights(made)
    shown = made.client("lee").get("/en/register/retraining?weeks=1")
    assert shown.status_code == 200
    text = " ".join(shown.text.split())
    assert "50 % not in time" in text
    assert "North Slip" in text
    assert "Harbour Hall" not in text
    for name in ("Ana", "Cleaner 1"):
        assert name not in text
    assert made.client("ana").get("/en/register/retraining").status_code == 404
    assert made.client().get("/en/register/retraining").status_code == 303


def test_one_cleaner_s_week_is_not_shown(pages):
    made = pages()
    _nights(made)
    week = made.client("lee").get("/en/register/retraining?weeks=1").text
    assert "would be one person" in week
    assert "<table" not in week
    month = made.client("lee").get("/en/register/retraining?weeks=4").text
    assert "talk about the duty" in month
    assert "<table" in month


def test_training_is_noted_once_on_each_machine(pages):
    made = pages()
    browser, id_ = made.client("lee"), made.stage.ids()
    fields = {"topic": "battery watering", "by": "the dealer", "id": id_}
    for _ in range(2):
        sent = made.post(browser, "/en/register/retraining", machine="B7H", **fields)
        assert (sent.status_code, sent.headers["location"]) == (303, "/en/register/retraining?done=1")
    told = made.stage.entries("B7H", "trained")
    assert [data for _kind, _at, data in told] == [{"topic": "battery watering", "by": "the dealer"}]
    assert "poner agua a la batería, por: el proveedor" in browser.get("/es/register/retraining").text


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"topic": "Ana is slow"}, 422), ({"by": "Ana"}, 422), ({"machine": ""}, 404), ({"machine": "B8F"}, 404),
        ({"id": "1"}, 404),
    ],
)  # fmt: skip
def test_what_is_not_offered_is_not_written(pages, change, status):
    made = pages()
    browser = made.client("lee")
    fields = {"topic": "charging", "by": "owner", "machine": "B7H", "id": made.stage.ids(), **change}
    assert made.post(browser, "/en/register/retraining", **fields).status_code == status
    assert made.stage.entries("B7H", "trained") == []
    assert made.stage.entries("B8F", "trained") == []


def test_a_machine_is_folded_anew_only_when_something_was_told_or_an_hour_has_passed(pages, monkeypatch):
    one = pages()
    own, folded = one.client("own"), []
    real = retraining_fold._judge
    monkeypatch.setattr(retraining_fold, "_judge", lambda *given: folded.append(given[3]) or real(*given))
    path, uuid = "/en/register/retraining", one.stage.machine("B7H")
    for _time in range(3):
        assert own.get(path).status_code == 200
    assert len(folded) == 2  # each machine once
    one.stage.tell("B7H", "trained", who="own", topic="charging", by="owner")
    assert "charging" in own.get(path).text
    assert folded[2:] == [uuid]
    one.stage.now += HOUR
    own.get(path)
    assert len(folded) == 5
