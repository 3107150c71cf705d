"""What one visit of the clock to a machine puts down: who is told, when, and what takes what along."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import msgspec
import pytest

from logbook.domain.instants import DAY, HOUR, MINUTE, SECOND, Instant, parse, text
from logbook.domain.telling.items import Item
from tests.whole.stage import START, Stage

Make = Callable[..., Stage]
NIGHTLY = [{"rule": "FREQ=DAILY", "from": "22:00", "to": "06:00"}]
HX = {"code": "HX", "name": "North Slip", "zone": "America/Halifax"}
SJ = {"code": "SJ", "name": "Harbour Hall", "zone": "America/St_Johns"}
NEW = [{"code": "B7H", "site": "HX", "battery": "flooded", "commissioned_at": "2026-03-02T12:00:00Z"}]
LEE, JO = ["PT0S supervisor"], ["PT0S owner"]
NIGHT = parse("2026-03-03T02:00:00Z")
"""22:00 on Monday in Halifax."""


def nightly(**more: Any) -> list[dict[str, Any]]:
    return [{**HX, "nights": NIGHTLY, **more}, SJ]


def kinds(one: Stage, key: str) -> list[tuple[str, Instant]]:
    return [(message.kind, message.queued_at) for message in one.messages(to=key)]


def items(one: Stage, key: str) -> list[Item]:
    return [msgspec.json.decode(n.about, type=Item) for n in one.notices(key) if n.tell != "remind"]


def quiet(*duties: str) -> dict[str, Any]:
    """Policy without these duties."""
    return dict.fromkeys(duties, False)


# ------------------------------------------------------------------------------------------------------- reminders


def test_one_reminder_a_quarter_of_an_hour_before(make: Make) -> None:
    one = make(site=nightly())
    one.now = NIGHT
    one.step()
    one.tell("B7H", "start")
    one.now = NIGHT + 4 * HOUR
    one.tell("B7H", "put_away")
    one.until(NIGHT + 5 * HOUR)
    assert kinds(one, "ana") == [("reminder", NIGHT + 4 * HOUR + 15 * MINUTE)]
    [message] = one.messages(to="ana")
    assert message.not_after is not None
    assert message.not_after < NIGHT + 4 * HOUR + 30 * MINUTE
    assert "B7H" in message.body
    one.until(NIGHT + DAY - 1)
    assert len(one.messages("reminder", "ana")) == 1


def test_no_reminder_of_what_was_done(make: Make) -> None:
    one = make(site=nightly())
    one.now = NIGHT + 4 * HOUR
    one.tell("B7H", "put_away")
    one.now += 10 * MINUTE
    for kind in ("rinse", "charge", "squeegee"):
        one.tell("B7H", kind)
    one.until(NIGHT + 9 * HOUR)
    assert one.messages(to="ana") == []


def test_a_late_clock_reminds_until_the_due_instant_and_never_after(make: Make) -> None:
    for late, count in ((29 * MINUTE, 1), (30 * MINUTE, 0)):
        one = make(site=nightly())
        one.now = NIGHT + 4 * HOUR
        one.tell("B7H", "put_away")
        one.step(one.now + late)
        assert len(one.messages("reminder", "ana")) == count


def test_no_reminder_outside_the_night_and_its_grace(make: Make) -> None:
    one = make(site=nightly())
    for away, count in ((8 * HOUR + 44 * MINUTE, 1), (8 * HOUR + 46 * MINUTE, 1), (18 * HOUR, 1)):
        one.now = NIGHT + away
        one.tell("B7H", "start")
        one.tell("B7H", "put_away")
        one.until(one.now + 31 * MINUTE)
        assert len(one.messages("reminder", "ana")) == count


def test_a_late_clock_reminds_nobody_after_the_nights_grace(make: Make) -> None:
    """Due at 07:14, the night's grace over at 07:00: at 07:05 the cleaner sleeps."""
    for late, count in ((15 * MINUTE + SECOND, 1), (16 * MINUTE, 0)):
        one = make(site=nightly())
        one.now = NIGHT + 8 * HOUR + 44 * MINUTE
        one.tell("B7H", "put_away")
        one.step(one.now + late)
        assert len(one.messages("reminder", "ana")) == count


def test_where_nothing_was_told_the_sites_cleaners_are_asked_before_the_nights_end(make: Make) -> None:
    one = make(site=nightly())
    one.until(NIGHT + 9 * HOUR)
    assert kinds(one, "ana") == [("reminder", NIGHT + 8 * HOUR - 15 * MINUTE)]
    assert "NOT USED" in one.messages(to="ana")[0].body


def test_without_a_calendar_a_put_away_is_reminded_of_and_an_open_use_is_not(make: Make) -> None:
    one = make()
    one.tell("B7H", "start")
    one.until(START + 11 * HOUR)
    assert one.messages("reminder") == []
    one.tell("B7H", "put_away")
    one.until(one.now + 31 * MINUTE)
    assert len(one.messages("reminder", "ana")) <= 1


