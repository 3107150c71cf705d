"""A carrier that took a message over must say that it arrived, or the reader is tried by another way."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from logbook.domain.instants import DAY, HOUR, MINUTE, SECOND
from logbook.store import Store, confirmations, outbox
from logbook.watch.routes import Again, Hold, Sent
from tests.watch.delivering import NOW, Ear, Way, found, message, once, opened, put, states, worker

BY_MAIL = message(500, route="mail", address="jo@ferry.example")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with opened(tmp_path) as store:
        yield store


@pytest.fixture
def ear() -> Ear:
    return Ear(others={"+19025550141": BY_MAIL})


def texted(store: Store, ear: Ear, *answers: object) -> tuple[Way, Way]:
    put(store, message(1, route="text", address="+19025550141"))
    text, mail = Way("text", answers=list(answers)), Way("mail", answers=[Sent()])
    return text, mail


def test_silence_after_confirm_within_goes_by_the_next_way_once(store: Store, ear: Ear) -> None:
    text, mail = texted(store, ear, Sent(reference="g-1", confirms=True))
    delivery = worker(store, text, mail, ear=ear)
    once(delivery, NOW)
    assert once(delivery, NOW + 9 * MINUTE).unconfirmed == 0
    assert once(delivery, NOW + 11 * MINUTE).unconfirmed == 1
    once(delivery, NOW + 11 * MINUTE)
    once(delivery, NOW + HOUR)
    assert len(mail.tried) == 1
    assert len(text.tried) == 1
    assert found(store, BY_MAIL.id).follows == message(1).id


def test_a_word_in_time_leaves_it_at_that(store: Store, ear: Ear) -> None:
    text, mail = texted(store, ear, Sent(reference="g-1", confirms=True))
    delivery = worker(store, text, mail, ear=ear)
    once(delivery, NOW)
    delivery.receipt("text", "g-1", True, NOW + MINUTE, "delivered")
    once(delivery, NOW + HOUR)
    assert mail.tried == []
    with store.read() as connection:
        known = confirmations.of(connection, message(1).id)
    assert known is not None
    assert (known.arrived, known.detail) == (1, "delivered")


def test_a_no_after_long_silence_sends_nothing_and_tells_nobody_again(store: Store, ear: Ear) -> None:
    """A network gives a text up after days; its reader was told by another way long ago."""
    text, mail = texted(store, ear, Sent(reference="g-1", confirms=True))
    delivery = worker(store, text, mail, ear=ear)
    once(delivery, NOW)
    once(delivery, NOW + 11 * MINUTE)
    assert len(mail.tried) == 1
    delivery.receipt("text", "g-1", False, NOW + 2 * DAY, "expired")
    once(delivery, NOW + 2 * DAY)
    assert (len(mail.tried), ear.heard) == (1, [])


def test_a_carrier_that_says_no_is_not_waited_for(store: Store, ear: Ear) -> None:
    text, mail = texted(store, ear, Sent(reference="g-1", confirms=True))
    delivery = worker(store, text, mail, ear=ear)
    once(delivery, NOW)
    delivery.receipt("text", "g-1", False, NOW + MINUTE, "handset off")
    once(delivery, NOW + 2 * MINUTE)
    assert len(mail.tried) == 1
    delivery.receipt("text", "g-1", False, NOW + 3 * MINUTE, "handset off")
    once(delivery, NOW + HOUR)
    assert len(mail.tried) == 1


def test_a_no_with_no_other_way_is_told_to_the_owner(store: Store) -> None:
    ear = Ear(owner_route="mail")
    text, mail = texted(store, ear, Sent(reference="g-1", confirms=True))
    delivery = worker(store, text, mail, ear=ear)
    once(delivery, NOW)
    for minute in (1, 2, 3):
        delivery.receipt("text", "g-1", False, NOW + minute * MINUTE, "number unknown")
    assert [(each.what, each.reason) for each in ear.heard] == [("failed", "number unknown")]


def test_what_has_arrived_stays_arrived_and_strange_names_are_passed_over(store: Store, ear: Ear) -> None:
    text, mail = texted(store, ear, Sent(reference="g-1", confirms=True))
    delivery = worker(store, text, mail, ear=ear)
    once(delivery, NOW)
    delivery.receipt("text", "g-1", True, NOW + MINUTE, "delivered")
    delivery.receipt("text", "g-1", False, NOW + 2 * MINUTE, "failed")
    delivery.receipt("text", "g-2", False, NOW + 2 * MINUTE, "failed")
    delivery.receipt("mail", "g-1", False, NOW + 2 * MINUTE, "failed")
    once(delivery, NOW + HOUR)
    assert mail.tried == []


def test_a_carrier_hears_whether_its_name_for_a_message_is_known(store: Store, ear: Ear) -> None:
    text, mail = texted(store, ear, Sent(reference="g-1", confirms=True))
    delivery = worker(store, text, mail, ear=ear)
    assert delivery.receipt("text", "g-1", True, NOW, "delivered") is False  # it is quicker than we are
    once(delivery, NOW)
    assert delivery.receipt("text", "g-1", True, NOW, "delivered") is True
    assert delivery.receipt("text", "g-1", True, NOW, "delivered") is True
    assert delivery.receipt("mail", "g-1", True, NOW, "delivered") is False


@pytest.mark.parametrize(
    "away", [Again("connection refused", route_down=True), Hold("the key was not accepted")], ids=["down", "held"]
)
def test_a_route_that_is_away_is_gone_round_within_confirm_within_and_nothing_comes_twice(
    store: Store, ear: Ear, away: Again | Hold
) -> None:
    text, mail = texted(store, ear, away)
    delivery, now = worker(store, text, mail, ear=ear), NOW
    while now < NOW + 14 * MINUTE:
        once(delivery, now)
        now += MINUTE
    assert len(mail.tried) == 1
    assert states(store)[message(1).id] == "failed"
    text.answers = [Sent()]
    text.tried.clear()
    with store.read() as connection:
        error = (outbox.find(connection, message(1).id) or message(1)).error
    assert error == "not sent: it went by another way"
    once(delivery, now + HOUR)
    assert text.tried == []


@pytest.mark.parametrize(
    "vain", [Again("it took too long over one message"), Again("500 something is wrong")], ids=["hangs", "fails"]
)
def test_a_route_that_is_there_and_takes_nothing_is_gone_round_too(store: Store, ear: Ear, vain: Again) -> None:
    text, mail = texted(store, ear, vain)
    delivery, now = worker(store, text, mail, ear=ear), NOW
    while now < NOW + 9 * MINUTE:
        once(delivery, now)
        now += MINUTE
    assert mail.tried == []
    while now < NOW + 14 * MINUTE:
        once(delivery, now)
        now += MINUTE
    assert len(mail.tried) == 1
    text.answers = [Sent()]
    text.tried.clear()
    once(delivery, now + HOUR)
    assert text.tried == []


def test_what_has_not_been_tried_yet_waits_for_its_turn(store: Store, ear: Ear) -> None:
    """A long queue at a carrier that works goes nowhere else."""
    put(store, message(1, route="text", address="+19025550141", next_at=NOW + HOUR))
    mail = Way("mail")
    once(worker(store, Way("text"), mail, ear=ear), NOW + 30 * MINUTE)
    assert (mail.tried, states(store)) == ([], {message(1).id: "waiting"})


@pytest.mark.parametrize(
    "answer",
    [Again("refused", route_down=True), Hold("401"), Again("500"), Sent(reference="g-1", confirms=True)],
    ids=["down", "held", "fails", "silent"],
)
def test_the_pass_that_goes_round_is_made_when_it_is_due(store: Store, ear: Ear, answer: object) -> None:
    """And not at the next pulse: `_round_at` is when, and the pass at that very instant goes round."""
    text, mail = texted(store, ear, answer)
    text.trials = [Hold("401")]
    delivery = worker(store, text, mail, ear=ear)
    once(delivery, NOW)
    due = delivery._round_at
    assert due is not None
    assert 0 <= due - (NOW + ear.within) < SECOND
    again = worker(store, text, mail, ear=ear)  # after a restart it is found again
    once(again, NOW + MINUTE)
    assert again._round_at == due
    once(again, due - 1)
    assert mail.tried == []
    once(again, due)
    assert len(mail.tried) == 1


def test_where_there_is_no_other_way_it_waits(store: Store) -> None:
    put(store, message(1, route="text", address="+19025550141"))
    text = Way("text", answers=[Again("connection refused", route_down=True)])
    delivery, now = worker(store, text, ear=Ear(owner_route="text")), NOW
    while now < NOW + 30 * MINUTE:
        once(delivery, now)
        now += MINUTE
    assert states(store)[message(1).id] == "waiting"
