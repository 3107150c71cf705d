"""A gateway that is away, that holds us off, or that breaks its word: nobody goes untold, and nobody is told twice."""

from __future__ import annotations

import contextlib
from pathlib import Path

import pytest

from logbook.domain.instants import HOUR, SECOND, Instant
from tests.whole.ways.gateway import Gateway
from tests.whole.ways.postbox import Postbox
from tests.whole.ways.running import (
    ANA,
    ANA_MAIL,
    FLEET,
    JO_MAIL,
    LEE,
    LEE_MAIL,
    Running,
    founded,
    mail_out,
    real_now,
    running,
    stays,
    until,
)

pytestmark = pytest.mark.slow
CONFIRM_WITHIN: Instant = 60 * SECOND
NEARLY = 58.0
"""Seconds that are left out of `confirm_within`; the rest is waited for."""
OWNER_HEARS = {
    "closed": "Sending by text messages fails",
    "500": "Sending by text messages fails",
    "silent": "Sending by text messages fails",
    "401": "Sending by text messages is held",
}  # fmt: skip
# Ana's answer has one way only, and must wait for it.
PEOPLE = [{**FLEET["person"][0]}, *FLEET["person"][1:]]
del PEOPLE[0]["email"]


def alert(one: Running, code: str = "B7H") -> list[str]:
    """What became of each message that tells Lee of a machine."""
    return [f"{each.route} {each.state}" for each in one.messages("alert") if code in each.body]


@pytest.mark.parametrize("away", ["closed", "500", "silent", "401"])
def test_a_day_without_the_gateway(gateway: Gateway, postbox: Postbox, tmp_path: Path, away: str) -> None:
    """Closed: nobody listens. Silent: it takes the request and never answers. 401: it knows us no more, and is held."""
    gateway.silent = away == "silent"
    gateway.status = int(away) if away.isdigit() else 201
    file = founded(tmp_path, mail_out(postbox.port) + gateway.settings, person=PEOPLE)
    with running(file) as one:
        with gateway.open() if away != "closed" else contextlib.nullcontext():
            gateway.send("B7H parked", ANA)
            first = until(lambda: one.messages("alert"), "the alert is queued")[0]
            assert (first.route, first.address) == ("text", LEE)
            stays(lambda: not postbox.words(LEE_MAIL), "no mail while the gateway may yet come back")
            one.age(NEARLY)
            (word,) = until(lambda: postbox.words(LEE_MAIL), "Lee is told by mail", 40)
            took = real_now() - one.messages("alert")[0].queued_at
            assert "B7H" in word
            assert CONFIRM_WITHIN <= took <= CONFIRM_WITHIN + 3 * SECOND
            # Hours go by.
            for _ in range(6):
                one.age(1.75 * 3600)
            stays(lambda: len(postbox.words(LEE_MAIL)) == 1, "once")
            gateway.taken.clear()
        # It is back. Nothing is on its way at that moment: an attempt that has begun would end in vain, and wait.
        if away != "401":  # what is held is not tried
            until(lambda: all(each.next_at > real_now() + SECOND for each in one.waiting()), "all of it waits", 60)
        gateway.silent, gateway.status = False, 201
        with gateway.open():
            one.age(HOUR / SECOND)
            gateway.send("C4J parked", ANA, "m2")
            until(lambda: [text for text in gateway.texts(LEE) if "C4J" in text], "the next alert comes by text", 40)
            until(lambda: len(gateway.texts(ANA)) == 2, "both answers reach Ana")
            stays(lambda: len(gateway.texts(LEE)) == 1, "nothing comes by text that came by mail")
        assert sorted(text[:3] for text in gateway.texts(ANA)) == ["B7H", "C4J"]
        assert [words for words in postbox.words(LEE_MAIL) if "C4J" in words] == []
        assert sorted(alert(one)) == ["mail sent", "text failed"]
        assert [("B7H" in words) for words in postbox.words(LEE_MAIL)] == [True]
        assert [mail["Subject"] for mail in postbox.mails(JO_MAIL)] == [OWNER_HEARS[away]]
        assert one.entries() == ["commissioned", "put_away", "alert_raised"]


@pytest.mark.parametrize("word", ["failed", None])
def test_a_gateway_that_fails_or_never_confirms(
    gateway: Gateway, postbox: Postbox, tmp_path: Path, word: str | None
) -> None:
    gateway.word = word
    file = founded(tmp_path, mail_out(postbox.port) + gateway.settings)
    with gateway.open(), running(file) as one:
        gateway.send("B7H parked", ANA)
        taken = until(lambda: [each for each in gateway.taken if each.to == LEE], "the alert by text")[0]
        if word is None:
            stays(lambda: not postbox.words(LEE_MAIL), "no mail while the gateway may yet confirm")
            one.age(NEARLY)
        (mail,) = until(lambda: postbox.words(LEE_MAIL), "Lee is told by mail", 40)
        took = real_now() - taken.at + (int(NEARLY * SECOND) if word is None else 0)
        assert "B7H" in mail
        assert took <= (CONFIRM_WITHIN if word is None else 0) + 3 * SECOND
        # Late, and more than once, it speaks after all.
        for late in ("failed", "failed", "delivered", "failed"):
            gateway.report(taken, late)
        one.age(3600)
        stays(lambda: len(postbox.words(LEE_MAIL)) == 1, "once by mail")
        assert len(gateway.texts(LEE)) == 1
        assert sorted(alert(one)) == ["mail sent", "text sent"]
        # Who was reached by another way was reached: the owner hears of no message that reached nobody.
        assert postbox.words(JO_MAIL) == []
        # The answer takes the next way too, once.
        assert len(gateway.texts(ANA)) == len(postbox.words(ANA_MAIL)) == 1
        assert set(gateway.answers) == {200}
