"""The mailbox on a real server: what is taken, what is marked and when, and what a bad mail or a bad hour does."""

from __future__ import annotations

import time

import pytest

from logbook.channels.desk import Message
from logbook.channels.mail_in.mailbox import Mailbox
from logbook.channels.mail_in.session import Session
from logbook.domain.instants import SECOND, parse
from logbook.store import StoreError
from tests.channels.mail_in.dovecot import Server
from tests.channels.mail_in.mails import mail
from tests.channels.mail_in.watching import Desk, real_now, until, watched
from tests.channels.mail_out.certificates import Authority, authority

TAKEN = {b"\\Seen", b"$LogbookTaken"}
ASIDE = {b"\\Flagged", b"$LogbookTaken"}


def test_a_mail_that_lies_there_and_one_that_comes(box):
    desk = Desk()
    box.drop(mail("B7H rinsed"), arrived=1_795_000_000)
    with watched(box.settings(), desk):
        until(lambda: desk.texts == ["B7H rinsed"])
        until(lambda: box.flags() == [TAKEN])
        began = time.monotonic()
        box.drop(mail("B7H charge"))
        until(lambda: desk.texts == ["B7H rinsed", "B7H charge"])
        assert time.monotonic() - began < 20  # seconds: the server spoke up, we did not ask (idle is 240)
        client = box.client()
        client.append("INBOX", mail("B7H start"))
        client.logout()
        until(lambda: desk.texts[2:] == ["B7H start"])
        until(lambda: box.flags() == [TAKEN] * 3)
    first = desk.taken[0]
    assert (first.channel, first.sender, first.at) == ("mail", "ana@ferry.example", 1_795_000_000 * SECOND)
    assert first.id.startswith("mail:")
    with watched(box.settings(), desk):
        time.sleep(0.5)
    assert len(desk.taken) == 3


