"""From a machine to what is said of it: what a night takes along, nights running, what is owed now, the next wake."""

from __future__ import annotations

from typing import Any

from logbook.domain.book import MachineBook
from logbook.domain.fleetentries import register_of
from logbook.domain.fleetfile import FleetFile
from logbook.domain.history import Entry
from logbook.domain.instants import DAY, HOUR, MINUTE, Instant, parse
from logbook.domain.machine import FOREVER, Duty
from logbook.domain.owed import is_out, owed_now
from logbook.domain.telling.facts import (
    along,
    before_night,
    item_of,
    night_of,
    nights_running,
    tell_of,
    uncharged,
)  # fmt: skip
from logbook.domain.telling.reminders import next_reminder, reminders
from logbook.domain.telling.wake import next_wake
from logbook.domain.watchman import Memory, Watchman
from tests.whole.worked import fleet as worked_fleet

NIGHT = parse("2026-03-03T02:00:00Z")
"""22:00 on Monday 2 March at Halifax."""
ON = ("rinse", "charge", "squeegee", "night", "segments", "segments_low", "fault")
NIGHTLY = {"nights": [{"rule": "FREQ=DAILY", "from": "22:00", "to": "06:00"}]}


class Told:
    """A machine and what it was told; times are hours after the first night's beginning."""

    def __init__(self, policy: dict[str, Any] | None = None, site: dict[str, Any] | None = None) -> None:
        plan = worked_fleet(ON, policy or {}, HX=NIGHTLY if site is None else site)
        self.book = MachineBook(register_of(FleetFile.model_validate(plan), -FOREVER), "B7H")
        self.watchman = Watchman(self.book, Memory())
        self.entries: list[Entry] = []
        self("commissioned", -14, site="HX", battery="flooded")

    def __call__(self, kind: str, at: float, **data: Any) -> Entry:
        moment = NIGHT + round(at * HOUR)
        seq = len(self.entries) + 1
        entry = Entry(seq, f"e{seq}", kind, moment, moment, f"e{seq}", data, "cleaner")
        self.entries.append(entry)
        self.watchman.advance(moment - 1)
        self.watchman.hear([entry], moment)
        return entry

    def at(self, hours: float) -> Instant:
        now = NIGHT + round(hours * HOUR)
        self.watchman.advance(now)
        return now

    @property
    def machine(self) -> Any:
        return self.watchman.machine

    def duty(self, name: str) -> Duty:
        found: Duty = self.machine.open_duties(name)[-1]
        return found

    def look(self, seq: int) -> tuple[str, dict[str, Any]]:
        return self.entries[seq - 1].role, self.entries[seq - 1].data


# -------------------------------------------------------------------------------------------------------- the night


def test_a_night_speaks_for_the_duties_of_its_use() -> None:
    told = Told()
    told("start", 1)
    told.at(12)
    night = told.duty("night")
    assert night_of(told.machine, told.duty("rinse")) is night
    assert along(told.machine, night) == ["rinse", "squeegee", "charge"]
    told("rinse", 13)
    assert along(told.machine, night) == ["squeegee", "charge"]
    assert night_of(told.machine, night) is None


def test_another_nights_use_is_its_own() -> None:
    told = Told()
    told.at(12)
    told("start", 12)
    told("put_away", 14)
    assert night_of(told.machine, told.duty("rinse")) is None


def test_nights_running() -> None:
    told = Told()
    counts = []
    for day in range(3):
        told.at(24 * day + 12)
        counts.append(nights_running(told.machine, told.duty("night")))
    assert counts == [1, 2, 3]
    assert tell_of(told.machine, told.duty("night"), told.at(60)) == "urgent"
    told("not_used", 24 * 3 + 2)
    told.at(24 * 4 + 12)
    assert nights_running(told.machine, told.duty("night")) == 1
    assert tell_of(told.machine, told.duty("night"), told.at(24 * 4 + 12)) == "letter"


# ---------------------------------------------------------------------------------------------------- before a night


def test_before_the_next_night() -> None:
    told = Told()
    assert uncharged(told.machine) is None
    told("start", 1)
    assert uncharged(told.machine) is None, "it is out"
    told("put_away", 7)
    duty = uncharged(told.machine)
    assert duty is not None
    now = told.at(8)
    assert before_night(told.machine, now) == NIGHT + DAY - 4 * HOUR
    assert before_night(told.machine, NIGHT + DAY - 4 * HOUR) == FOREVER
    told("charge", 9)
    assert uncharged(told.machine) is None
    assert before_night(told.machine, told.at(9)) == FOREVER


# --------------------------------------------------------------------------------------------------------- reminders


def test_reminders_of_a_put_away_and_of_silence() -> None:
    told = Told()
    told.at(1)
    [silence] = reminders(told.machine, NIGHT + HOUR)
    assert (silence.untold, silence.at, silence.until) == (True, NIGHT + 8 * HOUR - 15 * MINUTE, NIGHT + 8 * HOUR)
    told("put_away", 4)
    now = told.at(4)
    found = reminders(told.machine, now)
    assert [each.duty.duty for each in found] == ["rinse", "squeegee", "charge"]
    assert {each.at for each in found} == {NIGHT + 4 * HOUR + 15 * MINUTE}
    assert next_reminder(told.machine, now) == NIGHT + 4 * HOUR + 15 * MINUTE
    assert reminders(told.machine, NIGHT + 4 * HOUR + 30 * MINUTE) == []