def test_reminders_can_be_switched_off(make: Make) -> None:
    one = make(site=nightly(), policy={"remind": False})
    one.until(NIGHT + 9 * HOUR)
    assert one.messages("reminder") == []


# ------------------------------------------------------------------------------------------------------ told and how


def test_what_is_told_now_waits_for_quiet_hours_to_end(make: Make) -> None:
    """Quiet ends at 06:30 by the reader's own wall clock: in St John's that is half an hour before Halifax's."""
    one = make(policy={**quiet("squeegee"), "escalation": LEE, "remind": False})
    one.now = parse("2026-03-03T06:00:00Z")
    one.tell("B7H", "put_away")
    one.tell("B8F", "put_away", who="kim")
    one.until("2026-03-03T12:00:00Z")
    assert kinds(one, "kim") == [("letter", parse("2026-03-03T10:00:00Z"))]
    assert kinds(one, "lee") == [("letter", parse("2026-03-03T10:30:00Z"))]
    assert all(item.held for item in items(one, "lee"))


def test_the_end_of_quiet_hours_is_not_quiet(make: Make) -> None:
    one = make(policy={**quiet("squeegee", "charge"), "remind": False})
    one.now = parse("2026-03-03T10:00:00Z")
    one.tell("B7H", "put_away")
    one.until("2026-03-03T10:31:00Z")
    assert kinds(one, "lee") == [("alert", parse("2026-03-03T10:30:00Z"))]


def test_what_is_urgent_rings_at_night(make: Make) -> None:
    one = make()
    one.now = parse("2026-03-03T06:00:00Z")
    one.tell("B7H", "held", who="lee")
    one.tell("B7H", "start")
    one.step()
    assert kinds(one, "lee") == [("alert", one.now)]
    assert one.messages(to="lee")[0].subject.startswith("URGENT")


WAYS = [("now", "alert"), ("urgent", "alert"), ("letter", "letter"), ("none", None)]


@pytest.mark.parametrize(("tell", "told"), WAYS)
def test_each_way_of_telling(make: Make, tell: str, told: str | None) -> None:
    one = make(policy={**quiet("squeegee", "charge"), "rinse.tell": tell, "remind": False, "escalation": JO})
    one.tell("B7H", "put_away")
    one.until(START + DAY)
    assert [kind for kind, _at in kinds(one, "own")] == ([told] if told else [])
    assert one.alert("B7H", "rinse").raised_at == START + 30 * MINUTE


def test_where_nobody_has_the_role_the_next_in_line_is_told(make: Make) -> None:
    people = [{"key": "own", "name": "Jo", "role": "owner", "email": "jo@ferry.example"},
              {"key": "ana", "name": "Ana", "role": "cleaner", "phone": "+19025550111"}]  # fmt: skip
    one = make(person=people, policy={**quiet("squeegee", "charge"), "remind": False, "escalation": LEE})
    one.tell("B7H", "put_away")
    one.until(START + HOUR)
    assert kinds(one, "own") == [("alert", START + 30 * MINUTE)]


def test_where_there_is_nobody_at_all_the_alert_is_in_the_log(make: Make) -> None:
    people = [{"key": "ana", "name": "Ana", "role": "cleaner", "phone": "+19025550111"}]
    one = make(person=people, policy={"remind": False})
    one.tell("B7H", "put_away")
    one.until(START + DAY)
    assert one.alert("B7H", "rinse").step == 0
    assert one.messages() == []


# -------------------------------------------------------------------------------------------------------- the night


def test_an_untold_night_takes_rinse_squeegee_and_charge_along(make: Make) -> None:
    one = make(machine=NEW, site=nightly(), policy={"remind": False})
    one.now = NIGHT
    one.tell("B7H", "start")
    one.until(NIGHT + 12 * HOUR)
    assert {one.alert("B7H", duty).step for duty in ("rinse", "squeegee", "charge")} == {0}
    [night] = items(one, "lee")
    assert (night.duty, night.tell, night.along) == ("night", "letter", ["rinse", "squeegee", "charge"])
    assert one.messages("alert") == []
    one.until(NIGHT + 2 * DAY)
    assert len([item for item in items(one, "lee") if item.duty in ("rinse", "charge")]) == 0


