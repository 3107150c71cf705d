"""A step may fail anywhere, and be taken by many at once: nothing is lost, nothing doubled."""

from __future__ import annotations

import random
import threading
from collections.abc import Callable
from typing import Any

import pytest

from logbook.domain import codes
from logbook.domain.instants import DAY, HOUR, MINUTE, SECOND, parse
from logbook.intake.visit import Visit
from logbook.store import alerts, dues, folds, log, migrate, outbox
from logbook.store import clock as signs
from logbook.store import notices as shelf
from logbook.watch import gather as gathering
from logbook.watch import step as stepping
from logbook.watch.attend import Attention
from logbook.watch.letters import Letters
from tests.whole.histories import history
from tests.whole.live import alerts_in_log, live
from tests.whole.stage import START, Stage, fleet, new_database, stage
from tests.whole.test_live import ought_of

Make = Callable[..., Stage]

PLACES: list[tuple[Any, str]] = [
    (Attention, "attend"), (Attention, "_raise"), (Attention, "_clear"), (Attention, "_put_down"),
    (Attention, "_remind"),
    (Visit, "add"), (Visit, "leave"), (folds, "save"), (log, "append"), (alerts, "raised"), (alerts, "cleared"),
    (shelf, "add"), (dues, "put"), (stepping, "gather"), (gathering, "_tell"), (gathering, "_remind"),
    (outbox, "queue"), (shelf, "gathered"), (Letters, "write"), (Letters, "_letter"), (shelf, "letter_once"),
    (signs, "put"), (Letters, "next_at"),
]  # fmt: skip


class PowerCutError(Exception):
    """Whatever it was, the step did not come to its end."""


def night(one: Stage) -> None:
    """A night with something of everything: reminders, alerts, a letter, an escalation, a clearing."""
    for at, code, kind, who in (
        ("2026-03-03T02:10:00Z", "B7H", "start", "ana"), ("2026-03-03T03:00:00Z", "B8F", "put_away", "kim"),
        ("2026-03-03T05:00:00Z", "B7H", "put_away", "ana"), ("2026-03-03T11:00:00Z", "B8F", "rinse", "kim"),
        ("2026-03-03T13:00:00Z", "B7H", "rinse", "ana"),
    ):  # fmt: skip
        one.until(parse(at) - SECOND)
        one.now = parse(at)
        one.tell(code, kind, who=who)
    one.until("2026-03-04T11:00:00Z")


def told(one: Stage) -> Any:
    """What came of it, whichever ids and serials were drawn."""
    lines = [
        (code, kind, at, data["duty"], data["number"], data.get("outcome"), data.get("step"))
        for code in ("B7H", "B8F")
        for kind, at, data in one.entries(code, "alert_raised", "alert_cleared", "alert_escalated")
    ]
    people = {person.uuid: person.key for person in one.register.people.values()}
    sent = [(message.kind, people[message.person or ""], message.queued_at) for message in one.messages()]
    return lines, sorted(sent, key=str)


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> Any:
    one = stage(new_database(tmp_path_factory.mktemp("calm")))
    one.apply(fleet())
    night(one)
    found = told(one)
    one.close()
    assert {kind for kind, _who, _at in found[1]} == {"alert", "letter", "reminder"}
    return found


@pytest.mark.parametrize("before", [True, False], ids=["before", "after"])
@pytest.mark.parametrize(("owner", "name"), PLACES, ids=[f"{getattr(o, '__name__', o)}.{n}" for o, n in PLACES])
def test_a_step_that_fails_anywhere_is_taken_again_and_nothing_is_lost_or_doubled(
    make: Make, monkeypatch: pytest.MonkeyPatch, owner: Any, name: str, before: bool, undisturbed: Any
) -> None:
    one = make()
    true, armed, cuts = getattr(owner, name), [False], [0]

    def cut(*args: Any, **more: Any) -> Any:
        fails = armed[0] and cuts[0] < 40
        if fails and before:
            armed[0] = False
            cuts[0] += 1
            raise PowerCutError
        done = true(*args, **more)
        if fails:
            armed[0] = False
            cuts[0] += 1
            raise PowerCutError
        return done

    monkeypatch.setattr(owner, name, cut)
    step = one.program.step

    def tried(now: Any = None) -> Any:
        """Each step fails once where it can, and is taken again at once."""
        armed[0] = True
        try:
            return step(now)
        except PowerCutError:
            return step(now)
        finally:
            armed[0] = False

    monkeypatch.setattr(type(one.program), "step", lambda _self, now=None: tried(now))
    night(one)
    assert cuts[0] > 0, "it never got there"
    assert told(one) == undisturbed


def stepped_together(stages: list[Stage], now: int) -> None:
    """Everyone steps at once."""
    together, failed = threading.Barrier(len(stages)), list[BaseException]()

    def act(each: Stage) -> None:
        together.wait()
        try:
            each.program.step(now)
        except BaseException as why:  # noqa: BLE001 - shown below
            failed.append(why)

    threads = [threading.Thread(target=act, args=(each,)) for each in stages]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []


def many_hands(one: Stage, others: list[Stage]) -> None:
    """Two processes' worth of clocks, stepping at once through a night."""
    for kind in ("start", "put_away"):
        one.tell("B7H", kind)
        one.tell("B8F", kind, who="kim")
    for minutes in (1, 15, 29, 30, 31, 45, 150, 200, 24 * 60):
        at = START + minutes * MINUTE
        for each in (one, *others):
            each.now = at
        stepped_together([one, *others], at)
    for code in ("B7H", "B8F"):
        raised = [(d["duty"], d["number"]) for _k, _at, d in one.entries(code, "alert_raised")]
        assert sorted(raised) == [("charge", 1), ("rinse", 1), ("squeegee", 1)]
        assert len(one.entries(code, "alert_escalated")) == 2
    alert_notices = [notice for key in ("lee", "kim", "own") for notice in one.notices(key)]
    assert all(notice.message for notice in alert_notices)
    for key, count in (("lee", 1), ("kim", 1)):
        assert len(one.messages("letter", key)) == count
    assert len(one.messages("alert", "lee")) == 1
    assert len(one.messages("reminder", "ana")) == 1


def test_two_programs_step_at_once(make: Make) -> None:
    one = make()
    many_hands(one, [make(url=str(one.program.store.url), apply=False)])


def test_two_programs_step_at_once_on_postgresql(postgres_url: str) -> None:
    migrate.upgrade(postgres_url)
    stages = [stage(postgres_url, seed=seed) for seed in (1, 2)]
    try:
        stages[0].apply(fleet())
        many_hands(stages[0], stages[1:])
    finally:
        for one in stages:
            one.close()


@pytest.mark.parametrize("seed", [3, 4])
def test_live_is_replay_on_postgresql_too(seed: int, postgres_url: str) -> None:
    migrate.upgrade(postgres_url)
    one = stage(postgres_url, seed=seed)
    try:
        told_history = history(seed)
        live(one, told_history, random.Random(seed))
        assert alerts_in_log(one) == ought_of(told_history)
    finally:
        one.close()


def test_texts_and_clock_at_once_lose_nothing_on_postgresql(postgres_url: str) -> None:
    """Appends to one machine from two sides while two clocks step."""
    migrate.upgrade(postgres_url)
    stages = [stage(postgres_url, seed=seed) for seed in (1, 2)]
    try:
        stages[0].apply(fleet())
        failed: list[BaseException] = []

        def talk(each: Stage) -> None:
            try:
                for number in range(15):
                    each.now = START + number * MINUTE
                    each.program.intake.record([each.draft("B7H", "put_away")], each.by("ana"))
                    each.program.step(each.now)
            except BaseException as why:  # noqa: BLE001 - shown below
                failed.append(why)

        threads = [threading.Thread(target=talk, args=(each,)) for each in stages]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert failed == []
        assert len(stages[0].entries("B7H", "put_away")) == 30
    finally:
        for one in stages:
            one.close()


# ------------------------------------------------------------------------------------------------------ small things


def test_a_database_without_a_fleet_is_stepped_over(make: Make) -> None:
    one = make(apply=False)
    done = one.step()
    assert (done.machines, done.messages, done.next_at) == (0, 0, None)
    assert one.read(lambda c: signs.of(c, "step")).at == START


def test_the_time_of_the_last_act_is_kept(make: Make) -> None:
    one = make()
    one.step(START + HOUR)
    assert one.read(lambda c: signs.of(c, "step")).at == START + HOUR


def test_a_step_says_when_it_is_needed_again(make: Make) -> None:
    one = make(policy={"remind": False})
    one.tell("B7H", "put_away")
    assert one.step().next_at == START + 30 * MINUTE
    done = one.step(START + 30 * MINUTE)
    assert (done.machines, done.raised, done.messages) == (1, 3, 1)
    assert done.next_at == START + 150 * MINUTE  # the owner's step


def test_a_step_long_after_does_all_that_came_due(make: Make) -> None:
    one = make(policy={"remind": False, "squeegee": False, "filter": False, "segments": False, "watering": False})
    one.tell("B7H", "put_away")
    done = one.step(START + 3 * DAY)
    assert done.raised == 2
    assert {one.alert("B7H", duty).due_at for duty in ("rinse", "charge")} == {START + 30 * MINUTE}
    assert {one.alert("B7H", duty).raised_at for duty in ("rinse", "charge")} == {START + 3 * DAY}


def test_a_clock_that_was_set_back_does_not_write_the_past(make: Make) -> None:
    one = make()
    one.now = START + HOUR
    one.tell("B7H", "put_away")
    one.step(START + 2 * HOUR)
    before = len(one.entries("B7H"))
    one.step(START)
    assert len(one.entries("B7H")) == before


def test_a_policy_change_has_every_machine_looked_at_again(make: Make) -> None:
    one = make(site=[{"code": "HX", "name": "N", "zone": "America/Halifax"},
                     {"code": "SJ", "name": "S", "zone": "America/St_Johns"}])  # fmt: skip
    one.step()
    assert one.step(START + MINUTE).machines == 0
    one.apply(fleet(policy={"rinse.grace": "PT5M"}))
    assert one.step().machines == 2


def test_more_machines_than_one_transaction_takes(make: Make) -> None:
    taken: set[str] = set()
    for _ in range(stepping.AT_ONCE + 6):
        taken.add(codes.generate(3, taken))
    machines = [{"code": code, "site": "HX", "battery": "sealed", "commissioned_at": "2026-03-01T12:00:00Z"}
                for code in sorted(taken)]  # fmt: skip
    one = make(machine=machines)
    one.apply(fleet(machine=machines, policy={"rinse.grace": "PT5M"}))
    assert one.step().machines == len(machines)
    assert one.step().machines == 0