def test_something_told_but_no_put_away_is_reminded_of_before_it_is_due() -> None:
    told = Told()
    told("start", 1)
    night = [each for each in reminders(told.machine, told.at(2)) if each.duty.duty == "night"]
    assert [(each.untold, each.at, each.until) for each in night] == [
        (False, NIGHT + 9 * HOUR - 15 * MINUTE, NIGHT + 9 * HOUR)
    ]


def test_a_reminder_ends_with_the_nights_grace() -> None:
    told = Told()
    told("put_away", 8.7)
    [*found] = reminders(told.machine, told.at(8.7))
    assert {(each.at, each.by, each.until) for each in found} == {
        (NIGHT + round(8.95 * HOUR), NIGHT + round(9.2 * HOUR), NIGHT + 9 * HOUR)
    }


def test_no_reminder_in_the_day() -> None:
    told = Told()
    told("put_away", 14)
    assert reminders(told.machine, told.at(14)) == []
    assert next_reminder(told.machine, told.at(14)) == FOREVER


# -------------------------------------------------------------------------------------------------------------- wake


def test_the_clock_is_wanted_at_the_soonest_of_all() -> None:
    told = Told()
    now = told.at(-13)
    assert next_wake(told.watchman, now, []) == NIGHT
    assert next_wake(told.watchman, now, [NIGHT - HOUR]) == NIGHT - HOUR
    now = told.at(1)
    assert next_wake(told.watchman, now, []) == NIGHT + 8 * HOUR - 15 * MINUTE
    told("retired", 2)
    assert next_wake(told.watchman, told.at(2), []) is None


# -------------------------------------------------------------------------------------------------------------- items


def test_an_item_holds_the_facts_that_a_message_needs() -> None:
    told = Told()
    told("start", 1)
    told("empty", 6.5)
    told("put_away", 7, charge_pct=22)
    now = told.at(8)

    def item(name: str) -> Any:
        duty = told.duty(name)
        return item_of(
            told.machine, duty, told.look, uuid="m-1", code="B7H", site_name="North slip", zone="America/Halifax",
            number=1, raised_at=now, tell="now", serial=41,
        )  # fmt: skip

    rinse, charge = item("rinse"), item("charge")
    assert (rinse.emptied, rinse.due_at, rinse.serial) == (True, NIGHT + round(7.5 * HOUR), 41)
    assert {kind: (act.at, act.role) for kind, act in rinse.last.items()} == {
        "start": (NIGHT + HOUR, "cleaner"), "empty": (NIGHT + round(6.5 * HOUR), "cleaner"),
        "put_away": (NIGHT + 7 * HOUR, "cleaner"),
    }  # fmt: skip
    assert charge.charge_pct == 22
    assert charge.next_night == NIGHT + DAY
    told("segments", 9, left_um=[7000, 6000, 7000])
    low = item("segments_low")
    assert (low.least_um, low.head) == (6000, 2)


# --------------------------------------------------------------------------------------------------------------- owed


def owed(told: Told, hours: float) -> list[tuple[str, bool, bool]]:
    return [(each.duty, each.due is None, each.late) for each in owed_now(told.machine, told.at(hours))
            if each.duty in ("rinse", "charge", "squeegee")]  # fmt: skip


def test_owed_while_it_is_out_and_after() -> None:
    told = Told()
    assert owed(told, 0) == []
    told("start", 1)
    assert owed(told, 2) == [("rinse", True, False), ("charge", True, False), ("squeegee", True, False)]
    before = told.machine.freeze()
    told("rinse", 6.9)
    assert [duty for duty, _open, _late in owed(told, 7)] == ["charge", "squeegee"]
    told("put_away", 7)
    assert sorted(owed(told, 7.1)) == [("charge", False, False), ("squeegee", False, False)]
    assert sorted(owed(told, 8)) == [("charge", False, True), ("squeegee", False, True)]
    assert before != told.machine.freeze()


def test_asking_what_is_owed_changes_nothing() -> None:
    told = Told()
    told("start", 1)
    told.at(2)
    before = told.machine.freeze()
    owed_now(told.machine, NIGHT + 2 * HOUR)
    assert told.machine.freeze() == before
    assert told.machine.changed == []


def test_a_rinse_long_before_the_put_away_is_still_owed() -> None:
    told = Told()
    told("start", 1)
    told("rinse", 2)
    assert "rinse" in [duty for duty, _open, _late in owed(told, 6)], "putting it away now would leave it so"
    assert "rinse" not in [duty for duty, _open, _late in owed(told, 3)]


def test_whether_it_is_out() -> None:
    told = Told()
    assert not is_out(told.machine, told.at(0))
    told("charge", 0.5)
    assert is_out(told.machine, told.at(0.6)), "somebody is at it, though nobody said that it started"
    told("put_away", 1)
    assert not is_out(told.machine, told.at(1.1))
    told("squeegee", 1.2)
    assert not is_out(told.machine, told.at(1.3)), "what is done soon after a put-away belongs to it"
    told("start", 2)
    assert is_out(told.machine, told.at(3))
    assert not is_out(told.machine, told.at(14)), "cut off"


def test_a_retired_machine_owes_nothing() -> None:
    told = Told()
    told("start", 1)
    told("retired", 2)
    assert owed_now(told.machine, told.at(3)) == ()