def test_what_a_night_took_along_is_told_when_the_night_is_accounted_for(make: Make) -> None:
    """The put-away is told in the morning; the tank stands dirty since, and somebody must hear of it."""
    one = make(site=nightly(), policy={**quiet("squeegee"), "remind": False})
    one.now = NIGHT
    one.tell("B7H", "start")
    one.until(NIGHT + 11 * HOUR)
    one.tell("B7H", "put_away", NIGHT + 7 * HOUR)
    one.until(NIGHT + 11 * HOUR + 10 * MINUTE)
    assert one.alert("B7H", "night").outcome == "told_late"
    [message] = one.messages("alert", "lee")
    assert "tank" in message.body
    assert "charge" in message.body
    assert one.alert("B7H", "rinse").step == 1
    one.until(NIGHT + 14 * HOUR)
    assert [kind for kind, _at in kinds(one, "own")] == ["alert"], "and passed on like any other"


def test_a_night_that_nobody_is_told_of_takes_nothing_along(make: Make) -> None:
    one = make(site=nightly(), policy={**quiet("squeegee", "charge"), "remind": False, "night.tell": "none"})
    one.now = NIGHT
    one.tell("B7H", "start")
    one.until(NIGHT + 11 * HOUR)
    assert one.alert("B7H", "rinse").step == 1


def test_three_nights_running_without_a_word_are_urgent(make: Make) -> None:
    one = make(machine=NEW, site=nightly(), policy={"remind": False})
    one.until(NIGHT + 2 * DAY + 10 * HOUR)
    nights = [item for item in items(one, "lee") if item.duty == "night"]
    assert [(item.nights, item.tell) for item in nights] == [(1, "letter"), (2, "letter"), (3, "urgent")]
    assert [kind for kind, _at in kinds(one, "lee")].count("alert") == 1


def test_a_night_of_use_between_breaks_the_run(make: Make) -> None:
    one = make(machine=NEW, site=nightly(), policy={"remind": False, "charge_before_night": "PT0S"})
    one.until(NIGHT + DAY + HOUR)
    one.tell("B7H", "not_used")
    one.until(NIGHT + 3 * DAY + 10 * HOUR)
    nights = [item for item in items(one, "lee") if item.duty == "night"]
    assert [(item.nights, item.tell) for item in nights] == [(1, "letter"), (1, "letter"), (2, "letter")]


def test_not_on_charge_hours_before_the_next_night_is_told_now_and_once(make: Make) -> None:
    one = make(site=nightly(), policy={**quiet("rinse", "squeegee"), "remind": False, "escalation": LEE})
    one.now = NIGHT + 7 * HOUR
    one.tell("B7H", "put_away")
    one.until(NIGHT + 21 * HOUR)
    times = [at for kind, at in kinds(one, "lee") if kind == "alert"]
    assert times == [NIGHT + DAY - 4 * HOUR]
    one.now = NIGHT + DAY - 3 * HOUR
    one.tell("B7H", "wipe")
    one.until(NIGHT + DAY - MINUTE)
    assert len([at for kind, at in kinds(one, "lee") if kind == "alert"]) == 1


def test_charged_in_time_nobody_is_warned(make: Make) -> None:
    one = make(site=nightly(), policy={**quiet("rinse", "squeegee"), "remind": False})
    one.now = NIGHT + 7 * HOUR
    one.tell("B7H", "put_away")
    one.until(NIGHT + 19 * HOUR)
    one.tell("B7H", "charge")
    before = len(one.messages("alert"))
    one.until(NIGHT + DAY - MINUTE)
    assert len(one.messages("alert")) == before


def test_an_alert_that_is_raised_so_near_the_night_is_told_once(make: Make) -> None:
    one = make(site=nightly(), policy={**quiet("rinse", "squeegee"), "remind": False, "escalation": LEE})
    one.now = NIGHT + DAY - 3 * HOUR
    one.tell("B7H", "start")
    one.tell("B7H", "put_away")
    one.until(NIGHT + DAY - MINUTE)
    [message] = one.messages("alert", "lee")
    assert message.body.count("charge") == 1 or "2 alerts" not in message.subject


# ------------------------------------------------------------------------------------------------------- escalation


ONE_DUTY: dict[str, Any] = {**quiet("squeegee", "charge"), "remind": False}


def test_nobody_answers_and_the_next_in_line_is_told(make: Make) -> None:
    one = make(policy=ONE_DUTY)
    one.tell("B7H", "put_away")
    one.until(START + 6 * HOUR)
    assert kinds(one, "lee") == [("alert", START + 30 * MINUTE)]
    assert kinds(one, "own") == [("alert", START + 150 * MINUTE)]
    [(_kind, at, data)] = one.entries("B7H", "alert_escalated")
    assert at == START + 150 * MINUTE
    assert (data["step"], data["role"], data["number"]) == (2, "owner", 1)
    assert one.alert("B7H", "rinse").next_step_at is None


def test_three_steps_keep_their_distances(make: Make) -> None:
    steps = ["PT0S supervisor", "PT1H owner", "PT3H supervisor"]
    one = make(policy={**ONE_DUTY, "escalation": steps})
    one.tell("B7H", "put_away")
    one.until(START + 9 * HOUR)
    assert [at for _k, at, _d in one.entries("B7H", "alert_escalated")] == [
        START + 90 * MINUTE, START + 210 * MINUTE,
    ]  # fmt: skip