def test_a_time_that_has_not_come_is_not_believed(box):
    desk = Desk()
    now = parse("2026-11-25T09:12:00Z")
    box.drop(mail(), arrived=now // SECOND + 86_400)
    with watched(box.settings(), desk, now=lambda: now):
        until(lambda: desk.taken)
    assert desk.taken[0].at == now


def test_what_is_kept_aside_stays_and_is_flagged(box):
    desk = Desk()
    box.drop(mail("x", proof=None))
    box.drop(mail("B7H rinsed"))
    with watched(box.settings(done_folder="Done"), desk):
        until(lambda: desk.taken and desk.aside)
        until(lambda: box.flags("Done") == [TAKEN])
        until(lambda: box.flags() == [ASIDE])
    assert desk.reasons == ["UNPROVED"]
    assert desk.aside[0][0].id.startswith("mail-aside:")


def test_somebody_who_reads_the_mailbox_takes_nothing_away(box):
    desk = Desk()
    box.drop(mail())
    client = box.client()
    client.select_folder("INBOX")
    client.fetch([1], ["BODY[]"])
    client.logout()
    assert box.flags() == [{b"\\Seen"}]
    with watched(box.settings(), desk):
        until(lambda: desk.taken)


def test_nothing_is_marked_before_it_is_kept(box):
    seen = []
    desk = Desk()
    desk.trouble = lambda message: seen.append(box.flags())
    box.drop(mail())
    box.drop(mail(proof=None))
    with watched(box.settings(done_folder="Done"), desk):
        until(lambda: desk.taken and desk.aside)
    assert seen[0] == [set(), set()]
    assert set() in seen[1]


def test_the_same_mail_twice_has_one_id(box):
    desk = Desk()
    one = mail()
    box.drop(one)
    box.drop(b"Delivered-To: log@ferry.example\r\n" + one)
    with watched(box.settings(), desk):
        until(lambda: len(desk.taken) == 2)
    assert len({message.id for message in desk.taken}) == 1


# -- bad mail ---------------------------------------------------------------------------------------------------------


def test_a_mail_of_30_mb_is_not_fetched(dovecot):
    box, desk = dovecot.box(), Desk()
    box.drop(mail(b"B7H rinsed\r\n" + b"x" * 77 * 400_000, subject="B7H rinsed"))
    box.drop(mail("B7H charge"))
    with watched(box.settings(), desk):
        until(lambda: desk.texts == ["B7H charge"])
    assert desk.reasons == ["TOO_LARGE"]
    assert desk.aside[0][0].sender == "ana@ferry.example"
    assert "octets" in desk.aside[0][0].text

    def told():  # the server writes it down when it has done with us, which may be a while after we have left
        lines = (dovecot.folder / "log").read_text().splitlines()
        return [line for line in lines if f"imap({box.user})" in line and "out=" in line]

    until(told)
    sent = told()
    octets = [int(word.removeprefix("out=")) for line in sent for word in line.split() if word.startswith("out=")]
    assert octets
    assert max(octets) < 100_000


def test_a_head_of_3_mb_is_not_fetched_whole(box):
    desk = Desk()
    box.drop(mail(more="\n".join(f"X-{n}: {'y' * 1_000}" for n in range(3_000))))
    with watched(box.settings(), desk):
        until(lambda: desk.aside)
    assert desk.reasons == ["TOO_LARGE"]


def test_a_mail_that_the_server_cannot_give_out_keeps_nobody_waiting(box):
    """Its file's name says a size that is not its own: the server fails over it each time it is asked."""
    desk = Desk()
    box.drop(mail(b"B7H rinsed\r\n" + b"x" * 2_000_000), said_size=300)
    box.drop(mail("B7H charge"))
    with watched(box.settings(idle=0.2), desk) as mailbox:
        until(lambda: desk.texts == ["B7H charge"])
        until(lambda: "cannot be fetched" in (mailbox.trouble or ""))
        box.drop(mail("B7H start"))
        until(lambda: desk.texts == ["B7H charge", "B7H start"])
    assert desk.aside == []
    assert box.flags().count(TAKEN) == 2


def test_a_mail_that_brings_the_desk_down_keeps_nobody_waiting_and_is_kept_aside_in_the_end(box):
    desk = Desk()
    wanted = "B7H poison"
    calls: list[Message] = []

    def trouble(message: Message) -> None:
        if message.text == wanted and not message.id.startswith("mail-aside:"):
            calls.append(message)
            raise ZeroDivisionError("a defect of ours")

    desk.trouble = trouble
    box.drop(mail(wanted))
    box.drop(mail("B7H rinsed"))
    with watched(box.settings(idle=0.2), desk):
        until(lambda: desk.texts == ["B7H rinsed"])
        until(lambda: desk.reasons == ["FAILED"])
        until(lambda: box.flags() == [ASIDE, TAKEN])
    assert len(calls) == 3


def test_while_the_database_fails_nothing_is_marked_and_afterwards_all_is_taken(box):
    desk = Desk()
    well: list[bool] = []

    def trouble(message: Message) -> None:
        if not well:
            raise StoreError("no room is left")

    desk.trouble = trouble
    for n in range(5):
        box.drop(mail(f"B7H start {n}"))
    with watched(box.settings(), desk) as mailbox:
        until(lambda: mailbox.trouble is not None)
        assert "database" in (mailbox.trouble or "")
        assert box.flags() == [set()] * 5
        well.append(True)
        until(lambda: len(desk.taken) == 5)
        until(lambda: mailbox.trouble is None)
        until(lambda: box.flags() == [TAKEN] * 5)


def test_two_mails_that_the_database_will_not_have_keep_nobody_waiting(box):
    desk = Desk()

    def trouble(message: Message) -> None:
        if "poison" in message.text:
            raise StoreError("not this one")

    desk.trouble = trouble
    for text in ("poison 1", "poison 2", "B7H rinsed"):
        box.drop(mail(text))
    with watched(box.settings(), desk):
        until(lambda: desk.texts == ["B7H rinsed"])
    assert desk.aside == []  # they wait: perhaps it is the database


# -- bad hours --------------------------------------------------------------------------------------------------------


def test_the_server_goes_away_while_we_wait_and_comes_back(own_server):
    box, desk = own_server.box(), Desk()
    box.drop(mail("B7H start"))
    with watched(box.settings(), desk) as mailbox:
        until(lambda: desk.texts == ["B7H start"])
        own_server.halt()
        until(lambda: mailbox.trouble is not None)
        box.drop(mail("B7H rinsed"))
        own_server.start()
        until(lambda: desk.texts == ["B7H start", "B7H rinsed"])
        until(lambda: mailbox.trouble is None)
        box.drop(mail("B7H charge"))
        until(lambda: desk.texts[2:] == ["B7H charge"])


def test_the_server_goes_away_after_a_mail_was_taken_and_before_it_was_marked(own_server):
    box, desk = own_server.box(), Desk()
    box.drop(mail("B7H start"))
    gone: list[bool] = []

    def trouble(message: Message) -> None:
        if not gone:
            gone.append(True)
            own_server.halt()

    desk.trouble = trouble
    with watched(box.settings(), desk):
        until(lambda: desk.taken)
        own_server.start()
        until(lambda: box.flags() == [TAKEN])
    assert desk.texts == ["B7H start"]  # it was only marked


def test_other_numbers(box):
    """UIDVALIDITY changes: what was marked comes again, under the same ids, and is marked again."""
    desk = Desk()
    for text in ("B7H start", "B7H rinsed"):
        box.drop(mail(text))
    with watched(box.settings(), desk):
        until(lambda: box.flags() == [TAKEN] * 2)
    client = box.client()
    before = client.select_folder("INBOX")[b"UIDVALIDITY"]
    client.logout()
    time.sleep(1.1)  # the number that stands for a mailbox is the second in which it was made
    box.renumber()
    box.drop(mail("B7H charge"))
    with watched(box.settings(), desk):
        until(lambda: box.flags() == [TAKEN] * 3)
    client = box.client()
    assert client.select_folder("INBOX")[b"UIDVALIDITY"] != before
    client.logout()
    assert len(desk.taken) == 5
    assert len({message.id for message in desk.taken}) == 3


def test_a_server_that_cannot_speak_up_and_cannot_move(plain_server):
    box, desk = plain_server.box(), Desk()
    with watched(box.settings(poll=0.2, done_folder="Done"), desk):
        box.drop(mail("B7H rinsed"))
        until(lambda: desk.taken)
        box.drop(mail("B7H charge"))
        until(lambda: len(desk.taken) == 2)
        until(lambda: len(box.flags("Done")) == 2)
        until(lambda: box.flags() == [])


@pytest.mark.parametrize("security", ["implicit", "starttls"])
def test_over_a_line_that_nobody_can_read(security, tls_server, ca, tmp_path_factory):
    box, desk = tls_server.box(), Desk()
    port = tls_server.tls_port if security == "implicit" else tls_server.port
    settings = box.settings(host="localhost", security=security, port=port, ca_file=ca.ca_file)
    box.drop(mail())
    assert Mailbox(settings, take=desk.take, keep_aside=desk.keep_aside, now=real_now).trial() is None
    with watched(settings, desk):
        until(lambda: desk.taken)
    stranger = authority(tmp_path_factory.mktemp("stranger"))
    wrong = settings.model_copy(update={"ca_file": stranger.ca_file})
    said = Mailbox(wrong, take=desk.take, keep_aside=desk.keep_aside, now=real_now).trial()
    assert said is not None
    assert "certificate" in said


def test_encryption_that_is_not_offered_is_not_left_out(box):
    desk = Desk()
    settings = box.settings(security="starttls")
    with watched(settings, desk) as mailbox:
        until(lambda: mailbox.trouble is not None)
    assert desk.taken == []


def test_what_the_trial_finds(box):
    desk = Desk()

    def said(**changes: object) -> str | None:
        return Mailbox(box.settings(**changes), take=desk.take, keep_aside=desk.keep_aside, now=real_now).trial()

    assert said() is None
    assert "our_authserv_ids" in (said(our_authserv_ids=()) or "")
    assert "refused our login" in (said(password="wrong") or "")
    assert "cannot be read now" in (said(folder="No such") or "")
    assert "cannot be read now" in (said(port=1) or "")


@pytest.mark.slow
def test_a_thousand_at_once(box, record_property):
    desk = Desk()
    for n in range(1_000):
        box.drop(mail(f"B7H start {n}"))
    began = time.monotonic()
    with watched(box.settings(done_folder="Done"), desk):
        until(lambda: len(desk.taken) == 1_000, seconds=120)
        until(lambda: box.flags() == [], seconds=60)
        took = time.monotonic() - began
    record_property("mails_per_second", round(1_000 / took))
    print(f"1,000 mails: {1_000 / took:.0f} a second")
    assert len({message.id for message in desk.taken}) == 1_000


@pytest.fixture
def own_server(dovecot):
    """A server for one test, which may stop it."""
    server = Server()
    try:
        server.start()
        yield server
    finally:
        server.stop()


@pytest.fixture
def plain_server(dovecot):
    """A server of few abilities."""
    server = Server(more="imap_capability = IMAP4rev1 UIDPLUS")
    try:
        server.start()
        yield server
    finally:
        server.stop()


@pytest.fixture
def tls_server(dovecot, ca: Authority):
    """A server with a certificate for `localhost`."""
    server = Server(certificate=ca.server_file())
    try:
        server.start()
        yield server
    finally:
        server.stop()


def test_a_mail_announced_where_nobody_listens_is_not_waited_for(box, monkeypatch):
    """It comes while other commands run: the server has said so by then, and IDLE does not say it again."""
    desk, wait, dropped = Desk(), Session.wait, []

    def announced_before(session: Session, ended):
        if not dropped:
            dropped.append(box.drop(mail("B7H rinsed")))
            session._client.noop()
        wait(session, ended)

    monkeypatch.setattr(Session, "wait", announced_before)
    with watched(box.settings(idle=300), desk):
        until(lambda: desk.taken, seconds=20)
