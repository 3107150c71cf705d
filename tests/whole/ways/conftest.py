"""What proofs of whole ways may ask for: the mailbox's server and the modem's daemon of their own folders' tests."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.channels.mail_in.conftest import box, ca, dovecot
from tests.channels.mail_out.sending import Keeper, server
from tests.channels.modem.conftest import daemon, drawer, postgres_tables
from tests.whole.ways.gateway import Gateway
from tests.whole.ways.postbox import Postbox

__all__ = ["box", "ca", "daemon", "dovecot", "drawer", "postgres_tables"]


@pytest.fixture
def postbox() -> Iterator[Postbox]:
    """A mail server that keeps what it is handed."""
    keeper = Keeper()
    with server(keeper) as port:
        yield Postbox(keeper, port)


@pytest.fixture
def gateway() -> Gateway:
    """A gateway; it is there while it is open."""
    return Gateway()
