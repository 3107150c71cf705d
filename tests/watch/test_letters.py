"""The morning's letter: once a person a morning, exceptions only, and on Mondays the week."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from logbook.channels.desk import Message
from logbook.domain.instants import DAY, HOUR, MINUTE, parse
from logbook.domain.telling.items import Letter
from logbook.watch.letters import Letters
from tests.whole.stage import START, Stage

Make = Callable[..., Stage]
NIGHTLY = [{"rule": "FREQ=DAILY", "from": "22:00", "to": "06:00"}]
HX = {"code": "HX", "name": "North Slip", "zone": "America/Halifax"}
SJ = {"code": "SJ", "name": "Harbour Hall", "zone": "America/St_Johns"}
LETTERED: dict[str, Any] = {"squeegee": False, "charge": False, "remind": False, "rinse.tell": "letter"}
MORNING = parse("2026-03-03T10:30:00Z")


def written(one: Stage, key: str, at: int) -> Letter:
    """The letter that a person would get at an instant, as facts."""
    one.now = at
    with one.program.store.read() as connection:
        register = one.program.registry.current(connection)
        made = Letters(one.program.post, connection, register, at)
        person = register.people[one.person(key)]
        return made._letter(person, "2026-03-09", [], made._week(person, at))


def letters_of(one: Stage, key: str) -> list[int]:
    return [message.queued_at for message in one.messages("letter", key)]


def test_a_morning_without_anything_to_tell_sends_nothing(make: Make) -> None:
    one = make(policy=LETTERED)
    one.until(MORNING + HOUR)
    assert one.messages() == []


def test_one_letter_at_the_end_of_the_readers_own_quiet_hours(make: Make) -> None:
    one = make(policy=LETTERED)
    for code, who in (("B7H", "ana"), ("B8F", "kim")):
        one.tell(code, "put_away", who=who)
    one.until(MORNING + DAY - HOUR)
    assert letters_of(one, "lee") == [MORNING]
    assert letters_of(one, "kim") == [MORNING - 30 * MINUTE]
    [letter] = one.messages("letter", "lee")
    assert "B7H" in letter.body
    assert "B8F" not in letter.body


def test_what_was_told_in_a_letter_is_not_told_again(make: Make) -> None:
    one = make(policy=LETTERED)
    one.tell("B7H", "put_away")
    one.until(MORNING + 3 * DAY)
    assert letters_of(one, "lee") == [MORNING]
    assert all(notice.message for notice in one.notices("lee"))


def test_a_clock_that_slept_over_mornings_writes_one_letter(make: Make) -> None:
    one = make(policy=LETTERED)
    one.tell("B7H", "put_away")
    one.step(START + HOUR)
    one.step(MORNING + 2 * DAY + 5 * HOUR)
    one.step()
    one.step(MORNING + 2 * DAY + 6 * HOUR)
    assert letters_of(one, "lee") == [MORNING + 2 * DAY + 5 * HOUR]


def test_two_processes_write_one_letter(make: Make) -> None:
    one = make(policy=LETTERED)
    other = make(url=str(one.program.store.url), apply=False)
    one.tell("B7H", "put_away")
    one.step(START + HOUR)
    stages = (one, other) * 3
    together = threading.Barrier(len(stages))

    def act(each: Stage) -> None:
        together.wait()
        each.program.step(MORNING + MINUTE)

    threads = [threading.Thread(target=act, args=(each,)) for each in stages]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert letters_of(one, "lee") == [MORNING + MINUTE]


def test_no_letter_for_a_morning_before_the_fleet_was_founded(make: Make) -> None:
    one = make(policy=LETTERED, at=parse("2026-03-02T10:31:00Z"))  # a Monday, just after the end of quiet hours
    one.step()
    assert one.messages() == []


def test_last_nights_count_and_quiet_sites(make: Make) -> None:
    one = make(policy={**LETTERED, "night.tell": "letter"}, site=[{**HX, "nights": NIGHTLY}, {**SJ, "nights": NIGHTLY}])
    one.now = parse("2026-03-03T09:00:00Z")
    one.step()
    one.tell("B7H", "put_away")
    one.tell("B7H", "rinse")
    letter = written(one, "own", MORNING)
    assert (letter.nights_told, letter.nights_expected) == (1, 2)
    assert letter.quiet_sites == ["Harbour Hall", "North Slip"]
    letter = written(one, "lee", MORNING)
    assert (letter.nights_told, letter.nights_expected, letter.quiet_sites) == (1, 1, ["North Slip"])


def test_nights_that_nobody_keeps_are_not_counted(make: Make) -> None:
    """Switched off, every night would count as told although nobody ever says a word."""
    one = make(policy={**LETTERED, "night": False}, site=[{**HX, "nights": NIGHTLY}, SJ])
    one.until(MORNING)
    letter = written(one, "own", MORNING)
    assert (letter.nights_told, letter.nights_expected) == (0, 0)


def test_a_machine_out_of_service_is_not_counted(make: Make) -> None:
    one = make(policy=LETTERED, site=[{**HX, "nights": NIGHTLY}, SJ])
    one.tell("B7H", "out_of_service", who="lee")
    one.until(MORNING)
    assert written(one, "own", MORNING).nights_expected == 0


MONDAY = parse("2026-03-16T09:30:00Z")
"""06:30 in Halifax, summer time by then; the fleet is two weeks old."""


def test_mondays_figures(make: Make) -> None:
    order = {"account": "A-17", "contact": "parts counter", "email": "parts@dealer.example"}
    machines = [
        {"code": "B7H", "site": "HX", "battery": "flooded", "commissioned_at": "2026-03-01T12:00:00Z",
         "segments": {"part": "DS-3", "heads": 3, "new_um": 10000}},
        {"code": "B8F", "site": "SJ", "battery": "flooded", "commissioned_at": "2026-03-01T12:00:00Z"},
    ]  # fmt: skip
    one = make(policy={"charge": False, "squeegee": False, "remind": False}, site=[{**HX, "order": order}, SJ],
               machine=machines)  # fmt: skip
    one.tell("B7H", "watering", water_ml=1000)
    one.tell("B8F", "watering", who="kim", water_ml=1000)
    one.now = START + DAY
    one.tell("B7H", "put_away")  # late in the first week
    one.until(START + 8 * DAY)
    for code, who, millilitres in (("B7H", "ana", 1600), ("B8F", "kim", 1200)):
        one.tell(code, "watering", who=who, water_ml=millilitres)
    for day in (9, 10, 11):
        one.until(START + day * DAY)
        one.tell("B7H", "put_away")
    one.tell("B7H", "segments", left_um=[7000, 6000, 7000])
    one.tell("B7H", "fault", note="hose leaks")
    one.until(MONDAY - 1)
    letter = written(one, "lee", MONDAY)
    week = letter.week
    assert week is not None
    counted = [data for _k, at, data in one.entries("B7H", "alert_raised") if MONDAY - 7 * DAY < at <= MONDAY]
    assert week.late == len(counted)
    assert week.late_before >= 1
    assert ("B7H", "rinse", 3) in week.repeats
    assert week.thirsty == [("B7H", 1600, 1000)]
    assert week.low == [("B7H", "North Slip", "DS-3", 3, "A-17", "parts counter")]
    assert week.faults == [("B7H", (MONDAY - START - 11 * DAY) // DAY, None)]
    assert [(name, times >= 3) for name, _duties, times in week.visits] == [("North Slip", True)]
    elsewhere = written(one, "kim", MONDAY).week
    assert elsewhere is not None
    assert (elsewhere.repeats, elsewhere.low, elsewhere.faults) == ([], [], [])
    one.step(MONDAY)
    [message] = [m for m in one.messages("letter", "lee") if m.queued_at == MONDAY]
    for said in ("B7H", "DS-3", "A-17"):
        assert said in message.body


def test_nights_untold_are_counted_by_the_week(make: Make) -> None:
    one = make(policy={**LETTERED, "segments": False, "filter": False, "watering": False},
               site=[{**HX, "nights": NIGHTLY}, SJ])  # fmt: skip
    one.until(MONDAY)
    week = written(one, "lee", MONDAY).week
    assert week is not None
    assert (week.nights_untold, week.late) == (7, 0)
    assert week.nights_untold_before == len(one.entries("B7H", "alert_raised")) - 7
    assert [name for name, _duties, _times in week.visits] == ["North Slip"]


def test_what_another_process_is_telling_is_not_in_the_letter_too(make: Make, monkeypatch: Any) -> None:
    """A notice that is ready and not gathered is in somebody else's hands; it must not be told twice."""
    one = make(policy={**LETTERED, "rinse.tell": "now"})
    one.now = MORNING
    one.tell("B7H", "put_away", MORNING - HOUR)
    monkeypatch.setattr("logbook.watch.step.gather", lambda _post, _connection, _now: 0)
    one.step(MORNING + 10 * MINUTE)
    assert letters_of(one, "lee") == []
    monkeypatch.undo()
    one.step()
    assert [message.kind for message in one.messages(to="lee")] == ["alert"]


def test_texts_from_nobody_known_are_told_in_the_morning(make: Make) -> None:
    """They were kept, and somebody must say whose they are."""
    one = make()
    one.until(START)
    before = len(one.messages("letter"))
    one.program.desk.take(Message("x-1", "text", "+19025550177", "B7H rinsed", one.now))
    one.until(START + DAY)
    letters = one.messages("letter")[before:]
    assert letters
    assert "1 text of the last day came from nobody" in " ".join(letters[0].body.split())
    after = len(one.messages("letter"))
    one.until(START + 3 * DAY)
    assert not any("came from nobody" in " ".join(each.body.split()) for each in one.messages("letter")[after:])