def test_where_nobody_is_further_up_nothing_is_said_to_have_been_passed_on(make: Make) -> None:
    people = [{"key": "lee", "name": "Lee", "role": "supervisor", "email": "lee@ferry.example"},
              {"key": "ana", "name": "Ana", "role": "cleaner", "phone": "+19025550111"}]  # fmt: skip
    steps = ["PT0S supervisor", "PT1H owner", "PT3H supervisor"]
    one = make(person=people, policy={**ONE_DUTY, "escalation": steps})
    one.tell("B7H", "put_away")
    one.until(START + 9 * HOUR)
    assert [(at, data["step"]) for _k, at, data in one.entries("B7H", "alert_escalated")] == [(START + 210 * MINUTE, 3)]
    assert [at for _kind, at in kinds(one, "lee")] == [START + 30 * MINUTE, START + 210 * MINUTE]


def acknowledged(one: Stage, until: Instant) -> None:
    alert = one.alert("B7H", "rinse")
    one.tell("B7H", "acknowledged", who="lee", duty="rinse", opened_by=alert.opened_by, number=alert.number,
             until=text(until))  # fmt: skip


def test_taking_it_in_hand_holds_the_escalation_and_its_end_lets_it_go(make: Make) -> None:
    one = make(policy=ONE_DUTY)
    one.tell("B7H", "put_away")
    one.until(START + HOUR)
    acknowledged(one, START + 5 * HOUR)
    one.until(START + 5 * HOUR - 1)
    assert one.messages(to="own") == []
    one.until(START + 5 * HOUR)
    assert kinds(one, "own") == [("alert", START + 5 * HOUR)]


def test_only_the_log_clears_an_alert(make: Make) -> None:
    one = make(policy=ONE_DUTY)
    one.tell("B7H", "put_away")
    one.until(START + HOUR)
    acknowledged(one, START + 5 * HOUR)
    one.step()
    assert one.alert("B7H", "rinse").cleared_at is None
    one.tell("B7H", "rinse")
    one.step()
    assert one.alert("B7H", "rinse").outcome == "late"
    one.until(START + 9 * HOUR)
    assert one.messages(to="own") == [], "what is over is not passed on"


def test_an_alert_that_is_over_cannot_be_taken_in_hand(make: Make) -> None:
    one = make(policy=ONE_DUTY)
    one.tell("B7H", "put_away")
    one.until(START + HOUR)
    one.tell("B7H", "rinse")
    one.step()
    before = len(one.entries("B7H"))
    with pytest.raises(ValueError, match="no such alert"):
        acknowledged(one, START + 5 * HOUR)
    assert len(one.entries("B7H")) == before


def test_held_by_quiet_hours_the_delay_counts_from_the_letter(make: Make) -> None:
    one = make(policy=ONE_DUTY)
    one.now = parse("2026-03-03T06:00:00Z")
    one.tell("B7H", "put_away")
    one.until("2026-03-03T18:00:00Z")
    assert [at for _k, at, _d in one.entries("B7H", "alert_escalated")] == [parse("2026-03-03T12:30:00Z")]


# ------------------------------------------------------------------------------------------- over before it was told


def test_raised_and_cleared_in_one_step_rings_nobody_and_is_in_the_letter(make: Make) -> None:
    one = make(policy={**ONE_DUTY, "escalation": LEE})
    one.now = START + 5 * HOUR
    one.program.intake.record(
        [one.draft("B7H", "put_away", START), one.draft("B7H", "rinse", START + 4 * HOUR)], one.by("ana")
    )
    one.until(START + 6 * HOUR)
    assert [kind for kind, _a, _d in one.entries("B7H", "alert_raised", "alert_cleared")] == [
        "alert_raised", "alert_cleared",
    ]  # fmt: skip
    assert one.messages() == []
    one.until(START + DAY)
    [letter] = one.messages("letter", "lee")
    assert "late, over by now" in letter.body
    assert [item.outcome for item in items(one, "lee")] == ["late"]


def test_cleared_before_it_was_told_the_letter_says_that_it_is_over(make: Make) -> None:
    one = make(policy={**ONE_DUTY, "escalation": LEE})
    one.now = parse("2026-03-03T06:00:00Z")
    one.tell("B7H", "put_away")
    one.until("2026-03-03T08:00:00Z")
    one.tell("B7H", "rinse")
    one.until("2026-03-03T12:00:00Z")
    assert kinds(one, "lee") == [("letter", parse("2026-03-03T10:30:00Z"))]
    assert "late, over by now" in one.messages(to="lee")[0].body
