"""A text goes in by each way, and its answer and a later alert come out by each way."""

from __future__ import annotations

import time
from email.utils import formatdate
from pathlib import Path
from typing import Any

import pytest

from tests.channels.mail_in.dovecot import PASSWORD, Box
from tests.channels.mail_in.mails import OURS, mail
from tests.channels.modem.conftest import Drawer
from tests.channels.modem.daemon import Daemon
from tests.whole.ways.gateway import Gateway
from tests.whole.ways.postbox import Postbox
from tests.whole.ways.running import ANA, ANA_MAIL, LEE, LEE_MAIL, founded, mail_out, running, stays, until

WITHOUT_PHONES = [
    {"key": "ana", "name": "Ana Silva", "role": "cleaner", "email": ANA_MAIL, "sites": ["HX"]},
    {"key": "lee", "name": "Lee Shaw", "role": "supervisor", "email": LEE_MAIL, "sites": ["HX"]},
]


@pytest.mark.parametrize(("name", "early"), [("gateway", False), ("harbour-texts", True)])
def test_by_the_gateway(gateway: Gateway, postbox: Postbox, tmp_path: Path, name: str, early: bool) -> None:
    """`early`: its receipts come before its answer to the very request. `name`: whatever it is called."""
    gateway.name, gateway.early = name, early
    file = founded(tmp_path, mail_out(postbox.port) + gateway.settings)
    with gateway.open(), running(file) as one:
        gateway.send("B7H parked", ANA)
        (answer,) = until(lambda: gateway.texts(ANA), "the answer")
        assert answer.startswith("B7H")
        assert "rinse" in answer
        (alert,) = until(lambda: gateway.texts(LEE), "the alert")
        assert "B7H" in alert
        sent = until(lambda: [m for m in one.messages() if m.state == "sent"][1:] and one.messages(), "both as sent")
        until(lambda: all((c := one.confirmation(m.id)) and c.arrived for m in sent), "both as arrived")
        gateway.send("B7H parked", ANA)  # the same post once more
        stays(lambda: (len(gateway.taken), postbox.keeper.envelopes) == (2, []), "nothing more, and nothing by mail")
        assert one.entries() == ["commissioned", "put_away", "alert_raised"]
        assert set(gateway.answers) == {200}


def test_by_the_mailbox(box: Box, postbox: Postbox, tmp_path: Path) -> None:
    mailbox = f"""
[mail_in]
host = "127.0.0.1"
port = {box.server.port}
security = "none"
user = "{box.user}"
password = "{PASSWORD}"
our_authserv_ids = "{OURS}"
"""
    file = founded(tmp_path, mail_out(postbox.port) + mailbox, person=WITHOUT_PHONES)
    with running(file) as one:
        box.drop(mail("B7H parked\n\n> what was quoted, B7H rinsed\n", date=formatdate()), time.time())
        (answer,) = until(lambda: postbox.mails(ANA_MAIL), "the answer")
        assert answer["Subject"].startswith("Re: B7H parked")
        assert "rinse" in answer.get_content()
        (alert,) = until(lambda: postbox.words(LEE_MAIL), "the alert")
        assert "B7H" in alert
        until(lambda: one.states() == [("mail", "sent")] * 2, "both as sent")
        assert one.entries() == ["commissioned", "put_away", "alert_raised"]
        until(lambda: any(box.flags()), "the mail is marked")
        stays(lambda: len(postbox.keeper.envelopes) == 2, "nothing more")


@pytest.mark.parametrize("drawer", ["sqlite"], indirect=True)
def test_by_the_modem(drawer: Drawer, daemon: Daemon, postbox: Postbox, tmp_path: Path) -> None:
    """What the dummy modem sent is seen in the daemon's sentitems: it keeps no words of its own."""
    folder = tmp_path / "logbook"
    folder.mkdir()
    modem = f'\n[modem]\ntables = "{drawer.url}"\ncountry = "CA"\nzone = "America/Halifax"\npoll = 0.1\n'
    file = founded(folder, mail_out(postbox.port) + modem)

    def sent(to: str) -> list[dict[str, Any]]:
        return [row for row in daemon.rows("sentitems") if row["DestinationNumber"] == to]

    with running(file) as one:
        daemon.receive("B7H parked", ANA, at=time.strftime("%Y%m%dT%H%M%SZ", time.gmtime()))
        (answer,) = until(lambda: sent(ANA), "the answer")
        assert answer["TextDecoded"].startswith("B7H")
        assert "rinse" in answer["TextDecoded"]
        (alert,) = until(lambda: sent(LEE), "the alert")
        assert "B7H" in alert["TextDecoded"]
        assert one.entries() == ["commissioned", "put_away", "alert_raised"]
        (told,) = one.messages("alert")
        daemon.report(LEE, "Delivered", 0)
        until(lambda: (c := one.confirmation(told.id)) and c.arrived, "the network's word")
        stays(lambda: (len(daemon.rows("sentitems")), postbox.keeper.envelopes) == (2, []), "nothing more")
        assert one.states() == [("text", "sent")] * 2
